"""Where bars and beats lie in sight, for the ruler and for the lanes.

It refuses to know Qt, and to work them out anew for each frame of a scroll: they are kept, stretch by stretch.
"""

from collections.abc import Callable, Iterator
from fractions import Fraction
from functools import lru_cache
from math import ceil, floor, log2

from sequencer.timebase.tempo import TempoMap
from ui.timeline.ticks import GAP_PX, LINE_PX, Ticks

_BARS_PX = 12.0  # between two bars that are drawn in lanes
_BEATS_PX = 14.0

Width = Callable[[str], float]


def bars(tempo: TempoMap, begin_s: float, end_s: float, px_a_s: float, width_px: Width) -> Ticks:
    """Return the ruler's lines at bars, or at beats where there is room: `12` is a bar, `12.3` its third beat."""
    beat_px = _beat_s(tempo) * px_a_s
    bar_px = beat_px * min(one.beats_per_bar for one in tempo.stretches)
    ends = (Fraction(each).limit_denominator(1000) for each in (begin_s, end_s))
    widest = max(width_px(str(tempo.in_bar(tempo.beat(each)).bar + 1)) for each in ends)
    if beat_px >= widest + width_px(".8") + GAP_PX:
        part = next((each for each in (4, 2) if beat_px / each >= LINE_PX), 1)
        named = [(at_s, words) for at_s, words in _inside(tempo, begin_s, end_s, 1) if words]
        return _apart(named, [at_s for at_s, _ in _inside(tempo, begin_s, end_s, part)], px_a_s, width_px)
    step = 1
    while step * bar_px < widest + GAP_PX:
        step *= 2
    finer = step
    while finer > 1 and finer / 2 * bar_px >= LINE_PX:
        finer //= 2
    found = list(_inside(tempo, begin_s, end_s, 0))
    named = [(at_s, words) for at_s, words in found if (int(words) - 1) % step == 0]
    fine = [at_s for at_s, words in found if (int(words) - 1) % finer == 0]
    if finer == 1 and beat_px >= LINE_PX:
        fine = [at_s for at_s, _ in _inside(tempo, begin_s, end_s, 1)]
    return _apart(named, fine, px_a_s, width_px)


def beats(tempo: TempoMap, begin_s: float, end_s: float, px_a_s: float) -> tuple[list[float], list[float]]:
    """Return the instants of bars, or of as many of them as can be told apart, and of beats where these can."""
    beat_px = _beat_s(tempo) * px_a_s
    step = 1
    while step * beat_px * min(one.beats_per_bar for one in tempo.stretches) < _BARS_PX:
        step *= 2
    strong = [at_s for at_s, words in _inside(tempo, begin_s, end_s, 0) if (int(words) - 1) % step == 0]
    if beat_px < _BEATS_PX:
        return strong, []
    there = set(strong)
    return strong, [at_s for at_s, _ in _inside(tempo, begin_s, end_s, 1) if at_s not in there]


def _beat_s(tempo: TempoMap) -> float:
    return float(min(one.beat_s for one in tempo.stretches))


def _inside(tempo: TempoMap, begin_s: float, end_s: float, part: int) -> Iterator[tuple[float, str]]:
    """Yield the lines in sight: bars where `part` is 0, else that many lines a beat; with words for bars and beats."""
    long_s = 2.0 ** ceil(log2(end_s - begin_s))
    for number in range(floor(begin_s / long_s), floor(end_s / long_s) + 1):
        yield from (line for line in _kept(tempo, long_s, number, part) if begin_s <= line[0] <= end_s)


@lru_cache(maxsize=64)
def _kept(tempo: TempoMap, long_s: float, number: int, part: int) -> tuple[tuple[float, str], ...]:
    begin, end = Fraction(long_s) * number, Fraction(long_s) * (number + 1)
    if not part:
        found = [(tempo.seconds(beat), str(bar + 1)) for bar, beat in tempo.bars(begin, end)]
    else:
        lines = tempo.grid(begin, end, Fraction(1, part))
        found = [(tempo.seconds(beat), _words(tempo, beat)) for beat in lines]
    # a line at the very end is the next stretch's
    return tuple((float(at), words) for at, words in found if at < end)


def _words(tempo: TempoMap, beat: Fraction) -> str:
    bar, inside = tempo.in_bar(beat)
    if inside.denominator != 1:
        return ""
    return f"{bar + 1}.{int(inside) + 1}" if inside else f"{bar + 1}"


def _apart(named: list[tuple[float, str]], fine: list[float], px_a_s: float, width_px: Width) -> Ticks:
    """Leave labels out that would touch the one before: a metre that ends early brings two bars together."""
    labelled: list[tuple[float, str]] = []
    free_s = float("-inf")
    for at_s, words in named:
        if at_s >= free_s:
            labelled.append((at_s, words))
            free_s = at_s + (width_px(words) + GAP_PX) / px_a_s
    there = {at_s for at_s, _ in labelled}
    return Ticks(tuple(labelled), tuple(at_s for at_s in fine if at_s not in there))
