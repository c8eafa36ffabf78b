"""What a list of linear timecode words shows: which frame rate, how fast it ran, and what is odd in it.

It reads no samples. A word does not say its rate: frames are counted to 24, 25 or 30 where a second is seen to end, and
how long words last tells 24 from 24000/1001. Linear timecode of 48, 50 and 60 frames runs at half of these, and shows
as that.

Source: SMPTE ST 12-1 for labels, drop-frame counting and rates.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import pairwise
from statistics import median
from typing import NamedTuple

from sequencer.wire.ltc import Heard
from sequencer.wire.ltc_file import Place, span
from sequencer.wire.ltc_word import NOMINALS, Word, decode, fault

_NEAR = 0.5  # of a word between two that follow on each other
_STEADY = 0.01  # of the middle length of a word: those that say how fast it ran
_PULLED = 1000 / 1001


class Shown(NamedTuple):
    """What the words show. `rate` as documents write it, of 24000/1001, 24, 25, 30000/1001 and 30; `sure` if a second
    was seen to end, and not only the length of words taken for the rate. Unit: `words_hz` words a second as measured
    against the samples; `speed` of that rate, never negative.
    """

    rate: str
    nominal: int
    drop: bool
    sure: bool
    words_hz: float
    speed: float
    odd: tuple[Place, ...]


def shown(heard: Sequence[Heard], rate_hz: float) -> Shown | None:
    """Return what the words of a recording show, or nothing where there are none.

    Unit: marks in samples, of which there are `rate_hz` a second.
    """
    if not heard:
        return None
    words = [decode(one.bits) for one in heard]
    lengths = [end - begin for begin, end in map(span, heard)]
    middle = median(lengths)
    steady = [length for length in lengths if abs(length - middle) <= _STEADY * middle]
    words_hz = rate_hz * len(steady) / sum(steady)
    drop = sum(word.drop for word in words) * 2 > len(words)
    nominal, sure = _nominal(heard, words, words_hz)
    if drop:
        nominal, sure = 30, True
    speed, pulled = words_hz / nominal, words_hz / (nominal * _PULLED)
    # 25000/1001 is nobody's rate; for the others, whichever needs the smaller change of speed
    slow = drop or (nominal != 25 and abs(pulled - 1) < abs(speed - 1))
    rate = f"{nominal}000/1001" if slow else str(nominal)
    odd = tuple(_odd(heard, words, nominal, drop))
    return Shown(rate, nominal, drop, sure, words_hz, pulled if slow else speed, odd)


def _nominal(heard: Sequence[Heard], words: Sequence[Word], words_hz: float) -> tuple[int, bool]:
    """Return how many frames are counted, and whether a second was seen to end."""
    ends: Counter[int] = Counter()
    for (one, word), (two, after) in pairwise(zip(heard, words, strict=True)):
        if _adjacent(one, two):
            earlier, later = (after, word) if two.backward else (word, after)
            if later.seconds != earlier.seconds and later.frames in (0, 2):
                ends[earlier.frames + 1] += 1
    seen = [(number, nominal) for nominal, number in ends.items() if nominal in NOMINALS]
    if seen:
        return max(seen)[1], True
    most = max(word.frames for word in words)
    counted = (nominal for nominal in NOMINALS if nominal > most)
    return min(counted, key=lambda nominal: abs(words_hz / nominal - 1)), False


def _adjacent(one: Heard, two: Heard) -> bool:
    (begin, end), (after, _) = span(one), span(two)
    return one.backward == two.backward and after - end < _NEAR * (end - begin)


def _odd(heard: Sequence[Heard], words: Sequence[Word], nominal: int, drop: bool) -> Iterator[Place]:
    """Find labels that do not exist, repeats, jumps, gaps and turns."""
    for one, word in zip(heard, words, strict=True):
        if told := fault(one.bits, nominal):
            yield Place("label", told, *span(one))
        elif word.drop != drop:
            yield Place("label", f"{word} {'carries' if word.drop else 'lacks'} the drop-frame flag", *span(one))
    for (one, word), (two, after) in pairwise(zip(heard, words, strict=True)):
        (begin, end), (last, _) = span(one), span(two)
        if one.backward != two.backward:
            yield Place("turn", f"turns {'backward' if two.backward else 'forward'} at {after}", end, last)
            continue
        step = _count(after, nominal, drop) - _count(word, nominal, drop)
        if abs(step) > 43_200 * nominal:
            step -= _day(nominal, drop) * (1 if step > 0 else -1)  # over midnight
        step = -step if one.backward else step
        missed = round((last - end) / (end - begin))
        if step == 0 and missed == 0:
            yield Place("repeat", f"{after} comes again", last, span(two)[1])
        elif step != missed + 1:
            yield Place("jump", f"jumps from {word} to {after}", end, last)
        elif missed:
            yield Place("gap", f"{missed} words missing between {word} and {after}", end, last)


def _count(word: Word, nominal: int, drop: bool) -> int:
    """Return the frames from midnight to a label."""
    minutes = word.hours * 60 + word.minutes
    left_out = 2 * (minutes - minutes // 10) if drop else 0
    return (minutes * 60 + word.seconds) * nominal + word.frames - left_out


def _day(nominal: int, drop: bool) -> int:
    return _count(Word(24, 0, 0, 0), nominal, drop)
