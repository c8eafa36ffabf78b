"""The least moves of key values that let an axis keep its limits, by a linear program on the rows of a chain.

It refuses to judge its answer: the smoothing repair says whether the keys it moved can be kept.
Source: textbook (least absolute deviations as a linear program; HiGHS through scipy solves it).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from sequencer.motion.program import Infeasible, Matrix, matrix
from sequencer.motion.repair.chain import Chain, chain, most_pieces
from sequencer.motion.repair.linear import Linear, laid
from sequencer.motion.repair.proof import Wanted
from sequencer.motion.repair.relaxation import Aim
from sequencer.score.move import Passing

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

COARSE, FINE = 8, 32
# how far inside the limits it stays, so that the smoothing has room
MARGIN = 1e-5
# parts of the largest below which a weight, or of the unit below which a move, is rounding
_SLIGHT = 1e-9


def least_values(
    wanted: Wanted, passing: Sequence[Passing], aim: Aim, margin: float = MARGIN, ways: Floats | None = None
) -> Floats:
    """Return the keys' values, moved so that some curve keeps every limit; keys that are `fixed` stay.

    `aim` says what is made least: the moves' total, or the largest of them (and then their total). `passing` says what
    the curve does at each key, `ways` the sign of the speed that each leg keeps, 0 where it may overshoot; the curve
    stays `margin` of the limits inside them. Between keys it is quintic on COARSE pieces a leg, and on FINE ones where
    they decide.
    Shape: `passing` one for each key, or none; `ways` (K-1,), or none; result (K,).
    Error: Infeasible where no moves suffice, Unsolved where the arithmetic does not.
    """
    lasts_s = np.diff([float(at - wanted.at[0]) for at in wanted.at])
    most = most_pieces(lasts_s, np.array(wanted.values), wanted.jerk, FINE)
    kept = _Kept(passing, np.zeros(len(lasts_s)) if ways is None else ways, margin)
    try:
        _, weight = _moved(wanted, kept, aim, np.minimum(most, COARSE))
    except Infeasible:
        weight = np.ones(len(wanted.values))
    heavy = weight > _SLIGHT * weight.max()
    if not heavy.any():
        return np.array(wanted.values)
    near = np.convolve(heavy, np.ones(4), "full")[2:-2] > 0  # a leg that has such a key at an end, or next to one
    return _moved(wanted, kept, aim, np.where(near, most, np.minimum(most, COARSE)))[0]


@dataclass(frozen=True, slots=True)
class _Kept:
    """What the curve keeps beside the limits, and how far inside them it stays."""

    passing: Sequence[Passing]
    ways: Floats
    margin: float


def _moved(wanted: Wanted, kept: _Kept, aim: Aim, pieces: Ints) -> tuple[Floats, Floats]:
    """Return the values, and how much each key weighs in the reason why they must move."""
    values = np.array(wanted.values)
    whole = chain(np.diff([float(at - wanted.at[0]) for at in wanted.at]), values, pieces)
    below, most = limit_rows(wanted, whole, kept.ways[whole.leg], kept.margin)
    elastic = np.flatnonzero(~np.array(wanted.fixed))
    count, states, keys = len(elastic), whole.size, np.arange(len(values))
    # a move upward and one downward for each key that may move, and the largest of all
    size = states + 2 * count + 1
    up, down, each = states + np.arange(count), states + count + np.arange(count), np.arange(count)
    equal = laid((len(keys), size), (keys, 3 * whole.key, 1.0), (elastic, up, -1.0), (elastic, down, 1.0))
    largest = laid((count, size), (each, up, 1.0), (each, down, 1.0), (each, size - 1, -1.0))
    bounds = np.full((size, 2), (0.0, np.inf))
    bounds[:states] = state_bounds(wanted, whole, kept.passing)
    rows = sparse.vstack((sparse.hstack((below, sparse.csr_matrix((below.shape[0], size - states)))), largest))
    limits = np.append(most, np.zeros(count))
    cost = np.zeros(size)
    cost[states:-1] = 1.0
    if aim == "largest":
        program = Linear(rows, limits, equal, (values - values[0]) / whole.unit, bounds)
        bounds[-1, 1] = program.least(np.eye(1, size, size - 1)[0]).x[-1] * (1 + 1e-7)
    answer = Linear(rows, limits, equal, (values - values[0]) / whole.unit, bounds).least(cost)
    x, weight = answer.x, answer.weight
    moved = x[up] - x[down]
    found = values.copy()
    found[elastic] += np.where(np.abs(moved) > _SLIGHT, moved * whole.unit, 0.0)
    if wanted.travel is not None:  # to the last digit, where a key that moved stands at the end of its travel
        found = np.where(found != values, np.clip(found, *wanted.travel), values)
    return found, np.abs(weight)


def limit_rows(wanted: Wanted, whole: Chain, ways: Floats, margin: float) -> tuple[Matrix, Floats]:
    """Return rows over the chain's variables, at most so much, that keep the limits; positions count from the first
    value. `ways` is the sign of the speed that each piece keeps, 0 where it may turn.

    A row's limit is 1, so that the solver's tolerance is a part of the limit whatever the piece's length.
    Shape: `ways` (P,), result (R, 3 N), (R,).
    """
    each_low, each_high = wanted.bounds(margin)
    low, high = np.tile(each_low, (len(ways), 1)), np.tile(each_high, (len(ways), 1))
    low[:, 0] -= wanted.values[0]
    high[:, 0] -= wanted.values[0]
    low[ways > 0, 1], high[ways < 0, 1] = 0.0, 0.0
    rows = whole.hull(low, high)
    size = np.maximum(np.abs(rows.low), np.abs(rows.high))
    each = matrix(rows.row / size[:, None], rows.column, np.ones(whole.size, np.bool_))
    return sparse.vstack((each, -each)).tocsc(), np.concatenate((rows.high / size, -rows.low / size))


def state_bounds(wanted: Wanted, whole: Chain, passing: Sequence[Passing]) -> Floats:
    """Return the bounds of the chain's variables: rest where the keys ask for it. Shape: (3 N, 2)."""
    bounds = np.full((len(whole.scale), 3, 2), (-np.inf, np.inf))
    bounds[[node for node, rest in ((0, wanted.rest[0]), (-1, wanted.rest[1])) if rest], 1:] = 0.0
    for node, how in zip(whole.key.tolist(), passing, strict=False):
        if how in ("stop", "hold"):
            bounds[node, 1 : 3 if how == "hold" else 2] = 0.0
    return bounds.reshape(-1, 2)
