"""Words of linear timecode as they were heard: what each of them says, which follow one another, and in what rate.

It knows no line and no state of a chase. A word that cannot be of the project's timecode never gets into the row.

Source: SMPTE ST 12-1 for labels, drop-frame counting, and half the rate above 30 frames a second.
"""

from collections import deque
from collections.abc import Iterator
from itertools import pairwise
from typing import NamedTuple

from sequencer.sync.reading import Counts
from sequencer.sync.troubles import Troubles
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timecode, count
from sequencer.wire.ltc import Heard
from sequencer.wire.ltc_word import NOMINALS, Word, decode, fault

ENOUGH = 3  # words that follow one another, or repeat one another, are believed
_SPEEDS = 0.2, 5.0  # of nominal, that a word may run at
_HOLE = 5  # words from one to the next that still follow
_OFF = 0.25  # of a word that the next may begin early or late
_REFUSE = 2  # signs of another rate, with none of the right one between


def carried(counting: Counting) -> Counting:
    """Return how linear timecode counts for a project: above 30 frames a second, one word for each two frames."""
    if counting.rate.nominal <= 30:
        return counting
    half = counting.rate.fraction / 2
    return Counting(Rate(half.numerator, half.denominator), counting.drop)


def named(nominal: int, drop: bool) -> str:
    """Return a way of counting in words."""
    return f"{nominal} frames a second{' with drop-frame' if drop else ''}"


class Said(NamedTuple):
    """A word of the project's timecode. `way` is 1 forward, -1 backward. Unit: `frame` from midnight.

    `marks` are its five boundaries as they came. Unit: seconds, rising.
    """

    frame: int
    word: Word
    way: int
    marks: tuple[float, ...]

    @property
    def lasts_s(self) -> float:
        return self.marks[-1] - self.marks[0]

    def quarters(self) -> Iterator[tuple[int, float]]:
        """Yield the quarters from midnight that its boundaries mark, with their instants, as they came."""
        first = 4 * self.frame + (0 if self.way > 0 else 4)
        for step, at_s in enumerate(self.marks):
            yield first + self.way * step, at_s


class Row:
    """The newest words that follow one another. `stands` counts the newest that all say the same.

    `proved` says that the end of a second was heard where the project has it, which no other rate does.
    """

    def __init__(self, counting: Counting, counts: Counts, troubles: Troubles) -> None:
        self._counting = counting
        self._nominal = counting.rate.nominal
        self._word_s = float(counting.rate.seconds(1))
        self._counts = counts
        self._troubles = troubles
        self._signs = 0  # frames and ends of seconds of another rate, since the last end of a second in ours
        self._flags = 0  # words in a row with the wrong drop-frame flag; one alone is a word cut off by a jump
        self.words: deque[Said] = deque(maxlen=ENOUGH)
        self.clear()

    def clear(self) -> None:
        """Forget all but a rate that was refused."""
        self._newest: Said | None = None
        self.words.clear()
        self.stands = 0
        self.proved = False

    @property
    def trusted(self) -> bool:
        """Whether enough words follow one another, and nothing speaks for another rate."""
        return len(self.words) == ENOUGH and self._signs == 0

    @property
    def refused(self) -> bool:
        """Whether the timecode counts in another rate than the project."""
        return max(self._signs, self._flags) >= _REFUSE

    def add(self, t_s: float, heard: Heard, offset_s: float) -> Said | None:
        """Take a word whose marks are nanoseconds from `offset_s`; return None for one that says no place here."""
        marks = tuple(offset_s + mark * 1e-9 for mark in (heard.marks[::-1] if heard.backward else heard.marks))
        lasts_s = marks[-1] - marks[0]
        rising = all(earlier < later for earlier, later in pairwise(marks))
        if not rising or not _SPEEDS[0] <= self._word_s / lasts_s <= _SPEEDS[1]:
            self._counts.misread += 1
            return None
        told = fault(heard.bits)
        if told:
            self._counts.misread += 1
            self._troubles.tell("label", f"a word of the timecode is not used: {told}", t_s)
            return None
        word = decode(heard.bits)
        nominal = 30 if word.drop else max(word.frames + 1, _nearest(lasts_s))
        if word.drop != self._counting.drop:
            self._flags += 1
            self._doubt(t_s, nominal, drop=word.drop)
            return None
        self._flags = 0
        if word.frames >= self._nominal:
            self._signs += 1
            self._doubt(t_s, nominal, drop=word.drop)
            return None
        at = Timecode(word.hours, word.minutes, word.seconds, word.frames, drop=word.drop)
        said = Said(int(count(at, self._counting)), word, -1 if heard.backward else 1, marks)
        if self._newest is None:
            self._append(said, hops=0, step=0)
            return said
        before = self._newest
        hop = 2 * (said.marks[0] - before.marks[0]) / (said.lasts_s + before.lasts_s)
        hops = round(hop)
        if hops < 1:
            self._counts.doubled += 1
            return None
        near = hops <= _HOLE and abs(hop - hops) < _OFF and before.way == said.way
        day = self._counting.day
        step = said.way * ((said.frame - before.frame + day // 2) % day - day // 2)
        if near and hops == 1:
            self._watch_second(t_s, before, said, step)
        self._append(said, hops if near else 0, step)
        return said

    def _append(self, said: Said, hops: int, step: int) -> None:
        """Append a word `hops` words after the newest, 0 for one that is not near it, and `step` frames ahead of it."""
        self._newest = said
        self.stands = self.stands + 1 if step == 0 else 1
        if not hops or step != hops:
            self.words.clear()
        self.words.append(said)

    def _watch_second(self, t_s: float, before: Said, said: Said, step: int) -> None:
        """See whether a second ends where the project's do."""
        early, late = (before.word, said.word) if said.way > 0 else (said.word, before.word)
        if (_seconds(late) - _seconds(early)) % 86_400 != 1:
            return
        ended = early.frames + 1
        if step == 1:
            self.proved = True
            self._signs = 0
        elif late.frames == 0 and ended in NOMINALS:
            self._signs += 1
            self._doubt(t_s, ended, drop=early.drop)

    def _doubt(self, t_s: float, nominal: int, *, drop: bool) -> None:
        self._counts.wrong_rate += 1
        if self.refused:
            theirs = named(next(rate for rate in NOMINALS if rate >= nominal), drop)
            ours = named(self._nominal, self._counting.drop)
            self._troubles.tell("rate", f"the timecode says {theirs}, the project {ours}; set one of them", t_s)


def _seconds(word: Word) -> int:
    return (word.hours * 60 + word.minutes) * 60 + word.seconds


def _nearest(lasts_s: float) -> int:
    """Return the rate at which a word of this length would run at its own speed."""
    return min(NOMINALS, key=lambda nominal: abs(nominal * lasts_s - 1))
