"""From what the operator wrote to what the motors are asked to do. It refuses a move that has a fault.

Between two keys the law of the first shapes the way; before the first key and after the last the axis holds. A run of
`through` legs begins and ends at rest, also beside a leg that ends with speed (`linear` does): such a joint keeps the
jolt that the other law brings. A leg between equal values rests, and ends a run.
"""

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


def compile_move(rig: Rig, move: Move, rate: Rate, laws: Laws) -> Trajectory:
    """Return the trajectory of all axes of `rig`, in its order; an axis without a track stands at its home.

    Unit: seconds from the project's start.
    Error: ProjectError for the first fault of the move (`score.faults`), or for a smooth run that cannot be solved.
    """
    return compile_legs(rig, legs(rig, move, rate, laws))


def compile_legs(rig: Rig, whole: Legs) -> Trajectory:
    """Return the trajectory of these legs. Error: ProjectError for a smooth run that cannot be solved."""
    runs = np.array([curve is NoCurve.RUN for curve in whole.curves])
    curves = [REST if isinstance(curve, NoCurve) else curve for curve in whole.curves]
    pieces = np.where(runs, PIECES_A_LEG, [len(curve.breaks) - 1 for curve in curves])
    place = np.append(0, np.cumsum(pieces[whole.law]))
    from_s = np.empty(place[-1])
    size = max(_RUN_SIZE if runs.any() else 1, *(len(curve.coeffs) for curve in curves))
    coeffs = np.zeros((size, place[-1]))
    # the legs of each law in a row: with a curve for each leg, a search for each would take for ever
    order = np.argsort(whole.law, kind="stable")
    ends = np.searchsorted(whole.law, np.arange(len(curves) + 1), sorter=order)
    for number, curve in enumerate(curves):
        if not runs[number]:
            _fill(whole, order[ends[number] : ends[number + 1]], curve, place, (from_s, coeffs))
    _fill_runs(whole, runs[whole.law], place, (from_s, coeffs), rig)
    errors = [curve.fit_error if isinstance(curve, UnitCurve) else 0.0 for curve in curves]
    error = np.abs(whole.way) * np.array(errors)[whole.law]
    return Trajectory(rig.names, place[whole.first], from_s, coeffs, np.maximum.reduceat(error, whole.first[:-1]))


def _fill(legs: Legs, members: Ints, curve: UnitCurve | Drawn, place: Ints, out: tuple[Floats, Floats]) -> None:
    """Write the pieces of all legs of one law: its curve, stretched to each leg's time and way."""
    from_s, coeffs = out
    lasts_s, way = legs.lasts_s[members], legs.way[members]
    rows, pieces = curve.coeffs.shape
    where = place[members][:, None] + np.arange(pieces)
    from_s[where] = legs.at_s[members][:, None] + lasts_s[:, None] * curve.breaks[:-1]
    drawn = isinstance(curve, Drawn)
    factor = np.ones_like(way) if drawn else way
    for row in range(1, rows + 1):
        coeffs[-row][where] = factor[:, None] * curve.coeffs[-row]
        factor = factor / lasts_s
    coeffs[-1][where] += legs.value[members][:, None]
    if drawn:  # beside the straight line
        coeffs[-1][where] += way[:, None] * curve.breaks[:-1]
        coeffs[-2][where] += (way / lasts_s)[:, None]


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
