"""A receiver of timecode that is none of ours: mido parses the bytes, and the specification's rule makes addresses.

Source: MIDI Time Code and Cueing, Detailed Specification, 1987; the package `timecode` for labels.
"""

from collections.abc import Iterable
from typing import NamedTuple

import mido
from timecode.timecode import Timecode as Theirs

from sequencer.timebase.timecode import Counting


class Told(NamedTuple):
    """What a receiver knows when an address is whole: the label, and the instant that it stood for."""

    at_ns: int
    label: str
    full: bool


def received(pieces: Iterable[tuple[int, bytes]]) -> list[Told]:
    """Put addresses together from stamped bytes, split in any way.

    Eight pieces in order stand for the instant of piece 0: the first of them forward, the last one backward.
    """
    parser = mido.Parser()
    told: list[Told] = []
    run: list[tuple[int, int, int]] = []
    for at_ns, data in pieces:
        parser.feed(data)
        for message in parser:
            if message.type == "sysex":
                assert message.data[:4] == (0x7F, 0x7F, 1, 1)
                told.append(Told(at_ns, _label(*message.data[4:]), True))
                run = []
                continue
            assert message.type == "quarter_frame"
            run.append((at_ns, message.frame_type, message.frame_value))
            if [piece for _, piece, _ in run[-8:]] not in (list(range(8)), list(range(7, -1, -1))):
                continue
            value = {piece: value for _, piece, value in run[-8:]}
            frames, seconds, minutes, hours = (value[i] | value[i + 1] << 4 for i in (0, 2, 4, 6))
            zero_ns = next(at for at, piece, _ in run[-8:] if piece == 0)
            told.append(Told(zero_ns, _label(hours, minutes, seconds, frames), False))
            run = []
    return told


def _label(hours: int, minutes: int, seconds: int, frames: int) -> str:
    return f"{hours & 31:02}:{minutes:02}:{seconds:02}:{frames:02}"


def quarters(messages: Iterable[tuple[int, bytes]]) -> list[tuple[int, int]]:
    """Return instant and piece of each quarter frame."""
    return [(at_ns, data[1] >> 4) for at_ns, data in messages if len(data) == 2]


def theirs(counting: Counting, frame: int) -> str:
    """Return the label of a frame from midnight, by a general timecode library (its frames begin at one)."""
    name = "29.97" if counting.drop else str(counting.rate.nominal)
    return str(Theirs(name, frames=frame % counting.day + 1)).replace(";", ":")
