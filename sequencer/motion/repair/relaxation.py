"""The multipliers of a proof, from a linear program that every motion within an axis's limits satisfies.

It refuses to be believed: what it finds is a proof only once `proof.recheck` has said so.
Source: textbook (duality of linear programs; HiGHS through scipy solves them).
"""

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.quintic import ends
from sequencer.motion.repair.chain import Chain, chain, most_pieces
from sequencer.motion.repair.linear import Linear, laid
from sequencer.motion.repair.proof import Proof, Verdict, Wanted, recheck

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Aim = Literal["total", "largest"]

COARSE, FINE = 8, 32
# below this part of the largest weight a key does not take part in a proof
_SLIGHT = 1e-9

# Means over a piece of length 1, from its end states (p0 v0 a0 p1 v1 a1): of jerk, weighed by the Bernstein
# polynomials of degree 2; of speed; of acceleration, weighed by those of degree 1. No quintic is assumed: Taylor.
_JERK_MEANS = np.array([[-2.0, -2, -1, 2, 0, 0], [4, 2, 0, -4, 2, 0], [-2, 0, 0, 2, -2, 1]])
_SPEED_MEAN = np.array([[-1.0, 0, 0, 1, 0, 0]])
_ACCELERATION_MEANS = np.array([[-1.0, -1, 0, 1, 0, 0], [1, 0, 0, -1, 1, 0]])
_MEANS = np.concatenate((_JERK_MEANS, _SPEED_MEAN, _ACCELERATION_MEANS))
_ORDER = np.array([3, 3, 3, 1, 2, 2])
_WEIGHT = np.array([1 / 3, 1 / 3, 1 / 3, 1, 1 / 2, 1 / 2])


def prove(wanted: Wanted, aim: Aim = "total") -> tuple[Proof, Verdict, Wanted]:
    """Return the strongest proof found, what it proves, and about which keys in a row (those it needs).

    Whatever it proves of those keys holds for all that is wanted.
    Error: Unsolved where the arithmetic does not suffice.
    """
    proof = relaxed(wanted, COARSE, aim)
    verdict = recheck(wanted, proof)
    weight = np.abs(np.array([float(key) for key in verdict.keys]))
    heavy = np.flatnonzero(weight > _SLIGHT * weight.max())
    if not len(heavy):
        return proof, verdict, wanted
    needed = wanted.only(range(max(int(heavy[0]) - 1, 0), min(int(heavy[-1]) + 2, len(weight))))
    finer = relaxed(needed, FINE, aim)
    better = recheck(needed, finer)
    return (finer, better, needed) if better.by >= verdict.by else (proof, verdict, wanted)


def relaxed(wanted: Wanted, pieces: int, aim: Aim) -> Proof:
    """Return the multipliers that a relaxation gives: node states, and means of the motion between them.

    On every piece the means of jerk, speed and acceleration against Bernstein polynomials are at most the limit times
    the mean of the polynomial. It asks for the moves of keys that are not fixed with the least total, or least largest;
    where all are fixed, for moves of all.
    Error: Unsolved where the solver fails.
    """
    at_s = np.array([float(at - wanted.at[0]) for at in wanted.at])
    values = np.array(wanted.values)
    lasts_s = np.diff(at_s)
    whole = chain(lasts_s, values, most_pieces(lasts_s, values, wanted.jerk, pieces))
    program, cost = _program(wanted, whole, values - values[0], aim)
    found = program.least(cost)
    node_s = whole.scale * whole.pace_s
    states = -found.pull[: whole.size].reshape(-1, 3)
    means = -found.weight[: 6 * len(whole.width)].reshape(6, -1)
    width_s = whole.width * whole.pace_s
    return Proof(
        pieces=tuple(whole.pieces.tolist()),
        keys=tuple(found.weight[6 * len(whole.width) :].tolist()),
        travel=tuple((states[:, 0] if wanted.travel is not None else np.zeros(len(states))).tolist()),
        speed=tuple(means[3].tolist()),
        acceleration=tuple(zip((means[4] * width_s).tolist(), (means[5] * width_s).tolist(), strict=True)),
        end=(float(states[-1, 2] * node_s[-1] ** 2), float(states[-1, 1] * node_s[-1])),
    )


def _program(wanted: Wanted, whole: Chain, values: Floats, aim: Aim) -> tuple[Linear, Floats]:
    """Return the program and its cost; the variables are node states, means in parts of their limits, moves of keys."""
    pieces, keys, states = len(whole.width), len(values), whole.size
    elastic = ~np.array(wanted.fixed)
    elastic = elastic if elastic.any() else ~elastic
    up = states + 6 * pieces + np.arange(int(elastic.sum()))
    down = up + len(up)
    size = states + 6 * pieces + 2 * len(up) + (aim == "largest")
    width_s = whole.width * whole.pace_s
    limit = np.array([1.0, wanted.speed, wanted.acceleration, wanted.jerk])[_ORDER] * _WEIGHT
    reach = limit[:, None] * width_s ** _ORDER[:, None] / whole.unit
    number = np.arange(6 * pieces).reshape(6, pieces)
    mean_rows = _MEANS[:, None, :] * ends(whole.width, whole.scale)
    key_row, moved = 6 * pieces + np.arange(keys), 6 * pieces + np.flatnonzero(elastic)
    rows = laid(
        (6 * pieces + keys, size),
        (number[:, :, None], np.broadcast_to(whole.column, (6, pieces, 6)), mean_rows),
        (number, states + number, -reach),
        (key_row, 3 * whole.key, np.ones(keys)),
        (moved, up, -np.ones(len(up))),
        (moved, down, np.ones(len(up))),
    )
    bounds = np.full((size, 2), (-1.0, 1.0))
    bounds[:states] = _node_bounds(wanted, whole)
    bounds[states + 6 * pieces :] = (0.0, np.inf)
    cost, each = np.zeros(size), np.arange(len(up))
    if aim == "largest":
        cost[-1] = 1.0
        below = laid((len(up), size), (each, up, 1.0), (each, down, 1.0), (each, size - 1, -1.0))
    else:
        cost[up] = cost[down] = 1.0
        below = laid((0, size))
    equal = np.append(np.zeros(6 * pieces), values / whole.unit)
    return Linear(below, np.zeros(below.shape[0]), rows, equal, bounds), cost


def _node_bounds(wanted: Wanted, whole: Chain) -> Floats:
    """Return the bounds of the node states: travel at all of them, speed and acceleration at the ends."""
    bounds = np.full((len(whole.scale), 3, 2), (-np.inf, np.inf))
    if wanted.travel is not None:
        bounds[:, 0] = (np.array(wanted.travel) - wanted.values[0]) / whole.unit
    for node, rest in ((0, wanted.rest[0]), (-1, wanted.rest[1])):
        node_s = float(whole.scale[node]) * whole.pace_s
        most = 0.0 if rest else np.array([wanted.speed * node_s, wanted.acceleration * node_s**2]) / whole.unit
        bounds[node, 1:, 0], bounds[node, 1:, 1] = -most, most
    return bounds.reshape(-1, 2)
