"""OSC packets: numbers at fixed addresses packed and read fast, everything else read with python-osc's parser.

It opens no socket and judges no value: what an address means is for whoever asked. Bytes that are not OSC, or more
than a rig has reason to send, are a PeerError and never any other exception; the work for a packet is bounded.
Source: OSC 1.0 specification (opensoundcontrol.org): strings padded to four bytes, big-endian numbers, a bundle as
`#bundle`, a timetag and elements that begin with their size.
"""

import math
import struct
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from pythonosc.osc_message import OscMessage, ParseError

from sequencer.errors import PeerError
from sequencer.wire.timetag import IMMEDIATELY

Form = Literal["f", "d"]
Argument = object

_BUNDLE = b"#bundle\0"
_HEAD = len(_BUNDLE) + 8
_LARGEST = 16_384
_DEEPEST = 4
_MOST_ARGUMENTS = 256
_READABLE = frozenset(b"ifsbhdtrmTFN[]")
_FORBIDDEN = frozenset(" #*,?[]{}")


@dataclass(frozen=True, slots=True)
class Message:
    """One message, with the timetag of the bundle that it stood in (or at once, where it came alone)."""

    tag: int
    address: str
    arguments: tuple[Argument, ...]


def setpoint_addresses(names: Sequence[str]) -> tuple[str, ...]:
    """Return the addresses of one setpoint set: the position of every axis, then the speed of every axis."""
    return (*(f"/rig/{name}/position" for name in names), *(f"/rig/{name}/speed" for name in names))


def actual_addresses(names: Sequence[str]) -> tuple[str, ...]:
    """Return the addresses at which a rig says where its axes stand."""
    return tuple(f"/rig/{name}/actual" for name in names)


def switch_addresses(names: Sequence[str]) -> tuple[str, ...]:
    """Return the addresses at which a rig says whether the homing switch of an axis is closed."""
    return tuple(f"/rig/{name}/switch" for name in names)


class Numbers:
    """A bundle with one number at each of fixed addresses, written and read without building messages.

    `form` is how numbers are written: `f` (32 bits) or `d` (64 bits); both are read.
    Error: ValueError for an address that OSC cannot carry.
    """

    __slots__ = ("_doubles", "_fields", "_floats", "_layout")

    def __init__(self, addresses: Sequence[str], form: Form = "f") -> None:
        for address in addresses:
            if not address.isascii() or not address.isprintable() or _FORBIDDEN.intersection(address):
                raise ValueError(f"{address} cannot be an OSC address; use letters, digits, '-' and '_' only")
        floats = [_text(address) + b",f\0\0" for address in addresses]
        doubles = [_text(address) + b",d\0\0" for address in addresses]
        heads, width = (floats, 4) if form == "f" else (doubles, 8)
        self._floats = {head: place for place, head in enumerate(floats)}
        self._doubles = {head: place for place, head in enumerate(doubles)}
        # struct takes constant bytes and numbers in one call: an element's size and head, then its number, and so on
        self._layout = struct.Struct(">8sQ" + "".join(f"{4 + len(head)}s{form}" for head in heads))
        self._fields: list[bytes | int | float] = [_BUNDLE, IMMEDIATELY]
        for head in heads:
            self._fields += [struct.pack(">i", len(head) + width) + head, 0.0]

    def pack(self, tag: int, values: Iterable[float]) -> bytes:
        """Return the bundle with timetag `tag` and `values` in the order of the addresses.

        Error: ValueError where there are not as many values as addresses; OverflowError beyond the form's range.
        """
        fields = self._fields
        fields[1] = tag
        fields[3::2] = values
        return self._layout.pack(*fields)

    def read(self, packet: bytes) -> tuple[int, list[float]] | None:
        """Return the timetag and the values of a bundle, NaN for an address that it leaves out.

        None for any packet that holds something else than these addresses with one number each: `decode` reads those.
        """
        end = len(packet)
        if end < _HEAD or not packet.startswith(_BUNDLE):
            return None
        floats, doubles = self._floats, self._doubles
        values = [math.nan] * len(floats)
        at = _HEAD
        while at < end:
            last = at + int.from_bytes(packet[at : at + 4], "big")
            if last + 4 > end:
                return None
            # an element ends at last + 4, so a 32-bit number begins at last
            place = floats.get(packet[at + 4 : last])
            if place is not None:
                (values[place],) = _FLOAT(packet, last)
            else:
                place = doubles.get(packet[at + 4 : last - 4])
                if place is None:
                    return None
                (values[place],) = _DOUBLE(packet, last - 4)
            at = last + 4
        return int.from_bytes(packet[8:16], "big"), values


_FLOAT = struct.Struct(">f").unpack_from
_DOUBLE = struct.Struct(">d").unpack_from


def command(address: str, *numbers: int | float, form: Form = "f") -> bytes:
    """Return a bundle with one message at `address`, with numbers or none, to be obeyed at once.

    Whole numbers have 32 bits, others are written in `form`.
    Error: struct.error for a whole number that has no room in 32 bits; OverflowError beyond the form's range.
    """
    kinds = "".join("i" if isinstance(number, int) else form for number in numbers)
    message = _text(address) + _text("," + kinds) + struct.pack(">" + kinds, *numbers)
    return _BUNDLE + struct.pack(">Qi", IMMEDIATELY, len(message)) + message


def decode(packet: bytes) -> tuple[Message, ...]:
    """Return the messages of a packet in their order, those of bundles within bundles included.

    Error: PeerError that says why it cannot be read: not OSC, cut short, or larger than the limits above.
    """
    return tuple(_message(element, tag) for tag, element in split(packet))


def split(packet: bytes) -> list[tuple[int, bytes]]:
    """Return the messages of a packet in their order, unread, each with the timetag of the bundle that it stood in.

    Error: PeerError where the packet is larger than the limits above, or its bundles cannot be taken apart.
    """
    if len(packet) > _LARGEST:
        raise PeerError(f"an OSC packet of {len(packet)} bytes; at most {_LARGEST} are read")
    messages: list[tuple[int, bytes]] = []
    waiting: list[tuple[bytes, int, int]] = [(packet, IMMEDIATELY, 0)]
    while waiting:
        element, tag, depth = waiting.pop()
        if not element.startswith(_BUNDLE):
            messages.append((tag, element))
        elif depth == _DEEPEST:
            raise PeerError(f"OSC bundles nested more than {_DEEPEST} deep")
        else:
            inner = int.from_bytes(element[8:16], "big")
            # a stack gives back the last first, and messages keep the order in which they were sent
            waiting += [(part, inner, depth + 1) for part in reversed(_elements(element))]
    return messages


def _elements(bundle: bytes) -> list[bytes]:
    if len(bundle) < _HEAD:
        raise PeerError("an OSC bundle is cut short in its timetag")
    elements = []
    at = _HEAD
    while at < len(bundle):
        size = int.from_bytes(bundle[at : at + 4], "big")
        element = bundle[at + 4 : at + 4 + size]
        if size % 4 or len(element) != size:
            raise PeerError(f"an OSC bundle names an element of {size} bytes, with {len(bundle) - at - 4} left")
        elements.append(element)
        at += 4 + size
    return elements


def _message(element: bytes, tag: int) -> Message:
    if not element.startswith(b"/"):
        raise PeerError(f"an OSC message begins with '/', not with {element[:8]!r}")
    # python-osc skips a type that it does not know without skipping its bytes, so types are checked here first
    types = element[(element.find(b"\0") | 3) + 1 :].partition(b"\0")[0]
    if len(types) > _MOST_ARGUMENTS or not _READABLE.issuperset(types[1:]):
        raise PeerError(f"an OSC message with arguments {types[:16]!r} that are not read here")
    try:
        read = OscMessage(element)
    except (ParseError, UnicodeDecodeError) as fault:
        raise PeerError(f"an OSC message that cannot be read: {fault}") from fault
    return Message(tag, read.address, tuple(read.params))


def _text(text: str) -> bytes:
    coded = text.encode("ascii")
    return coded + b"\0" * (4 - len(coded) % 4)
