"""When sun and moon rise and set, and the instant that `05:40` or `sunrise+20m` is. It reads no clock.

Source: rising and setting: the upper limb at the horizon with 34' of refraction; civil twilight: the sun 6 degrees
below (the US Naval Observatory's definitions, from memory). The computing is ephem's.
"""

import re
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Any

import ephem  # type: ignore[import-untyped]  # it has no annotations

from sequencer.motion.sky import body_of, observer_at
from sequencer.score.timelapse import Place

_LIMB = "-0:34"  # what refraction lifts at the horizon
_NOON = "noon"
_OF: dict[str, tuple[str, str, bool]] = {
    # which body, how low, and whether its middle counts instead of its upper limb
    "sunrise": ("sun", _LIMB, False),
    "sunset": ("sun", _LIMB, False),
    "dawn": ("sun", "-6", True),
    "dusk": ("sun", "-6", True),
    "moonrise": ("moon", _LIMB, False),
    "moonset": ("moon", _LIMB, False),
}
EVENTS = (*_OF, _NOON)
_RISING = frozenset({"sunrise", "dawn", "moonrise"})
_YEAR = 366
_WRITTEN = re.compile(r"([a-z]+)(?:([+-])(?=\d)(?:(\d{1,2})h)?(?:(\d{1,4})m)?)?")
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2}))?")


class NotThen(ValueError):
    """An event of the sky that does not occur on that day at that place; the words say when it next does."""


def starts(written: str, place: Place | None, on: date, zone: tzinfo) -> datetime:
    """Return the instant that `05:40` or `sunrise+20m`, `sunset-1h30m` is on a day at a place.

    Error: NotThen for an event that does not occur then; ValueError for words that are none, or without a place.
    """
    if (clock := _CLOCK.fullmatch(written)) is not None:
        hours, minutes, seconds = (int(one or 0) for one in clock.groups())
        if hours > 23 or minutes > 59 or seconds > 59:
            raise ValueError(f"{written} is no time of day")
        return datetime.combine(on, time(hours, minutes, seconds), zone)
    found = _WRITTEN.fullmatch(written)
    if found is None or found[1] not in EVENTS:
        there = ", ".join(EVENTS)
        raise ValueError(f"{written!r} is no start; write a time as 05:40, or one of {there}, as in sunrise+20m")
    name, sign, hours_by, minutes_by = found.groups()
    if place is None:
        raise ValueError(f"{name} needs a place; write its latitude and longitude")
    by = timedelta(hours=int(hours_by or 0), minutes=int(minutes_by or 0))
    return event(name, place, on, zone) + (-by if sign == "-" else by)


def event(name: str, place: Place, on: date, zone: tzinfo) -> datetime:
    """Return when an event of EVENTS occurs on that day, to the second.

    Error: NotThen, with the nearest day that has it.
    """
    found = _on(name, place, on, zone)
    if found is not None:
        return found
    days = (on + timedelta(days=away * side) for away in range(1, _YEAR) for side in (-1, 1))
    near = next((there for day in days if (there := _on(name, place, day, zone)) is not None), None)
    side = "north" if place.latitude_deg >= 0 else "south"
    said = f"there is no {name} on {on} at {abs(place.latitude_deg):g} degrees {side}"
    if near is None:
        raise NotThen(f"{said}, nor on any day near it; give a time instead")
    raise NotThen(f"{said}; the nearest is on {near:%Y-%m-%d at %H:%M}; choose that day, or give a time instead")


def _on(name: str, place: Place, on: date, zone: tzinfo) -> datetime | None:
    """Return when it occurs between one midnight and the next, None where it does not."""
    begins = datetime.combine(on, time(0), zone)
    ends = datetime.combine(on + timedelta(days=1), time(0), zone)
    observer = observer_at(place, begins, 0.0)
    body, low, middle = _OF.get(name, ("sun", "0", True))
    try:
        if name == _NOON:
            found = observer.next_transit(body_of(body))
        else:
            observer.horizon = low
            ask = observer.next_rising if name in _RISING else observer.next_setting
            found = ask(body_of(body), use_center=middle)
    except (ephem.AlwaysUpError, ephem.NeverUpError):
        return None
    there = _instant(found).astimezone(zone)
    return there if there < ends else None


def _instant(found: Any) -> datetime:
    whole: datetime = ephem.Date(found).datetime()
    return (whole.replace(microsecond=0) + timedelta(seconds=round(whole.microsecond / 1e6))).replace(tzinfo=UTC)
