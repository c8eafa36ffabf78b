"""Packets of the device protocol: what the host sends to a device that plays setpoint sets when they are due.

It opens no port and knows no clock. The protocol is our own (docs/device.md), written in OSC. Device time is a count of
nanoseconds since the device began to run; in a timetag it is seconds and a fraction, 32 bits each.
Source: OSC 1.0 (opensoundcontrol.org) for messages, bundles and timetags, with the types `t` and `h` of its list of
further ones; numbers are compared as in RFC 1982, section 3.2, with 31 bits.
"""

import struct
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from sequencer.errors import PeerError
from sequencer.wire.osc import Form, Numbers, actual_addresses, command, decode, setpoint_addresses

VERSION = 1
NUMBERS = 1 << 31
_SECOND_NS = 1_000_000_000
_HEAD = 16  # bytes of a bundle before its first element
_SOONEST = 2  # the tags 0 and 1 mean something else
_NUMBER = struct.Struct(">i16s4si")
_FROM = struct.Struct(">i12s4sQ")
_MASK = (1 << 64) - 1


def device_tag(device_ns: int) -> int:
    """Return the timetag of an instant of device time; `device_ns` gives it back. Error: ValueError beyond 2^32 s."""
    if not 0 <= device_ns < _SECOND_NS << 32:
        raise ValueError(f"device time {device_ns} ns has no timetag")
    return max(_SOONEST, (device_ns << 32) // _SECOND_NS)


def device_ns(tag: int) -> int:
    """Return the instant of device time that a timetag says."""
    return (tag * _SECOND_NS + (1 << 31)) >> 32


def after(number: int, other: int) -> int:
    """Return by how much `number` comes after `other`, below zero where it comes before."""
    return (number - other + NUMBERS // 2) % NUMBERS - NUMBERS // 2


def hello() -> bytes:
    """Return what asks a device who it is, with the version spoken here."""
    return command("/device/hello", VERSION)


def time_question(number: int) -> bytes:
    """Return what asks a device for its time."""
    return command("/device/time", number)


def at(packet: bytes, tag: int) -> bytes:
    """Return a bundle of one message with another timetag."""
    return packet[: _HEAD - 8] + tag.to_bytes(8, "big") + packet[_HEAD:]


class Sets:
    """Scheduled setpoint sets of a rig. Error: ValueError for an axis name that OSC cannot carry."""

    def __init__(self, names: Sequence[str], form: Form = "f") -> None:
        self._numbers = Numbers(setpoint_addresses(names), form)

    def pack(self, number: int, tag: int, values: Sequence[float], from_tag: int | None = None) -> bytes:
        """Return the set of that number, due at `tag`: positions, then speeds.

        `from_tag`: the device drops what it holds with a lower number, and is due then or later.
        """
        plain = self._numbers.pack(tag, values)
        counted = _NUMBER.pack(24, b"/plan/number", b",i", number)
        if from_tag is not None:
            counted += _FROM.pack(24, b"/plan/from", b",t", from_tag)
        return plain[:_HEAD] + counted + plain[_HEAD:]


@dataclass(frozen=True, slots=True)
class Able:
    """Who a device is. `room`: sets that it holds; `most_hz`: as many a second it takes; `boot` changes at a reset."""

    version: int
    name: str
    room: int
    most_hz: int
    boot: int
    axes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Time:
    """Device time at which the question of that number came, and at which this left."""

    number: int
    received_ns: int
    answered_ns: int


@dataclass(frozen=True, slots=True)
class Held:
    """What has come: `level` sets are held, `first` is the lowest number missing, `mask` which of the 64 after it came.

    All lower numbers came, or are past.
    """

    level: int
    first: int
    mask: int


@dataclass(frozen=True, slots=True)
class RanOut:
    """The plan ended while it moved, so the device braked; `number` is that of the last set."""

    number: int


Answer = Able | Time | Held | RanOut


def answer(message: bytes) -> Answer | None:
    """Read one message of a device; None for any other address. Error: PeerError where it is spoilt."""
    if not message.startswith(b"/device/"):
        return None
    for head, layout, made in _FIXED:
        if message.startswith(head):
            if len(message) != len(head) + layout.size:
                raise PeerError(f"{len(message)} bytes for {head[:16]!r}, where there should be {layout.size} more")
            return made(*layout.unpack_from(message, len(head)))
    if message.startswith(b"/device/able\0"):
        return _able(message)
    raise PeerError(f"a message that no device sends: {message[:32]!r}")


def _text(text: bytes) -> bytes:
    return text + b"\0" * (4 - len(text) % 4)


def _time(number: int, received: int, answered: int) -> Time:
    return Time(number, device_ns(received), device_ns(answered))


def _held(level: int, first: int, mask: int) -> Held:
    return Held(level, first % NUMBERS, mask & _MASK)


_FIXED: tuple[tuple[bytes, struct.Struct, Callable[..., Answer]], ...] = (
    (_text(b"/device/time") + _text(b",itt"), struct.Struct(">iQQ"), _time),
    (_text(b"/device/held") + _text(b",iih"), struct.Struct(">iiq"), _held),
    (_text(b"/device/ran-out") + _text(b",i"), struct.Struct(">i"), RanOut),
)


def _are_names(axes: Sequence[str]) -> bool:
    """Whether axes can be called so: what cannot be an address is nothing that it could ever speak of."""
    try:
        Numbers(actual_addresses(axes))
    except ValueError:
        return False
    return True


def _able(message: bytes) -> Able:
    (read,) = decode(message)
    match read.arguments:
        case (int() as version, str() as name, int() as count, int() as room, int() as most_hz, int() as boot, *axes):
            names = tuple(one for one in axes if isinstance(one, str))
            if count == len(names) == len(axes) and room > 0 and most_hz > 0 and _are_names(names):
                return Able(version, name, room, most_hz, boot, names)
    raise PeerError(f"a device that says of itself what cannot be: {read.arguments!r}"[:200])
