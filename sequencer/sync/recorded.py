"""What a recording of linear timecode holds: stretches that run without a break, and the frame at any instant of it.

It reads no samples and opens no file; it takes the words that a reader found.

Source: SMPTE ST 12-1 for labels and for the quarters of a word.
"""

from bisect import bisect_right
from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from sequencer.timebase.timecode import Counting, Timecode, count, label
from sequencer.wire.ltc import MARKS, Heard
from sequencer.wire.ltc_word import decode, fault

_BREAK = 0.5  # of a word: more between two words is a break
_QUARTERS = MARKS - 1


class Frame(NamedTuple):
    """One word whose label there is. Unit: `number` frames from midnight; marks rise, in samples."""

    number: int
    reverse: bool
    marks: tuple[float, ...]
    user: tuple[int, ...]

    @property
    def step(self) -> int:
        return -1 if self.reverse else 1

    @property
    def length(self) -> float:
        return self.marks[-1] - self.marks[0]

    def at(self, sample: float) -> Fraction:
        """Return the frame at a sample in the word, or a little beside it, to a thousandth."""
        quarter = min(max(bisect_right(self.marks, sample) - 1, 0), _QUARTERS - 1)
        begin, end = self.marks[quarter : quarter + 2]
        passed = (quarter + (sample - begin) / (end - begin)) / _QUARTERS
        return self.number + Fraction(round(1000 * (1 - passed if self.reverse else passed)), 1000)


class Run(NamedTuple):
    """Timecode without a break. Unit: `begins`, `ends` samples; `speed` of the rate, above zero both ways."""

    first: Timecode
    last: Timecode
    begins: float
    ends: float
    reverse: bool
    speed: float
    frames: int


def frames(heard: Sequence[Heard], counting: Counting) -> list[Frame]:
    """Return the words that name a frame of `counting`, in the order in which they were heard."""
    found = []
    for one in heard:
        word = decode(one.bits, counting.rate.nominal)
        if fault(one.bits, counting.rate.nominal) or word.drop != counting.drop:
            continue
        at = Timecode(word.hours, word.minutes, word.seconds, word.frames, drop=word.drop)
        marks = one.marks[::-1] if one.backward else one.marks
        found.append(Frame(int(count(at, counting)), one.backward, marks, word.user))
    return found


def runs(found: Sequence[Frame], counting: Counting, rate_hz: float) -> list[Run]:
    """Return the stretches that run without a break. Unit: `rate_hz` samples a second."""
    groups: list[list[Frame]] = []
    for one in found:
        if not groups or not _goes_on(groups[-1][-1], one, counting.day):
            groups.append([])
        groups[-1].append(one)
    return [_run(group, counting, rate_hz) for group in groups]


def _goes_on(before: Frame, one: Frame, day: int) -> bool:
    follows = (one.number - before.number - before.step) % day == 0
    near = abs(one.marks[0] - before.marks[-1]) < _BREAK * before.length
    return before.reverse == one.reverse and follows and near


def _run(group: list[Frame], counting: Counting, rate_hz: float) -> Run:
    first, last = group[0], group[-1]
    lasts_s = (last.marks[-1] - first.marks[0]) / rate_hz
    return Run(
        first=label(first.number, counting),
        last=label(last.number, counting),
        begins=first.marks[0],
        ends=last.marks[-1],
        reverse=first.reverse,
        speed=len(group) / lasts_s / float(counting.rate.fraction),
        frames=len(group),
    )


def frame_at(found: Sequence[Frame], sample: float) -> Fraction | None:
    """Return the frame from midnight at `sample`, or None where no word was read within half a word of it."""
    after = bisect_right(found, sample, key=lambda one: one.marks[0])
    for one in found[max(0, after - 1) : after + 1]:
        beside = max(one.marks[0] - sample, sample - one.marks[-1])
        if beside < _BREAK * one.length:
            return one.at(sample)
    return None


def late(clapped: Fraction, marked: Fraction, counting: Counting) -> Fraction:
    """Return by how many frames the rig was late that reached the mark `marked` when the clap was at `clapped`.

    It is as much later that the timeline is wanted; the short way over midnight. Unit: frames from midnight, frames.
    """
    return (clapped - marked + Fraction(counting.day, 2)) % counting.day - Fraction(counting.day, 2)
