"""What each leg of a move asks of its axis, exactly. It refuses to judge whether that is too much.

The curve of a law is looked at once, however many legs it shapes: a leg's extremes are those of the curve on the unit
square, times the leg's way, over a power of its time. Smooth runs and drawn legs are looked at piece by piece.
"""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.compile import Pieces, stacked
from sequencer.motion.extremes import Extremes
from sequencer.motion.legs import Legs
from sequencer.score.easing import Drawn, NoCurve, UnitCurve

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


# the rows of the extremes of curves, in one table: it is looked up once for all legs
_ROWS: dict[str, int | slice] = {
    "peak": slice(0, 3),
    "step": slice(3, 6),
    "begin": slice(6, 9),
    "end": slice(9, 12),
    "low": 12,
    "high": 13,
    "peak_at": slice(14, 17),
    "step_at": slice(17, 20),
    "low_at": 20,
    "high_at": 21,
}
_AT, _COUNT = 14, 22  # from the row _AT on they are instants


def asked(whole: Legs, pieces: Pieces) -> Extremes:
    """Return the extremes of each of the L legs, the rests at both ends of an axis among them.

    `pieces` are what these legs compile to. Unit: seconds from the project's start; each axis's own unit.
    """
    unit, number, others = _units(tuple(whole.curves))
    found = _stretched(unit, whole, number[whole.law])
    if others is not None:
        legs = others[whole.law].nonzero()[0]
        if len(legs):
            _put(found, legs, _of_pieces(pieces, legs))
    return found


# while a key is dragged the curves stay the same; a law gives the same curve for the same settings
@lru_cache(maxsize=4)
def _units(written: tuple[UnitCurve | Drawn | NoCurve, ...]) -> tuple[Floats, Ints, Bools | None]:
    """Return the extremes of each curve on the unit square, where each of all stands among them, and which do not.

    Shape: (22, U), (C,), (C,).
    """
    others = np.array([not isinstance(curve, UnitCurve) for curve in written])
    unit = of_curves(tuple(curve for curve in written if isinstance(curve, UnitCurve)))
    table = np.empty((_COUNT, len(unit.low)))
    for name, row in _ROWS.items():
        table[row] = getattr(unit, name)
    return table, np.cumsum(~others) - 1, others if others.any() else None


@lru_cache(maxsize=4)
def of_curves(curves: tuple[UnitCurve, ...]) -> Extremes:
    """Return the extremes of each curve on the unit square."""
    from_u, coeffs, first = stacked(curves)
    lasts_u = np.concatenate([np.diff(curve.breaks) for curve in curves])
    return Extremes.of(from_u, lasts_u, coeffs, first)


def _stretched(unit: Floats, whole: Legs, curve: Ints) -> Extremes:
    """Return what curves ask for when each leg has stretched its own to its time and way."""
    lasts_s, way = whole.lasts_s, whole.way
    signed = np.empty((4, len(way)))
    signed[0] = way
    for order in range(1, 4):
        np.divide(signed[order - 1], lasts_s, out=signed[order])
    size = np.abs(signed)
    up = way >= 0
    own = unit.take(curve, axis=1)
    peak, step, begin, end = own[:3], own[3:6], own[6:9], own[9:12]
    np.multiply(peak, size[1:], out=peak)
    np.multiply(step, size[:3], out=step)
    np.multiply(begin, signed[:3], out=begin)
    np.multiply(end, signed[:3], out=end)
    begin[0] += whole.value
    end[0] += whole.value
    travel = own[12:14] * way + whole.value
    at_s = own[_AT:] * lasts_s + whole.at_s
    return Extremes(
        peak=peak,
        peak_at=at_s[:3],
        low=np.where(up, travel[0], travel[1]),
        low_at=np.where(up, at_s[6], at_s[7]),
        high=np.where(up, travel[1], travel[0]),
        high_at=np.where(up, at_s[7], at_s[6]),
        begin=begin,
        end=end,
        step=step,
        step_at=at_s[3:6],
    )


def _of_pieces(pieces: Pieces, legs: Ints) -> Extremes:
    """Return the extremes of the pieces of these legs."""
    place, from_s, coeffs = pieces
    counts = place[legs + 1] - place[legs]
    first = np.append(0, np.cumsum(counts))
    piece = np.arange(first[-1]) + np.repeat(place[legs] - first[:-1], counts)
    return Extremes.of(from_s[piece], from_s[piece + 1] - from_s[piece], coeffs[:, piece], first)


def _put(into: Extremes, legs: Ints, found: Extremes) -> None:
    """Write what was found of some legs into the columns of all, in place."""
    for name in Extremes.__slots__:
        getattr(into, name)[..., legs] = getattr(found, name)
