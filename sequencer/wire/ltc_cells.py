"""Words of linear timecode out of the instants at which the signal changes sign.

It knows no samples and no levels. A word comes out only where each of its 80 bits begins with an edge, its numbers are
numbers, and its polarity-correction bit fits; or where the bit does not fit, as with generators that do not set it, but
the word is the one that follows from the last.

Source: SMPTE ST 12-1, linear time code: biphase mark, sync word, polarity correction. Constants tuned by experiment.
"""

from dataclasses import dataclass
from math import inf

import numpy as np

from sequencer.wire.ltc import BITS, Heard
from sequencer.wire.ltc_word import even, unread

HALVES = 2 * BITS  # half bits in a word
_SYNC = "0011111111111101"
_GLITCH, _ONE, _TWO = 0.4, 1.5, 2.7  # half bits: up to here an edge is none, the next, the one after; beyond, a break
_FOLLOW = 0.04  # of what an edge is off, taken into the length of a half bit
_SMOOTH = 0.4  # of it, left out of the instant from which the next edge is measured
_SHORTS = 13  # percent of the intervals of a whole word: half bits, since each word has 24 of them at least
_SEARCH, _LEAST = 112, 40  # edges in which to look for the speed
_AGAIN = 24  # new ones before it is looked for again
_OTHER = 0.15  # of the length of a half bit: what was read with one that far off is read again
_UNLOCKED = 1.6  # words in which none could be read
_NEVER = 1 << 62
_REMEMBER = 2 * HALVES  # edges: two words at least


def _halves(bits: str) -> int:
    """Return the half bits of `bits` as they run, the last one lowest: 1 where there is an edge at its start."""
    return int("".join("11" if bit == "1" else "10" for bit in bits) + "1", 2)


_PATTERN = (1 << 33) - 1
_FORWARD, _BACKWARD = _halves(_SYNC), _halves(_SYNC[::-1])
# where a parabola through the 81 instants between a word's bits lies before bits 0, 20, 40 and 60, and after bit 79
_AT = np.linspace(-1, 1, BITS + 1)
_MARKS = np.vander(_AT[::20], 3) @ np.linalg.pinv(np.vander(_AT, 3))
_FRAMES = 0x30F  # the bits of the frame's number


@dataclass(slots=True)
class Counts:
    """Words so far. `misread` had an edge out of place or numbers that are none, `uneven` a polarity bit off."""

    words: int = 0
    backward: int = 0
    misread: int = 0
    uneven: int = 0


class Cells:
    """Puts edges together to words, either way. Unit: `half` is the length of a half bit, in the unit of the edges."""

    def __init__(self, half: float, shortest: float, longest: float) -> None:
        self.half = half
        self.counts = Counts()
        self.end = -inf  # of the last word
        self._shortest, self._longest = shortest, longest
        self._edges: list[float] = []  # the newest, for a search
        self._fresh = 0
        self._before = b"", False  # the last word, and whether it ran backward
        self._found: list[Heard] = []
        self._begin(-inf)

    @property
    def locked(self) -> bool:
        """Whether words are being read, as far as the newest edge."""
        return self._instants[-1] - self.end < _UNLOCKED * HALVES * self.half

    def feed(self, edges: list[float]) -> list[Heard]:
        """Return the words that `edges`, in rising order, complete."""
        self._run(edges)
        self._edges += edges
        self._fresh += len(edges)
        del self._edges[:-_REMEMBER]
        if self._fresh >= _AGAIN and not self.locked:
            self._search()
        found, self._found = self._found, []
        return found

    def _begin(self, edge: float) -> None:
        self._pattern = 1  # edges at the newest 33 half bits, the newest lowest
        self._due = _NEVER  # half bit at which a word that runs backward is whole
        self._numbers = [0]  # half bits since the start at which there was an edge
        self._instants = [edge]
        self._newest = edge  # smoothed

    def _run(self, edges: list[float]) -> None:
        half, pattern = self.half, self._pattern
        numbers, instants = self._numbers, self._instants
        number, newest = numbers[-1], self._newest
        for edge in edges:
            gap = edge - newest
            halves = gap / half
            if halves < _ONE:
                if halves < _GLITCH:
                    continue
                number += 1
                pattern = (pattern << 1 | 1) & _PATTERN
                off = gap - half
                half += _FOLLOW * off
            elif halves < _TWO:
                number += 2
                pattern = (pattern << 2 | 1) & _PATTERN
                off = gap - 2 * half
                half += _FOLLOW / 2 * off
            else:
                self._begin(edge)
                newest, pattern, number = edge, 1, 0
                numbers, instants = self._numbers, self._instants
                continue
            newest = edge - _SMOOTH * off
            numbers.append(number)
            instants.append(edge)
            if pattern == _FORWARD:
                self._whole(backward=False)
            elif pattern == _BACKWARD:
                self._due = number + HALVES - 32
            elif number >= self._due:
                if number == self._due:
                    self._whole(backward=True)
                self._due = _NEVER
        self.half = min(max(half, self._shortest), self._longest)
        self._pattern, self._newest = pattern, newest
        del numbers[:-_REMEMBER], instants[:-_REMEMBER]

    def _search(self) -> None:
        """Look for the speed in the newest edges, and read them once more with it."""
        self._fresh = 0
        if len(self._edges) < _LEAST:
            return
        gaps = np.sort(np.diff(self._edges[-_SEARCH:]))
        half = min(max(float(gaps[len(gaps) * _SHORTS // 100]), self._shortest), self._longest)
        if abs(half / self.half - 1) < _OTHER:
            return
        self.half = half
        edges = self._edges.copy()
        self._begin(edges[0])
        self._run(edges[1:])

    def _whole(self, *, backward: bool) -> None:
        """Take the word that ends with the newest edge."""
        begin = self._numbers[-1] - HALVES
        if begin < 0 or self._instants[-1] < self.end + HALVES * self.half / 2:
            return  # it began before we listened, or was read before and is now once more in a search
        ones, starts = 0, []  # the newest first, as a word that runs backward has them
        for number, edge in zip(reversed(self._numbers), reversed(self._instants), strict=True):
            place = number - begin
            if place < 0:
                break
            if place & 1:
                ones |= 1 << ((HALVES - place if backward else place) >> 1)
            else:
                starts.append(edge)
        bits = ones.to_bytes(BITS // 8, "little")
        if len(starts) <= BITS or unread(bits):
            self.counts.misread += 1
            return
        if not even(bits):
            self.counts.uneven += 1
            follows = self._follows(bits, backward)
            self._before = bits, backward
            if not follows:
                return
        self.end = starts[0]
        self._before = bits, backward
        self.counts.words += 1
        self.counts.backward += backward
        first, second, third, fourth, fifth = (_MARKS @ (starts if backward else starts[::-1])).tolist()
        self._found.append(Heard(bits, backward, (first, second, third, fourth, fifth)))

    def _follows(self, bits: bytes, backward: bool) -> bool:
        """Whether a word is the last one with its frame's number one on, and nothing else changed."""
        before, so = self._before
        if not before or so != backward:
            return False
        now, then = int.from_bytes(bits, "little"), int.from_bytes(before, "little")
        if (now ^ then) & ~_FRAMES:
            return False
        return _frame(now) - _frame(then) == (-1 if backward else 1)


def _frame(word: int) -> int:
    return (word & 15) + 10 * (word >> 8 & 3)
