"""MIDI clock and song position: bytes to events and back, from a stream split and spoilt in any way.

It counts no clocks and knows no tempo.
Source: MIDI 1.0 Detailed Specification: System Real Time (F8 timing clock, FA start, FB continue, FC stop), which may
stand inside any other message, and System Common (F2 song position pointer: sixteenth notes, low seven bits first).
"""

from collections.abc import Iterator
from enum import IntEnum
from typing import NamedTuple

from sequencer.wire.midi import REAL_TIME, Messages

CLOCKS_PER_QUARTER = 24
CLOCKS_PER_SIXTEENTH = 6
_SONG_POSITION = 0xF2
_FARTHEST = 0x3FFF


class RealTime(IntEnum):
    """The messages of one byte that carry the music's time."""

    CLOCK = 0xF8
    START = 0xFA
    CONTINUE = 0xFB
    STOP = 0xFC


_KNOWN = {int(one): one for one in RealTime}
_CLOCK_ALONE = (RealTime.CLOCK,)


class SongPosition(NamedTuple):
    """Where the master stands, in sixteenth notes from the start of the song."""

    sixteenths: int

    def data(self) -> bytes:
        """Return the three bytes of the message. Error: ValueError beyond what it can carry."""
        if not 0 <= self.sixteenths <= _FARTHEST:
            raise ValueError(f"a song position is from 0 to {_FARTHEST} sixteenth notes, not {self.sixteenths}")
        return bytes((_SONG_POSITION, self.sixteenths & 0x7F, self.sixteenths >> 7))


class Reader:
    """Takes a MIDI byte stream apart, and keeps what concerns the music's time; `others` counts whole messages else."""

    def __init__(self) -> None:
        self._messages = Messages(real_time=True)
        self.others = 0

    @property
    def garbage(self) -> int:
        """Bytes that belong to no whole message."""
        return self._messages.garbage

    def feed(self, data: bytes) -> tuple[RealTime | SongPosition, ...]:
        """Return the events that `data` completes, in the order in which they came."""
        if data == b"\xf8":
            return _CLOCK_ALONE  # what a port hands over, one message at a time
        return tuple(self._events(data))

    def _events(self, data: bytes) -> Iterator[RealTime | SongPosition]:
        for message in self._messages.feed(data):
            status = message[0]
            if status in _KNOWN:
                yield _KNOWN[status]
            elif status == _SONG_POSITION:
                yield SongPosition(message[1] | message[2] << 7)
            elif status < REAL_TIME:
                self.others += 1
