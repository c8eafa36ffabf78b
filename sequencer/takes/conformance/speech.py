"""The packets by which a device is tried, and what it answers. They are written here apart from the program's own
output, so that each can show the other's faults.

Source: OSC 1.0; the addresses are those of docs/device.md and docs/osc.md.
"""

import math
import struct
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sequencer.errors import PeerError
from sequencer.wire.osc import split
from sequencer.wire.timetag import IMMEDIATELY

SECOND_NS = 1_000_000_000
WRAP = 1 << 31
_FORMS = {"i": ">i", "f": ">f", "t": ">Q", "h": ">q", "d": ">d"}

Value = int | float | str


@dataclass(frozen=True, slots=True)
class Told:
    """One message of the device. `tag` is its bundle's timetag, `at_ns` when it came in here."""

    at_ns: int
    tag: int
    address: str
    types: str
    values: tuple[Value, ...]

    @property
    def number(self) -> float | None:
        """The first value, None where there is none or it is no finite number."""
        first = self.values[0] if self.values else None
        return None if first is None or isinstance(first, str) or not math.isfinite(first) else float(first)


def device_tag(ns: int) -> int:
    """Return device time as a timetag. Unit: nanoseconds since the device began to run."""
    return (ns << 32) // SECOND_NS


def device_ns(tag: int) -> int:
    """Return the device time of a timetag in nanoseconds."""
    return tag * SECOND_NS + (1 << 31) >> 32


def message(address: str, types: str = "", *values: Value) -> bytes:
    """Return one message. Error: struct.error where a value has no room in its type."""
    body = b"".join(
        _text(str(value)) if kind == "s" else struct.pack(_FORMS[kind], value)
        for kind, value in zip(types, values, strict=True)
    )
    return _text(address) + _text("," + types) + body


def bundle(messages: Iterable[bytes], tag: int = IMMEDIATELY) -> bytes:
    """Return one bundle."""
    return b"#bundle\0" + struct.pack(">Q", tag) + b"".join(struct.pack(">i", len(one)) + one for one in messages)


def one(address: str, types: str = "", *values: Value) -> bytes:
    """Return a bundle with one message, to be obeyed at once."""
    return bundle([message(address, types, *values)])


def setpoints(names: Sequence[str], positions: Sequence[float], speeds: Sequence[float]) -> list[bytes]:
    """Return the messages of one setpoint set."""
    return [
        *(message(f"/rig/{name}/position", "f", value) for name, value in zip(names, positions, strict=True)),
        *(message(f"/rig/{name}/speed", "f", value) for name, value in zip(names, speeds, strict=True)),
    ]


def heard(packet: bytes, at_ns: int) -> list[Told]:
    """Return the messages of a packet. Error: PeerError for what is not OSC, or has a type that no device needs."""
    return [_told(tag, element, at_ns) for tag, element in split(packet)]


def _told(tag: int, element: bytes, at_ns: int) -> Told:
    address, _, _ = element.partition(b"\0")
    at = (len(address) | 3) + 1
    # a sender from before the type tags leaves them out
    types, _, _ = element[at:].partition(b"\0") if at < len(element) else (b",", b"", b"")
    at += (len(types) | 3) + 1
    if not address.startswith(b"/") or not types.startswith(b","):
        raise PeerError(f"no OSC message: {element[:24]!r}")
    values: list[Value] = []
    try:
        for kind in types[1:].decode("ascii"):
            if kind == "s":
                said, _, _ = element[at:].partition(b"\0")
                values.append(said.decode())
                at += (len(said) | 3) + 1
            else:
                values.append(struct.unpack_from(_FORMS[kind], element, at)[0])
                at += struct.calcsize(_FORMS[kind])
        return Told(at_ns, tag, address.decode("ascii"), types[1:].decode("ascii"), tuple(values))
    except (struct.error, KeyError, UnicodeDecodeError) as fault:
        raise PeerError(f"{address!r} has arguments {types!r} that cannot be read") from fault


def _text(words: str) -> bytes:
    coded = words.encode()
    return coded + b"\0" * (4 - len(coded) % 4)
