"""Values of axes as MIDI channel messages of fourteen bits, and contacts as notes or controllers.

A way is written `cc16`, `nrpn1000` or `bend`, then `@2` for a channel and `,-90..90` for a span of its own. The
span's first value is code 0 and its second one code 16383; the first may be the greater one, which mirrors the axis.
Source: MIDI 1.0 Detailed Specification 4.2 (clauses from memory): Control Change (controllers 0 to 31 hold the upper
seven bits, 32 to 63 the lower ones of the same, and who gets upper ones takes the lower as 0, so the upper go first);
Registered and Non-Registered Parameter Numbers (99 and 98 select, upper first; 6 and 38 are the data); Pitch Bend
Change (lower seven bits first); Note On and Note Off (velocity 64 where there is none).
"""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

MOST = 16_383
_PITCH_BEND, _CONTROL, _NOTE_ON, _NOTE_OFF = 0xE0, 0xB0, 0x90, 0x80
_DATA, _DATA_LOWER, _SELECT_LOWER, _SELECT = 6, 38, 98, 99
_NUMBER = r"[-+]?\d+(?:\.\d*)?(?:[eE][-+]?\d+)?"
_WAY = re.compile(rf"(?:(cc|nrpn)(\d{{1,5}})|(bend))(?:@(\d{{1,2}}))?(?:,({_NUMBER})\.\.({_NUMBER}))?", re.ASCII)
_CONTACT = re.compile(r"(note|cc)(\d{1,3})(?:@(\d{1,2}))?", re.ASCII)
_HIGHEST = {"cc": 31, "nrpn": MOST, "bend": 0}

WayName = Literal["cc", "nrpn", "bend"]


@dataclass(frozen=True, slots=True)
class Way:
    """How one axis goes out: by which messages, on which channel (1 to 16), and which values are code 0 and 16383."""

    name: WayName
    number: int
    channel: int
    first: float
    last: float

    @property
    def step(self) -> float:
        """The least difference that it can say, in the axis's unit."""
        return abs(self.last - self.first) / MOST

    @property
    def size(self) -> int:
        """The bytes of one value, each message with its status byte."""
        return {"cc": 6, "nrpn": 12, "bend": 3}[self.name]

    def code(self, value: float) -> int | None:
        """Return the nearest code, or None for a value outside of the span."""
        part = (value - self.first) / (self.last - self.first) * MOST
        return round(part) if -0.5 <= part < MOST + 0.5 else None

    def messages(self, code: int) -> tuple[bytes, ...]:
        """Return the messages of a code, in the order in which they must go out."""
        upper, lower = code >> 7, code & 0x7F
        place = self.channel - 1
        if self.name == "bend":
            return (bytes((_PITCH_BEND | place, lower, upper)),)
        control = _CONTROL | place
        if self.name == "cc":
            return bytes((control, self.number, upper)), bytes((control, self.number + 32, lower))
        return (
            bytes((control, _SELECT, self.number >> 7)),
            bytes((control, _SELECT_LOWER, self.number & 0x7F)),
            bytes((control, _DATA, upper)),
            bytes((control, _DATA_LOWER, lower)),
        )


@dataclass(frozen=True, slots=True)
class Contact:
    """A note or a controller that is on or off."""

    name: Literal["note", "cc"]
    number: int
    channel: int

    def on(self) -> bytes:
        """Return the message that switches it on."""
        return bytes(((_NOTE_ON if self.name == "note" else _CONTROL) | (self.channel - 1), self.number, 127))

    def off(self) -> bytes:
        """Return the message that switches it off."""
        if self.name == "note":
            return bytes((_NOTE_OFF | (self.channel - 1), self.number, 64))
        return bytes((_CONTROL | (self.channel - 1), self.number, 0))


def parse_way(text: str, channel: int, travel: tuple[float, float] | None) -> Way:
    """Read a way; `channel` and `travel` count where it names none of its own. Error: ValueError that says why."""
    found = _WAY.fullmatch(text)
    if found is None:
        raise ValueError("is no way of MIDI; there are cc0 to cc31, nrpn0 to nrpn16383 and bend, as in cc16@2,-90..90")
    name: WayName = "bend" if found[3] else "cc" if found[1] == "cc" else "nrpn"
    number = int(found[2] or 0)
    if number > _HIGHEST[name]:
        raise ValueError(f"has no such number; {name} goes from 0 to {_HIGHEST[name]}")
    if found[5] is None and travel is None:
        raise ValueError(f"needs a span, since this axis has no travel; write {text},-180..180")
    first, last = (float(found[5]), float(found[6])) if found[5] else travel or (0.0, 1.0)
    if not (math.isfinite(first) and math.isfinite(last) and math.isfinite(last - first) and first != last):
        raise ValueError("has a span without a length; its ends must differ")
    return Way(name, number, _channel(found[4], channel), first, last)


def parse_contact(text: str, channel: int) -> Contact:
    """Read a contact, as in `note60` or `cc80@2`. Error: ValueError that says the fault."""
    found = _CONTACT.fullmatch(text)
    if found is None:
        raise ValueError("is neither a note nor a controller; write note60 or cc80@2")
    name: Literal["note", "cc"] = "note" if found[1] == "note" else "cc"
    # from 120 on controllers are channel mode messages
    highest = 127 if name == "note" else 119
    if int(found[2]) > highest:
        raise ValueError(f"has no such number; {name} goes from 0 to {highest}")
    return Contact(name, int(found[2]), _channel(found[3], channel))


def _channel(said: str | None, default: int) -> int:
    channel = default if said is None else int(said)
    if not 1 <= channel <= 16:
        raise ValueError(f"names channel {channel}; there are 1 to 16")
    return channel


def taken(one: Way | Contact) -> tuple[tuple[str, int, int], ...]:
    """Return what a way or contact has for itself: a controller, parameter, note or bend of a channel.

    Parameters share controllers 6, 38, 98 and 99 of their channel, which then are nobody's.
    """
    if isinstance(one, Way) and one.name == "cc":
        return ("cc", one.number, one.channel), ("cc", one.number + 32, one.channel)
    return ((one.name, one.number, one.channel),)


def clash(ways: Mapping[str, Way | Contact]) -> str | None:
    """Return in words which two of the named would speak for each other, or None."""
    owners: dict[tuple[str, int, int], str] = {}
    for name, one in ways.items():
        for place in taken(one):
            other = owners.setdefault(place, name)
            if other != name:
                return f"{other} and {name} both have {place[0]}{place[1] if place[0] != 'bend' else ''}@{place[2]}"
    for name, one in ways.items():
        if one.name != "nrpn":
            continue
        for number in (_DATA, _DATA_LOWER, _SELECT_LOWER, _SELECT):
            user = owners.get(("cc", number, one.channel))
            if user is not None:
                return f"{user} has a controller that {name} speaks by, cc{number}@{one.channel}"
    return None


class Values:
    """What of each setpoint set goes out: the codes that changed, and one that was silent for `refresh_ns`.

    A receiver that was switched on late or lost a message is right again once every axis was refreshed. `outside` is
    the place of the axis whose newest value the span does not hold; its last code stands.
    """

    def __init__(self, ways: Sequence[Way], refresh_ns: int) -> None:
        self._ways = tuple(ways)
        self._refresh_ns = refresh_ns
        self._codes: list[int | None] = [None] * len(ways)
        self._said_ns = [0] * len(ways)
        self.outside: int | None = None

    def due(self, at_ns: int, values: Sequence[float]) -> list[bytes]:
        """Return the messages that say `values` at `at_ns`, in order. Unit: the axis's own."""
        messages: list[bytes] = []
        codes, said_ns = self._codes, self._said_ns
        self.outside = None
        silent: int | None = None
        for place, (way, value) in enumerate(zip(self._ways, values, strict=True)):
            code = way.code(value)
            if code is None:
                self.outside = place
                code = codes[place]
            if code is None:
                continue
            if code != codes[place]:
                messages += way.messages(code)
                codes[place], said_ns[place] = code, at_ns
            elif at_ns - said_ns[place] >= self._refresh_ns and (silent is None or said_ns[place] < said_ns[silent]):
                silent = place
        if silent is not None:
            messages += self._ways[silent].messages(codes[silent] or 0)
            said_ns[silent] = at_ns
        return messages
