"""What each leg of a move asks of its axis, exactly. It refuses to judge whether that is too much.

The curve of a law is looked at once, however many legs it shapes: a leg's extremes are those of the curve on the unit
square, times the leg's way, over a power of its time. Smooth runs and drawn legs are looked at piece by piece.
"""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.compile import places, stacked
from sequencer.motion.extremes import Extremes
from sequencer.motion.legs import Legs
from sequencer.motion.trajectory import Trajectory
from sequencer.score.easing import UnitCurve

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def asked(whole: Legs, trajectory: Trajectory) -> Extremes:
    """Return the extremes of each of the L legs, the rests at both ends of an axis among them.

    `trajectory` is what these legs compile to. Unit: seconds from the project's start; each axis's own unit.
    """
    curves = [curve if isinstance(curve, UnitCurve) else None for curve in whole.curves]
    number = np.cumsum([curve is not None for curve in curves]) - 1
    unit = of_curves(tuple(curve for curve in curves if curve is not None))
    found = _stretched(unit, whole, number[whole.law])
    others = np.flatnonzero(np.array([curve is None for curve in curves])[whole.law])
    if len(others):
        _put(found, others, _of_pieces(trajectory, places(whole), others))
    return found


# while a key is dragged the curves stay the same; a law gives the same curve for the same settings
@lru_cache(maxsize=4)
def of_curves(curves: tuple[UnitCurve, ...]) -> Extremes:
    """Return the extremes of each curve on the unit square."""
    from_u, coeffs, first = stacked(curves)
    lasts_u = np.concatenate([np.diff(curve.breaks) for curve in curves])
    return Extremes.of(from_u, lasts_u, coeffs, first)


def _stretched(unit: Extremes, whole: Legs, curve: Ints) -> Extremes:
    """Return what curves ask for when each leg has stretched its own to its time and way."""
    lasts_s, way = whole.lasts_s, whole.way
    signed = np.empty((4, len(way)))
    signed[0] = way
    for order in range(1, 4):
        np.divide(signed[order - 1], lasts_s, out=signed[order])
    size = np.abs(signed)
    up = way >= 0
    low, high = unit.low.take(curve), unit.high.take(curve)
    low_u, high_u = unit.low_at.take(curve), unit.high_at.take(curve)
    begin, end = unit.begin.take(curve, axis=1) * signed[:3], unit.end.take(curve, axis=1) * signed[:3]
    begin[0] += whole.value
    end[0] += whole.value
    return Extremes(
        peak=unit.peak.take(curve, axis=1) * size[1:],
        peak_at=unit.peak_at.take(curve, axis=1) * lasts_s + whole.at_s,
        low=np.where(up, low, high) * way + whole.value,
        low_at=np.where(up, low_u, high_u) * lasts_s + whole.at_s,
        high=np.where(up, high, low) * way + whole.value,
        high_at=np.where(up, high_u, low_u) * lasts_s + whole.at_s,
        begin=begin,
        end=end,
        step=unit.step.take(curve, axis=1) * size[:3],
        step_at=unit.step_at.take(curve, axis=1) * lasts_s + whole.at_s,
    )


def _of_pieces(trajectory: Trajectory, place: Ints, legs: Ints) -> Extremes:
    """Return the extremes of the pieces of these legs."""
    counts = place[legs + 1] - place[legs]
    first = np.append(0, np.cumsum(counts))
    piece = np.arange(first[-1]) + np.repeat(place[legs] - first[:-1], counts)
    from_s = trajectory.from_s
    return Extremes.of(from_s[piece], from_s[piece + 1] - from_s[piece], trajectory.coeffs[:, piece], first)


def _put(into: Extremes, legs: Ints, found: Extremes) -> None:
    """Write what was found of some legs into the columns of all, in place."""
    for name in Extremes.__slots__:
        getattr(into, name)[..., legs] = getattr(found, name)
