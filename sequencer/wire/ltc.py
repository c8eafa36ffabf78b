"""Linear timecode words: the 80 bits of a frame, and how a word that was heard travels between processes.

It reads no samples (see ltc_reader and ltc_file) and does not count frames. User bits and binary group flags are kept,
and not read: a date in them is left alone.

Source: SMPTE ST 12-1, linear time code: bit positions, sync word, polarity-correction bit.
"""

import struct
from typing import NamedTuple

BITS = 80
MARKS = 5  # boundaries of a word: before bits 0, 20, 40 and 60, and after bit 79
_TRAVELS = struct.Struct("<?5qd10s")


class Heard(NamedTuple):
    """One word as it was heard, in a recording or on a wire.

    `bits` are its ten bytes, bit 0 of the word lowest in byte 0, whatever way it ran. `marks` are the instants of its
    boundaries in the word's own order, so that they fall where it ran `backward`. Unit: whatever the reader's clock
    counts: samples, or nanoseconds.
    """

    bits: bytes
    backward: bool
    marks: tuple[float, float, float, float, float]


class Stamped(NamedTuple):
    """A word with its marks in nanoseconds from the stamp that it travels with; they are below zero, being earlier.

    `noise` is that of the clock which made the marks, as a density. Unit: seconds times the root of a second.
    """

    heard: Heard
    noise: float


def packed(heard: Heard, stamp_ns: int, noise: float = 0.0) -> bytes:
    """Return how a word travels with the stamp `stamp_ns`, its arrival; its marks are monotonic nanoseconds."""
    marks = (round(mark) - stamp_ns for mark in heard.marks)
    return _TRAVELS.pack(heard.backward, *marks, noise, heard.bits)


def unpacked(data: bytes) -> Stamped:
    """Return the word that travelled. Error: ValueError for bytes that are none."""
    try:
        backward, *marks, noise, bits = _TRAVELS.unpack(data)
    except struct.error as fault:
        raise ValueError(f"{len(data)} bytes are no word of linear timecode") from fault
    if not 0 <= noise < 1:
        raise ValueError(f"a word of linear timecode says that its clock has a noise of {noise}")
    return Stamped(Heard(bits, backward, tuple(marks)), noise)
