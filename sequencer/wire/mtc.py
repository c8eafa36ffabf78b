"""MIDI timecode messages: quarter frames and full frames to bytes and back, from bytes split and spoilt in any way.

It does not count frames, judge addresses or know what time it is; that is the follower's.

Source: MIDI Time Code and Cueing, Detailed Specification (supplement to MIDI 1.0), 12 February 1987.
"""

from typing import NamedTuple

from sequencer.wire.midi import Messages

_QUARTER = 0xF1
_SYSEX = 0xF0
_END = 0xF7
_MASKS = (15, 1, 15, 3, 15, 3, 15, 7)  # bits of each piece that carry something; the others are reserved
ALL_DEVICES = 0x7F


class QuarterFrame(NamedTuple):
    """One of the eight pieces of an address: `piece` 0 to 7 and its four bits."""

    piece: int
    value: int

    def data(self) -> bytes:
        """Return the two bytes of the message."""
        return bytes((_QUARTER, self.piece << 4 | self.value))


class Address(NamedTuple):
    """What eight pieces or a full frame say: rate code (0: 24, 1: 25, 2: 30 drop, 3: 30) and the label's numbers."""

    rate: int
    hours: int
    minutes: int
    seconds: int
    frames: int

    def pieces(self) -> tuple[int, ...]:
        """Return the values of pieces 0 to 7."""
        last = self.rate << 5 | self.hours
        numbers = (self.frames, self.seconds, self.minutes, last)
        return tuple(half for number in numbers for half in (number & 15, number >> 4))

    @classmethod
    def of(cls, pieces: tuple[int, ...]) -> "Address":
        """Put the values of pieces 0 to 7 together; the numbers may be out of any range."""
        frames, seconds, minutes, last = (pieces[i] | pieces[i + 1] << 4 for i in (0, 2, 4, 6))
        return cls(last >> 5, last & 31, minutes, seconds, frames)


class FullFrame(NamedTuple):
    """An address in one message: the master stands there, or has gone there."""

    address: Address

    def data(self, device: int = ALL_DEVICES) -> bytes:
        """Return the ten bytes of the message, F0 7F device 01 01 hours minutes seconds frames F7."""
        rate, hours, minutes, seconds, frames = self.address
        return bytes((_SYSEX, 0x7F, device, 1, 1, rate << 5 | hours, minutes, seconds, frames, _END))


class Reader:
    """Takes a MIDI byte stream apart, and keeps what concerns timecode; `others` counts whole messages else."""

    def __init__(self) -> None:
        self._messages = Messages()
        self.others = 0

    @property
    def garbage(self) -> int:
        """Bytes that belong to no whole message."""
        return self._messages.garbage

    def feed(self, data: bytes) -> tuple[QuarterFrame | FullFrame, ...]:
        """Return the timecode messages that `data` completes."""
        if len(data) == 2 and data[0] == _QUARTER and data[1] < 0x80 and not self._messages.unfinished:
            return _ALONE[data[1]]  # what a port hands over, one message at a time: the tick waits for this
        found = []
        for message in self._messages.feed(data):
            known = decode(message)
            if known is None:
                self.others += 1
            else:
                found.append(known)
        return tuple(found)


def _quarter(data: int) -> QuarterFrame:
    piece = data >> 4
    return QuarterFrame(piece, data & _MASKS[piece])


_ALONE = tuple((_quarter(data),) for data in range(0x80))


def decode(message: bytes) -> QuarterFrame | FullFrame | None:
    """Return what a whole MIDI message says of timecode, or None for one about something else."""
    if message[0] == _QUARTER:
        return _quarter(message[1])
    if len(message) == 10 and message[0] == _SYSEX and message[1] == 0x7F and message[3:5] == b"\1\1":
        hours, minutes, seconds, frames = message[5:9]
        return FullFrame(Address(hours >> 5, hours & 31, minutes & 63, seconds & 63, frames & 31))
    return None
