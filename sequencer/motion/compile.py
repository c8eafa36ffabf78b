"""From what the operator wrote to what the motors are asked to do. It refuses a move that has a fault.

Between two keys the law of the first shapes the way; before the first key and after the last the axis holds. A run of
`through` legs begins and ends at rest, also beside a leg that ends with speed (`linear` does): such a joint keeps the
jolt that the other law brings. A leg between equal values rests, and ends a run.
"""

from collections.abc import Callable, Sequence
from functools import lru_cache
from itertools import groupby
from typing import NamedTuple

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


# the breaks and the pieces of the smooth run through these keys, as `smooth_run` returns them
Solved = Callable[[Legs, slice], tuple[Floats, Floats]]


class Pieces(NamedTuple):
    """What L legs compile to: those of leg `l` are `place[l]` up to `place[l + 1]`, as in Trajectory.

    Shape: `place` (L+1,), `from_s` (P,), `coeffs` (K, P). Unit: seconds from the project's start.
    """

    place: Ints
    from_s: Floats
    coeffs: Floats


class _Kinds(NamedTuple):
    """What C curves are, each by its place: all pieces in a row, and whether it is a smooth run's, or drawn.

    Shape: as `stacked` has them; `counts` (C,), how many pieces; `runs`, `drawn`, `error` (C,).
    """

    from_u: Floats
    coeffs: Floats
    first: Ints
    counts: Ints
    runs: NDArray[np.bool_]
    drawn: NDArray[np.bool_]
    error: Floats
    any_runs: bool
    any_drawn: bool
    all_single: bool


def compile_move(rig: Rig, move: Move, rate: Rate, laws: Laws) -> Trajectory:
    """Return the trajectory of all axes of `rig`, in its order; an axis without a track stands at its home.

    Unit: seconds from the project's start.
    Error: ProjectError for the first fault of the move (`score.faults`), or for a smooth run that cannot be solved.
    """
    return compile_legs(rig, legs(rig, move, rate, laws))


def solved(whole: Legs, keys: slice) -> tuple[Floats, Floats]:
    """Return the smooth run through these keys, solved as a whole. Error: Unsolved."""
    return smooth_run(whole.at_s[keys], whole.value[keys], whole.passing_at(keys))


def compile_legs(rig: Rig, whole: Legs, run: Solved = solved) -> Trajectory:
    """Return the trajectory of these legs. Error: ProjectError for a smooth run that cannot be solved."""
    return joined(rig, whole, compile_pieces(rig, whole, run))


def compile_pieces(rig: Rig, whole: Legs, run: Solved = solved) -> Pieces:
    """Return the pieces of these legs. Error: ProjectError for a smooth run that cannot be solved."""
    kinds, place = _kinds(tuple(whole.curves)), places(whole)
    pieces = Pieces(place, *_stretched(whole, kinds, place))
    if kinds.any_runs:
        _fill_runs(whole, kinds.runs[whole.law], pieces, rig, run)
    return pieces


def joined(rig: Rig, whole: Legs, pieces: Pieces) -> Trajectory:
    """Return the trajectory that these legs compile to, of which these are the pieces."""
    error = np.maximum.reduceat(np.abs(whole.way) * _kinds(tuple(whole.curves)).error[whole.law], whole.first[:-1])
    return Trajectory(rig.names, pieces.place[whole.first], pieces.from_s, pieces.coeffs, error)


def places(whole: Legs) -> Ints:
    """Return where the pieces of each leg begin in the trajectory of these legs. Shape: (L+1,)."""
    place = np.zeros(len(whole.law) + 1, np.int64)
    _kinds(tuple(whole.curves)).counts[whole.law].cumsum(out=place[1:])
    return place


# while a key is dragged the curves stay the same; a law gives the same curve for the same settings
@lru_cache(maxsize=4)
def _kinds(written: tuple[UnitCurve | Drawn | NoCurve, ...]) -> _Kinds:
    """Look at each curve once, however many legs it shapes."""
    runs = np.array([curve is NoCurve.RUN for curve in written])
    # what stands in the place of a run until it is solved is still
    curves = [_STILL[curve] if isinstance(curve, NoCurve) else curve for curve in written]
    from_u, coeffs, first = stacked(curves, _RUN_SIZE if runs.any() else 1)
    drawn = np.array([isinstance(curve, Drawn) for curve in curves])
    error = np.array([curve.fit_error if isinstance(curve, UnitCurve) else 0.0 for curve in curves])
    counts = np.diff(first)
    any_of = bool(runs.any()), bool(drawn.any()), bool((counts == 1).all())
    return _Kinds(from_u, coeffs, first[:-1], counts, runs, drawn, error, *any_of)


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


def _stretched(whole: Legs, kinds: _Kinds, place: Ints) -> tuple[Floats, Floats]:
    """Return when each piece of all legs begins, and its coefficients: curves stretched to each leg's time and way.

    Row by row over all pieces: with a curve for each leg, going from law to law would take for ever.
    """
    counts = place[1:] - place[:-1]

    def each(of_legs: Floats) -> Floats:
        """Return it for each piece of the legs, in an array of its own."""
        return of_legs.copy() if kinds.all_single else of_legs.repeat(counts)

    number = kinds.first[whole.law]
    if not kinds.all_single:
        number = np.arange(place[-1]) + (number - place[:-1]).repeat(counts)
    drawn = kinds.drawn[whole.law] if kinds.any_drawn else None
    lasts_s, since_u = each(whole.lasts_s), kinds.from_u.take(number)
    from_s = each(whole.at_s) + lasts_s * since_u
    factor = each(whole.way if drawn is None else np.where(drawn, 1.0, whole.way))
    coeffs = kinds.coeffs.take(number, axis=1)
    for row in coeffs[::-1]:
        np.multiply(row, factor, out=row)
        factor /= lasts_s
    coeffs[-1] += each(whole.value)
    if drawn is not None:  # beside the straight line
        straight = each(np.where(drawn, whole.way, 0.0))
        coeffs[-1] += straight * since_u
        coeffs[-2] += straight / lasts_s
    return from_s, coeffs


def _fill_runs(legs: Legs, running: NDArray[np.bool_], out: Pieces, rig: Rig, run: Solved) -> None:
    """Write the pieces of each smooth run. Error: ProjectError at the run's first key."""
    place, from_s, coeffs = out
    edges = np.flatnonzero(np.diff(running, prepend=False, append=False))
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        keys = slice(int(begin), int(end) + 1)
        try:
            breaks_s, pieces = run(legs, keys)
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
