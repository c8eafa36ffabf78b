"""Give an axis a value at an instant, by the key that stands there or a new one. It refuses to change a pinned key."""

from fractions import Fraction

from sequencer.errors import ProjectError
from sequencer.score.easing import Laws, NoCurve, settings_of
from sequencer.score.edits.keys import placed, put, shaped
from sequencer.score.edits.selection import close
from sequencer.score.move import Ease, Key, Move
from sequencer.timebase.instants import instant

FIRST_LAW = "poly345"  # of a track that begins; from rest to rest with little jerk


def valued(move: Move, axis: str, at: Fraction, value: float, laws: Laws, *, ease: Ease | None = None) -> Move:
    """Return the move in which `axis` has a key of this value at frame `at`; a track begins where there is none.

    `ease` is the law of the leg that begins there. Without it a key that stands there keeps its own, and a new one has
    that of the leg before it, or behind it, unless that is drawn or holds.
    Error: as in `put` and `shaped`; ProjectError for a pinned key.
    """
    number, track = next(((n, one) for n, one in enumerate(move.tracks) if one.axis == axis), (len(move.tracks), None))
    keys = () if track is None else track.keys
    there = next((n for n, key in enumerate(keys) if key.at == at or close(*sorted((key.at, at)))), None)
    if there is not None:
        if keys[there].pin:
            what = f"the key of {axis} at {instant(keys[there].at)} is pinned"
            raise ProjectError(f"tracks[{number}].keys[{there}]", what, "unpin it first")
        after = placed(move, axis, there, value=value)
    else:
        before = next((key for key in reversed(keys) if key.at < at), keys[0] if keys else None)
        same = Ease(FIRST_LAW) if before is None else before.ease
        drawn = same.how is not None and laws[same.law].curves is not None
        if drawn or settings_of(same, laws)[0].curve is NoCurve.STILL:
            same = Ease(FIRST_LAW)  # what was drawn, or held, was meant for its own leg
        after = put(move, axis, Key(at, value, same))
        there = next(n for n, key in enumerate(after.tracks[number].keys) if key.at == at)
    return after if ease is None else shaped(after, {axis: frozenset((there,))}, ease, laws)
