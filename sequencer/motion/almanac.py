"""When sun and moon rise and set, and the instant that `05:40` or `sunrise+20m` is. It reads no clock.

Source: rising and setting: the upper limb at the horizon with 34' of refraction; civil twilight: the sun 6 degrees
below (the US Naval Observatory's definitions, from memory). Where they are is ephem's. When they pass is looked for
here, all through the day: ephem's own search gives up where a body stays up or down at its next transit, and so misses
a rise that comes late in a polar day.
"""

import math
import re
from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta, tzinfo

import ephem  # type: ignore[import-untyped]  # it has no annotations

from sequencer.motion.sky import body_of, observer_at
from sequencer.score.timelapse import Place

_LIMB_DEG = -34 / 60  # what refraction lifts at the horizon
_NOON = "noon"
_OF: dict[str, tuple[str, float, bool]] = {
    # which body, how low in degrees, and whether its middle counts instead of its upper limb
    "sunrise": ("sun", _LIMB_DEG, False),
    "sunset": ("sun", _LIMB_DEG, False),
    "dawn": ("sun", -6.0, True),
    "dusk": ("sun", -6.0, True),
    "moonrise": ("moon", _LIMB_DEG, False),
    "moonset": ("moon", _LIMB_DEG, False),
}
EVENTS = (*_OF, _NOON)
_RISING = frozenset({"sunrise", "dawn", "moonrise"})
_YEAR = 366
_STEP = timedelta(minutes=10)  # what is up or down for less than that may be overlooked
_NEAR = timedelta(milliseconds=100)
_SECOND = timedelta(seconds=1)
_WRITTEN = re.compile(r"([a-z]+)(?:([+-])(?=\d)(?:(\d{1,2})h)?(?:(\d{1,4})m)?)?")
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2}))?")
# nobody means a day beyond, and near the ends of the calendar there is no year to look for another one in
_FIRST, _LAST = date(1900, 1, 1), date(2199, 12, 31)


class NotThen(ValueError):
    """An event of the sky that does not occur on that day at that place; the words say when it next does."""


def starts(written: str, place: Place | None, on: date, zone: tzinfo) -> datetime:
    """Return the instant that `05:40` or `sunrise+20m`, `sunset-1h30m` is on a day at a place.

    A time that a clock shows twice on that day is the first of the two.
    Error: NotThen for an event that does not occur then, or a time that clocks leave out; ValueError for words that are
    none, without a place, and for a day before 1900 or after 2199.
    """
    if not _FIRST <= on <= _LAST:
        raise ValueError(f"{on} is no day for a start; give one from {_FIRST} to {_LAST}")
    if (clock := _CLOCK.fullmatch(written)) is not None:
        hours, minutes, seconds = (int(one or 0) for one in clock.groups())
        if hours > 23 or minutes > 59 or seconds > 59:
            raise ValueError(f"{written} is no time of day; write it as 05:40")
        there = datetime.combine(on, time(hours, minutes, seconds), zone)
        shown = there.astimezone(UTC).astimezone(zone)
        if shown.replace(tzinfo=None) != there.replace(tzinfo=None):
            what = f"clocks are put forward on {on}, and {written} is left out"
            raise NotThen(f"{what}; the nearest is {shown:%H:%M:%S}")
        return there
    found = _WRITTEN.fullmatch(written)
    if found is None or found[1] not in EVENTS:
        there_are = ", ".join(EVENTS)
        raise ValueError(f"{written!r} is no start; write a time as 05:40, or one of {there_are}, as in sunrise+20m")
    name, sign, hours_by, minutes_by = found.groups()
    if place is None:
        raise ValueError(f"{name} needs a place; write its latitude and longitude")
    by = timedelta(hours=int(hours_by or 0), minutes=int(minutes_by or 0))
    return later(event(name, place, on, zone), -by if sign == "-" else by)


def later(at: datetime, by: timedelta) -> datetime:
    """Return the instant so much later, in the same zone, also where clocks are changed in between."""
    return (at.astimezone(UTC) + by).astimezone(at.tzinfo)


def event(name: str, place: Place, on: date, zone: tzinfo) -> datetime:
    """Return when an event of EVENTS occurs on that day, to the second.

    Error: NotThen, with the nearest days that have it, before and after.
    """
    found = _on(name, place, on, zone)
    if found is not None:
        return found
    side = "north" if place.latitude_deg >= 0 else "south"
    said = f"there is no {name} on {on} at {abs(place.latitude_deg):g} degrees {side}"
    # within a year each of them occurs everywhere, at the poles too
    near = [_near(name, place, on, zone, way) for way in (-1, 1)]
    days = [f"{there:%Y-%m-%d at %H:%M}" for there in near if there is not None]
    raise NotThen(f"{said}; the nearest are on {' and on '.join(days)}; choose such a day, or give a time instead")


def _near(name: str, place: Place, on: date, zone: tzinfo, way: int) -> datetime | None:
    days = (on + timedelta(days=away * way) for away in range(1, _YEAR))
    return next((there for day in days if (there := _on(name, place, day, zone)) is not None), None)


def _on(name: str, place: Place, on: date, zone: tzinfo) -> datetime | None:
    """Return when it first occurs between one midnight and the next, None where it does not."""
    begins = datetime.combine(on, time(0), zone).astimezone(UTC)
    ends = datetime.combine(on + timedelta(days=1), time(0), zone).astimezone(UTC)
    if name == _NOON:
        noon = observer_at(place, begins, 0.0).next_transit(body_of("sun"))
        found = ephem.Date(noon).datetime().replace(tzinfo=UTC)
        return _to_the_second(found, zone) if found < ends else None
    body, low_deg, middle = _OF[name]
    sign = 1 if name in _RISING else -1
    observer, seen = observer_at(place, begins, 0.0), body_of(body)

    def above(at: datetime) -> bool:
        """Whether it is on the side to which it goes."""
        observer.date = at.replace(tzinfo=None)
        seen.compute(observer)
        limb = 0.0 if middle else float(seen.radius)
        return sign * (math.degrees(seen.alt + limb) - low_deg) >= 0

    was = above(begins)
    while begins < ends:
        until = min(begins + _STEP, ends)
        if (now := above(until)) and not was:
            # in the last half second of the day it is still that day's
            return _to_the_second(min(_between(above, begins, until), ends - _SECOND), zone)
        begins, was = until, now
    return None


def _between(above: Callable[[datetime], bool], begins: datetime, until: datetime) -> datetime:
    """Return when `above` becomes true."""
    while until - begins > _NEAR:
        middle = begins + (until - begins) / 2
        begins, until = (begins, middle) if above(middle) else (middle, until)
    return until


def _to_the_second(at: datetime, zone: tzinfo) -> datetime:
    return (at + timedelta(microseconds=500_000)).replace(microsecond=0).astimezone(zone)
