"""From what the operator wrote to what the motors are asked to do. It refuses a move that has a fault.

Between two keys the law of the first shapes the way; before the first key and after the last the axis holds. A run of
`through` legs begins and ends at rest, also beside a leg that ends with speed (`linear` does): such a joint keeps the
jolt that the other law brings. A leg between equal values rests, whatever its law, and ends a run.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.errors import ProjectError
from sequencer.motion.program import Unsolved
from sequencer.motion.through import PIECES_A_LEG, smooth_run
from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Rig
from sequencer.score.columns import Columns, columns
from sequencer.score.easing import Laws, NoCurve, UnitCurve, curve_of
from sequencer.score.faults import faults
from sequencer.score.move import Move
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_NO_LAW = np.zeros(1, np.int64)
_REST = UnitCurve(np.array([0.0, 1.0]), np.zeros((1, 1)))
# rows of pieces of a smooth run
_RUN_SIZE = 6


@dataclass(frozen=True, slots=True, eq=False)
class _Legs:
    """All legs of the move, axis after axis; the first and last of each axis are its rest before and after.

    Shape: `first` (A+1,), where each axis's legs begin; `at_s`, `lasts_s`, `value`, `way`, `law` (L,), where `law` is
    a place in `curves`, and place 0 is rest.
    """

    first: Ints
    at_s: Floats
    lasts_s: Floats
    value: Floats
    way: Floats
    law: Ints
    curves: list[UnitCurve | NoCurve]


def compile_move(rig: Rig, move: Move, rate: Rate, laws: Laws) -> Trajectory:
    """Return the trajectory of all axes of `rig`, in its order; an axis without a track stands at its home.

    Unit: seconds from the project's start.
    Error: ProjectError for the first fault of the move (`score.faults`), or for a smooth run that cannot be solved.
    """
    read = columns(move)
    for fault in faults(move, rig, laws, read):
        raise fault
    legs = _legs(rig, read, rate, move, laws)
    runs = np.array([curve is NoCurve.RUN for curve in legs.curves])
    units = [curve if isinstance(curve, UnitCurve) else _REST for curve in legs.curves]
    pieces = np.where(runs, PIECES_A_LEG, [len(unit.breaks) - 1 for unit in units])
    place = np.append(0, np.cumsum(pieces[legs.law]))
    from_s = np.empty(place[-1])
    size = max(_RUN_SIZE if runs.any() else 1, *(len(unit.coeffs) for unit in units))
    coeffs = np.zeros((size, place[-1]))
    for number, unit in enumerate(units):
        if not runs[number]:
            _fill(legs, np.flatnonzero(legs.law == number), unit, place, (from_s, coeffs))
    _fill_runs(legs, runs[legs.law], place, (from_s, coeffs), rig, move)
    error = np.abs(legs.way) * np.array([unit.fit_error for unit in units])[legs.law]
    return Trajectory(rig.names, place[legs.first], from_s, coeffs, np.maximum.reduceat(error, legs.first[:-1]))


def _legs(rig: Rig, read: Columns, rate: Rate, move: Move, laws: Laws) -> _Legs:
    """Put the rests between the keys, axis after axis in the rig's order."""
    track_of = {track.axis: number for number, track in enumerate(move.tracks)}
    key_s = read.seconds(rate)
    idle_s = float(key_s[read.first[:-1]].min()) if move.tracks else 0.0
    at_s, value, law = [], [], []
    for axis in rig.axes:
        if axis.name in track_of:
            number = track_of[axis.name]
            keys = slice(read.first[number], read.first[number + 1])
            own_s, own, ease = key_s[keys], read.value[keys], read.ease[keys] + 1
            at_s += [own_s[:1], own_s]
            value += [own[:1], own]
            law += [_NO_LAW, ease[:-1], _NO_LAW]
        else:
            at_s.append(np.array([idle_s]))
            value.append(np.array([axis.home]))
            law.append(_NO_LAW)
    counts = [len(move.tracks[track_of[name]].keys) + 1 if name in track_of else 1 for name in rig.names]
    first = np.append(0, np.cumsum(counts))
    starts_s, values = np.concatenate(at_s), np.concatenate(value)
    way, lasts_s = np.diff(values, append=0.0), np.diff(starts_s, append=0.0)
    rests = np.concatenate((first[:-1], first[1:] - 1))
    way[rests], lasts_s[rests] = 0.0, 1.0
    curves = [_REST, *(curve_of(ease, laws) for ease in read.eases)]
    return _Legs(first, starts_s, lasts_s, values, way, np.where(way == 0, 0, np.concatenate(law)), curves)


def _fill(legs: _Legs, members: Ints, unit: UnitCurve, place: Ints, out: tuple[Floats, Floats]) -> None:
    """Write the pieces of all legs of one law: its curve, stretched to each leg's time and way."""
    from_s, coeffs = out
    lasts_s, way = legs.lasts_s[members], legs.way[members]
    rows, pieces = unit.coeffs.shape
    where = place[members][:, None] + np.arange(pieces)
    from_s[where] = legs.at_s[members][:, None] + lasts_s[:, None] * unit.breaks[:-1]
    factor = way
    for row in range(1, rows + 1):
        coeffs[-row][where] = factor[:, None] * unit.coeffs[-row]
        factor = factor / lasts_s
    coeffs[-1][where] += legs.value[members][:, None]


def _fill_runs(
    legs: _Legs, running: NDArray[np.bool_], place: Ints, out: tuple[Floats, Floats], rig: Rig, move: Move
) -> None:
    """Write the pieces of each smooth run. Error: ProjectError at the run's first key."""
    from_s, coeffs = out
    edges = np.flatnonzero(np.diff(running, prepend=False, append=False))
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        keys = slice(begin, end + 1)
        try:
            breaks_s, pieces = smooth_run(legs.at_s[keys], legs.value[keys])
        except Unsolved as error:
            axis = int(np.searchsorted(legs.first, begin, "right")) - 1
            number = [track.axis for track in move.tracks].index(rig.names[axis])
            key = begin - legs.first[axis] - 1
            raise ProjectError(
                f"tracks[{number}].keys[{key}].ease",
                f"the smooth run from here through {end - begin} legs cannot be solved: {error}",
                "move keys apart that stand very close together, or give them another law",
            ) from error
        span = slice(place[begin], place[end])
        from_s[span] = breaks_s[:-1]
        coeffs[:, span] = 0
        coeffs[-_RUN_SIZE:, span] = pieces
