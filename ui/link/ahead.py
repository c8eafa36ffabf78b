"""When an armed move will move next: the stretches of the timeline in which any axis is on its way.

It works on what was written, and knows nothing of where the rig is.
"""

from bisect import bisect_right
from fractions import Fraction

from sequencer.score.move import Move
from sequencer.timebase.rate import Rate

_SWINGING = frozenset({"through", "spline"})  # laws that may leave the place between two keys of one value
Stretches = tuple[tuple[float, float], ...]


def stretches(move: Move, rate: Rate, begin: Fraction, speed: Fraction) -> Stretches:
    """Return the stretches with motion, in order, apart from each other; slowed down or sped up about frame `begin`.

    A leg between two keys of one value stands still, but for a smooth run that swings there: it counts as moving.
    Unit: seconds from the project's start.
    """
    legs = sorted(
        (one.at, other.at)
        for track in move.tracks
        for one, other in zip(track.keys, track.keys[1:], strict=False)
        if one.value != other.value or one.turn is not None or one.ease.law in _SWINGING
    )
    joined: list[tuple[Fraction, Fraction]] = []
    for start, end in legs:
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((start, end))

    def placed_s(at: Fraction) -> float:
        return float(rate.seconds(begin) + rate.seconds(at - begin) / speed)

    return tuple((placed_s(start), placed_s(end)) for start, end in joined if end > begin)


def to_motion_s(ahead: Stretches, at_s: float) -> float | None:
    """Return how long after `at_s` something moves: zero while it does, None where nothing comes any more."""
    number = bisect_right(ahead, (at_s, float("inf")))
    if number and at_s < ahead[number - 1][1]:
        return 0.0
    return ahead[number][0] - at_s if number < len(ahead) else None
