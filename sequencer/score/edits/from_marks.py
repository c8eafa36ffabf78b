"""From marks to keys: each chosen mark becomes keys of its axes at an instant, one mark after the other.

An axis that a mark does not name gets a key where it stood at the chosen mark before, since it stays there. A new key
takes the place of one at the same instant. It refuses to take a pinned key away, and to judge what the motors can do.
"""

from collections.abc import Sequence
from fractions import Fraction
from itertools import islice, pairwise

from sequencer.score.easing import Laws, curve_of
from sequencer.score.edits.clip import Clip, paste
from sequencer.score.edits.selection import Selection, close
from sequencer.score.marks import Mark
from sequencer.score.move import Ease, Key, Move, Track
from sequencer.timebase.rate import Rate
from sequencer.timebase.tempo import TempoMap

_DAY_S = 86_400


def keyed(
    move: Move, marks: Sequence[Mark], at: Sequence[Fraction], ease: Ease, laws: Laws, *, clear: bool = False
) -> tuple[Move, Selection]:
    """Return the move with keys where the marks stand, mark after mark at the frames `at`, and those keys as a choice.

    `ease` shapes the leg that begins at each of them. With `clear`, keys between the first and the last of them are
    taken out, on the axes that the marks name. An axis without a track gets one.
    Error: ValueError for no mark, or another number of instants than of marks, instants out of order, or a law that
    there is not; ProjectError for a pinned key in the way.
    """
    if not marks:
        raise ValueError("no mark is chosen; choose one or more")
    if len(at) != len(marks):
        raise ValueError(f"{len(marks)} marks have {len(at)} instants; give each mark one")
    if any(close(one, other) for one, other in pairwise(at)):
        raise ValueError("marks become keys one after the other; two of them would come to one instant")
    curve_of(ease, laws)
    keys: dict[str, list[Key]] = {}
    for mark, when in zip(marks, at, strict=True):
        named = dict(mark.position)
        for axis in [*keys, *(axis for axis in named if axis not in keys)]:
            own = keys.setdefault(axis, [])
            value = named[axis] if axis in named else own[-1].value
            own.append(Key(when - at[0], value, ease))
    copied = Clip(tuple(Track(axis, tuple(own)) for axis, own in keys.items()))
    return paste(move, copied, at[0], clear=clear)


def evenly(count: int, start: Fraction, end: Fraction) -> tuple[Fraction, ...]:
    """Return so many instants, the first at `start`, the last at `end`, all as far apart. Unit: frames.

    Error: ValueError for fewer than two, or an end that is not after the start.
    """
    if count < 2:
        raise ValueError("one mark has one instant; choose two marks or more to lay them between two instants")
    if end <= start:
        raise ValueError("the last mark comes after the first one; choose a later end")
    return tuple(start + (end - start) * number / (count - 1) for number in range(count))


def on_beats(count: int, start: Fraction, every: int, tempo: TempoMap, rate: Rate) -> tuple[Fraction, ...]:
    """Return so many instants on beats, `every` so many of them, from the beat nearest to `start` on. Unit: frames.

    Beats are counted as the tempo map's own grid has them, anew from each metre. Error: ValueError.
    """
    if every < 1:
        raise ValueError(f"marks cannot come every {every} beats; give a number above zero")
    first_s = tempo.nearest(rate.seconds(start))
    beats = islice(tempo.grid(first_s, first_s + _DAY_S), 0, count * every, every)
    return tuple(rate.frames(tempo.seconds(beat)) for beat in beats)
