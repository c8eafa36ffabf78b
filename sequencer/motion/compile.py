"""From what the operator wrote to what the motors are asked to do. It refuses a move that has a fault.

Between two keys the law of the first shapes the way; before the first key and after the last the axis holds. A run of
`through` legs begins and ends at rest, also beside a leg that ends with speed (`linear` does): such a joint keeps the
jolt that the other law brings. A leg between equal values rests, and ends a run.
"""

from collections.abc import Sequence
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from sequencer.errors import ProjectError
from sequencer.motion.legs import REST, Floats, Ints, Legs, legs
from sequencer.motion.program import Unsolved
from sequencer.motion.through import PIECES_A_LEG, smooth_run
from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Rig
from sequencer.score.easing import Drawn, Laws, NoCurve, UnitCurve
from sequencer.score.move import Move
from sequencer.timebase.rate import Rate

# rows of pieces of a smooth run
_RUN_SIZE = 6
_STILL = {
    NoCurve.STILL: REST,
    NoCurve.RUN: UnitCurve(np.linspace(0.0, 1.0, PIECES_A_LEG + 1), np.zeros((1, PIECES_A_LEG))),
}


def compile_move(rig: Rig, move: Move, rate: Rate, laws: Laws) -> Trajectory:
    """Return the trajectory of all axes of `rig`, in its order; an axis without a track stands at its home.

    Unit: seconds from the project's start.
    Error: ProjectError for the first fault of the move (`score.faults`), or for a smooth run that cannot be solved.
    """
    return compile_legs(rig, legs(rig, move, rate, laws))


def compile_legs(rig: Rig, whole: Legs) -> Trajectory:
    """Return the trajectory of these legs. Error: ProjectError for a smooth run that cannot be solved."""
    runs = np.array([curve is NoCurve.RUN for curve in whole.curves])
    place = places(whole)
    # what stands in the place of a run until it is solved is still
    curves = [_STILL[curve] if isinstance(curve, NoCurve) else curve for curve in whole.curves]
    from_s, coeffs = _stretched(whole, curves, place, _RUN_SIZE if runs.any() else 1)
    _fill_runs(whole, runs[whole.law], place, (from_s, coeffs), rig)
    errors = [curve.fit_error if isinstance(curve, UnitCurve) else 0.0 for curve in curves]
    error = np.abs(whole.way) * np.array(errors)[whole.law]
    return Trajectory(rig.names, place[whole.first], from_s, coeffs, np.maximum.reduceat(error, whole.first[:-1]))


def places(whole: Legs) -> Ints:
    """Return where the pieces of each leg begin in the trajectory of these legs. Shape: (L+1,)."""
    counts = [len((_STILL[curve] if isinstance(curve, NoCurve) else curve).breaks) - 1 for curve in whole.curves]
    return np.append(0, np.cumsum(np.array(counts)[whole.law]))


def stacked(curves: Sequence[UnitCurve | Drawn], least: int = 1) -> tuple[Floats, Floats, Ints]:
    """Return the pieces of all curves in a row: where each begins, its coefficients, and where each curve's begin.

    Shape: (Q,), (K, Q) with K at least `least`, (C+1,).
    """
    size = max(least, *(len(curve.coeffs) for curve in curves))
    first = np.cumsum([0, *(len(curve.breaks) - 1 for curve in curves)])
    coeffs = np.zeros((size, first[-1]))
    begin = 0
    # in one go where as many rows are used in a row, as by thousands of drawn legs
    for rows, same in groupby((curve.coeffs for curve in curves), len):
        own = np.concatenate(list(same), axis=1)
        coeffs[size - rows :, begin : begin + own.shape[1]] = own
        begin += own.shape[1]
    return np.concatenate([curve.breaks[:-1] for curve in curves]), coeffs, first


def _stretched(whole: Legs, curves: list[UnitCurve | Drawn], place: Ints, least: int) -> tuple[Floats, Floats]:
    """Return when each piece of all legs begins, and its coefficients: curves stretched to each leg's time and way.

    Row by row over all pieces: with a curve for each leg, going from law to law would take for ever.
    """
    from_u, unit, first = stacked(curves, least)
    counts = np.diff(place)
    number = np.arange(place[-1]) + np.repeat(first[whole.law] - place[:-1], counts)
    lasts_s, since_u = np.repeat(whole.lasts_s, counts), from_u.take(number)
    from_s = np.repeat(whole.at_s, counts) + lasts_s * since_u
    drawn = np.array([isinstance(curve, Drawn) for curve in curves])[whole.law]
    factor = np.repeat(np.where(drawn, 1.0, whole.way), counts)
    coeffs = np.empty((len(unit), place[-1]))
    for row in range(len(unit) - 1, -1, -1):
        np.multiply(unit[row].take(number), factor, out=coeffs[row])
        factor /= lasts_s
    coeffs[-1] += np.repeat(whole.value, counts)
    if drawn.any():  # beside the straight line
        straight = np.repeat(np.where(drawn, whole.way, 0.0), counts)
        coeffs[-1] += straight * since_u
        coeffs[-2] += straight / lasts_s
    return from_s, coeffs


def _fill_runs(legs: Legs, running: NDArray[np.bool_], place: Ints, out: tuple[Floats, Floats], rig: Rig) -> None:
    """Write the pieces of each smooth run. Error: ProjectError at the run's first key."""
    from_s, coeffs = out
    edges = np.flatnonzero(np.diff(running, prepend=False, append=False))
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        keys = slice(int(begin), int(end) + 1)
        try:
            breaks_s, pieces = smooth_run(legs.at_s[keys], legs.value[keys], legs.passing_at(keys))
        except Unsolved as error:
            axis = int(np.searchsorted(legs.first, begin, "right")) - 1
            key = begin - legs.first[axis] - 1
            raise ProjectError(
                f"tracks[{legs.track[axis]}].keys[{key}].ease",
                f"the smooth run from here through {end - begin} legs of {rig.names[axis]} cannot be solved: {error}",
                "move keys apart that stand very close together, or give them another law",
            ) from error
        span = slice(place[begin], place[end])
        from_s[span] = breaks_s[:-1]
        coeffs[:, span] = 0
        coeffs[-_RUN_SIZE:, span] = pieces
