"""Packets of streaming ACN: a universe of 512 slots with axes in them, synchronisation, and which universes there are.

It sends nothing and counts no time. It refuses numbers that are none, since a slot cannot say so.
Source: ANSI E1.31-2018. Tables 4-1, 4-2 and 4-3 (the packets), sections 5 (root layer), 6 (framing layer), 7 (slots), 8
(universe discovery), 9.3.1 (addresses), appendix A (constants). Clauses as others quote them: the text itself was not
at hand. How an axis lies in slots is no part of it: the coarse slot first is common practice, no source.
"""

import math
import struct
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

PORT = 5568  # ACN_SDT_MULTICAST_PORT
SLOTS = 512
UNIVERSES = (1, 63_999)
DISCOVERY_UNIVERSE = 64_214
PRIORITIES = (0, 200)
USUAL_PRIORITY = 100
STREAM_TERMINATED = 0x40  # of the options, section 6.2.6
NAME_BYTES = 63  # and a null, section 6.2.2
TERMINATED_TIMES = 3  # section 6.2.6
REPEAT_NS = 25_000_000  # between those, within the rate of section 6.6.1
SAME_TIMES = 3  # of data that does not change, before it is only kept alive; section 6.6.2
KEEP_ALIVE_NS = 900_000_000  # from 0.8 s to 1 s, section 6.6.2
DISCOVERY_NS = 10_000_000_000  # E131_UNIVERSE_DISCOVERY_INTERVAL
MOST_HZ = 44.0
"""Section 6.6.1 takes the highest refresh rate of ANSI E1.11: break 92 us, mark 12 us, 513 slots of 44 us (memory)."""

_LENGTH = 126 + SLOTS
_SEQUENCE_AT, _OPTIONS_AT, _SLOTS_AT = 111, 112, 126
_FINE_FIRST = "<u4"  # as most machines have it, which spares turning each number round


@dataclass(frozen=True, slots=True)
class Place:
    """Where an axis lies: from slot `first` (counted from 1) over 8, 16 or 24 `bits`, and which values those span.

    At `low` all bits are 0, at `high` all are 1; `high` may be the smaller number. Unit: the axis's own.
    """

    first: int
    bits: int
    low: float
    high: float

    @property
    def slots(self) -> range:
        """The slots that it takes."""
        return range(self.first, self.first + self.bits // 8)

    @property
    def span(self) -> tuple[float, float]:
        """The least and the greatest value."""
        return min(self.low, self.high), max(self.low, self.high)

    @property
    def step(self) -> float:
        """The least step that it can say."""
        return abs(self.high - self.low) / ((1 << self.bits) - 1)


def group(universe: int) -> str:
    """Return the address to which all hear who take part in `universe`. Source: E1.31, section 9.3.1, table 9-10."""
    return f"239.255.{universe >> 8}.{universe & 0xFF}"


def source_name(text: str) -> bytes:
    """Return a name as packets carry it: UTF-8, cut at a whole character, ended by a null. Shape: 64 bytes."""
    return text.encode()[:NAME_BYTES].decode(errors="ignore").encode().ljust(NAME_BYTES + 1, b"\0")


def synchronisation(cid: bytes, address: int, sequence: int) -> bytes:
    """Return what makes receivers act on the data that waits for `address`. Source: E1.31, table 4-2, section 6.3."""
    return _root(cid, 49, 8) + struct.pack(">HIBHH", _flags(49 - 38), 1, sequence, address, 0)


def discovery(cid: bytes, name: str, universes: Sequence[int]) -> bytes:
    """Return what says on which universes a source sends. Source: E1.31, table 4-3, sections 6.4 and 8."""
    length = 120 + 2 * len(universes)
    framing = struct.pack(">HI64sI", _flags(length - 38), 2, source_name(name), 0)
    layer = struct.pack(">HIBB", _flags(length - 112), 1, 0, 0)
    return _root(cid, length, 8) + framing + layer + struct.pack(f">{len(universes)}H", *sorted(universes))


class Look:
    """What all slots of one universe say, kept as the packet that says it; what no axis takes is 0.

    `cid` is 16 bytes that tell this source from all others. `sync` is the universe whose synchronisation packets
    receivers wait for, 0 for none. Two places that share a slot are the caller's fault.
    """

    def __init__(
        self,
        cid: bytes,
        name: str,
        universe: int,
        places: Sequence[Place],
        priority: int = USUAL_PRIORITY,
        sync: int = 0,
    ) -> None:
        framing = struct.pack(">HI64sBHBBH", _flags(_LENGTH - 38), 2, source_name(name), priority, sync, 0, 0, universe)
        layer = struct.pack(">HBBHHHB", _flags(_LENGTH - 115), 2, 0xA1, 0, 1, SLOTS + 1, 0)
        self._packet = bytearray(_root(cid, _LENGTH, 4) + framing + layer + bytes(SLOTS))
        low, high = np.array([place.low for place in places]), np.array([place.high for place in places])
        self._full = np.array([float((1 << place.bits) - 1) for place in places])
        self._gain = self._full / (high - low)
        self._begin = 0.5 - low * self._gain  # with the half that rounds what is cut off
        self._none, self._ones = np.zeros(len(places)), np.ones(len(places))
        # numbers on their way to bytes: room that is used again at every tick, since making it costs as much as filling
        self._parts = np.zeros(len(places))
        self._numbers = np.zeros(len(places), _FINE_FIRST)
        self._number_bytes = self._numbers.view(np.uint8)
        # which of the four bytes of each number go out, the coarsest first
        which = [4 * n + byte for n, place in enumerate(places) for byte in reversed(range(place.bits // 8))]
        self._which = np.array(which)
        self._runs = _runs([_SLOTS_AT + slot - 1 for place in places for slot in place.slots])
        self._said = b""

    def fill(self, position: Floats) -> bool:
        """Have the slots say where the axes shall stand, in the order of the places; return whether any slot changed.

        A value outside of what its slots span is said as the nearest that they can say. Error: ValueError where one is
        no number.
        """
        parts = self._parts
        np.multiply(position, self._gain, out=parts)
        np.add(parts, self._begin, out=parts)
        if not math.isfinite(parts.dot(self._ones)):
            raise ValueError(f"an axis shall stand at {position}, which no slot can say")
        np.maximum(parts, self._none, out=parts)
        np.minimum(parts, self._full, out=parts)
        self._numbers[:] = parts
        said = self._number_bytes[self._which].tobytes()
        if said == self._said:
            return False
        self._said = said
        for there, here in self._runs:
            self._packet[there] = said[here]
        return True

    def packet(self, sequence: int, options: int = 0) -> bytes:
        """Return the packet with this sequence number, which wraps at 256. Shape: 638 bytes."""
        self._packet[_SEQUENCE_AT], self._packet[_OPTIONS_AT] = sequence & 0xFF, options
        return bytes(self._packet)


def _runs(places: Sequence[int]) -> list[tuple[slice, slice]]:
    """Return which bytes in a row belong to which in a row, where the n-th byte belongs to `places[n]`."""
    runs: list[tuple[slice, slice]] = []
    begin = 0
    for end in range(1, len(places) + 1):
        if end == len(places) or places[end] != places[end - 1] + 1:
            runs.append((slice(places[begin], places[end - 1] + 1), slice(begin, end)))
            begin = end
    return runs


def _root(cid: bytes, length: int, vector: int) -> bytes:
    """Return the root layer of a packet of `length` bytes. Source: E1.31, section 5."""
    return struct.pack(">HH12sHI16s", 0x10, 0, b"ASC-E1.17", _flags(length - 16), vector, cid)


def _flags(length: int) -> int:
    """Return a layer's length with the flags before it. Source: E1.31, sections 5.4, 6.1, 7.1 and 8.1."""
    return 0x7000 | length
