"""The smooth run through keys: least jerk, no stop at a key, no overshoot, but where the operator says otherwise.

It refuses to pass on what the solver did not solve: a failure is raised, never patched.
Source: Flash & Hogan 1985 (least jerk); Bernstein hull of a polynomial: textbook.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.program import Unsolved, matrix, solve, square
from sequencer.motion.quintic import JERK_COST, SPEED_HULL, ends
from sequencer.score.fit import hermite
from sequencer.score.move import Passing

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Words = NDArray[np.str_]

PIECES_A_LEG = 2
# how far speed may point the wrong way, in parts of the run's range over one piece: the overshoot is below it
_SLACK = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class _Nodes:
    """The keys of a run and a node in the middle of each leg, without units: the way from 0 to 1, mean piece 1 long.

    Shape: `at` (N,); `scale` (N,), the time by which a node's speed and acceleration are made comparable with its
    place; `state` (N, 3) a known run without overshoot (a stop at each key); `free` (N, 3) what the solver may change;
    `sign` (N-1,) the way each piece may go, 0 where it may go both ways.
    """

    at: Floats
    scale: Floats
    state: Floats
    free: Bools
    sign: Floats


def smooth_run(
    keys_s: Floats,
    values: Floats,
    passing: Sequence[Passing] = (),
    *,
    ends: Floats | None = None,
    span: tuple[float, float] | None = None,
) -> tuple[Floats, Floats]:
    """Return the smoothest pieces through `values` at `keys_s` that begin and end at rest and never turn between keys.

    The speed is zero at a key where the direction turns; elsewhere it passes. `passing` says so for each key (`pass`
    for all, if empty): `stop` takes the speed from a key, `hold` the acceleration too, and `free` lets both legs beside
    the key overshoot. Position, speed and acceleration have no jump. Two values in a row must differ: a flat leg is
    rest, and ends a run. Where the keys are only a part of a run, `ends` are speed and acceleration at both ends of
    the part, and `span` the lowest and the highest value of the run.
    Shape: each (N,), N at least 2; `ends` (2, 2), speeds first; breaks (S+1,) and coeffs (6, S) in PPoly's layout, two
    pieces a leg.
    Error: Unsolved where the arithmetic does not suffice (keys very much closer together than others).
    """
    low, high = (float(values.min()), float(values.max())) if span is None else span
    width = high - low
    pace_s = float(keys_s[-1] - keys_s[0]) / (PIECES_A_LEG * (len(keys_s) - 1))
    nodes = _nodes(keys_s / pace_s, (values - low) / width, np.array(passing or ["pass"] * len(keys_s)))
    if ends is not None:
        scale_s = nodes.scale[[0, -1]] * pace_s
        nodes.state[[0, -1], 1:] = (ends * [scale_s, scale_s**2]).T / width
    state = _solved(nodes)
    breaks_s = np.empty(len(nodes.at))
    breaks_s[::2], breaks_s[1::2] = keys_s, (keys_s[:-1] + keys_s[1:]) / 2
    place = state[:, 0] * width + low
    place[::2] = values
    scale_s = nodes.scale * pace_s
    return breaks_s, hermite(breaks_s, place, state[:, 1] * width / scale_s, state[:, 2] * width / scale_s**2)


def _nodes(keys: Floats, values: Floats, passing: Words) -> _Nodes:
    at = np.empty(2 * len(keys) - 1)
    at[::2], at[1::2] = keys, (keys[:-1] + keys[1:]) / 2
    piece = np.diff(at)
    scale = np.sqrt(np.append(piece[:1], piece) * np.append(piece, piece[-1:]))
    open_key = passing == "free"
    sign = np.where(open_key[1:] | open_key[:-1], 0.0, np.sign(np.diff(values)))
    state = np.zeros((len(at), 3))
    state[::2, 0], state[1::2, 0] = values, (values[:-1] + values[1:]) / 2
    # in the middle of a 3-4-5 leg the speed is 15/8 of the mean, the acceleration nothing
    state[1::2, 1] = 15 / 8 * np.diff(values) / np.diff(keys) * scale[1::2]
    free = np.ones((len(at), 3), np.bool_)
    free[::2, 0] = False
    free[2:-2:2, 1] = sign[1:] * sign[:-1] >= 0
    free[::2, 1] &= (passing != "stop") & (passing != "hold")
    # between two legs of one direction a stop is a rest: what is not told to the solver leaves it no room
    onward = np.append(np.append(False, sign[1:] * sign[:-1] > 0), False)
    free[::2, 2] &= (passing != "hold") & ~((passing == "stop") & onward)
    free[[0, -1]] = False
    # between values that are almost the same nothing is to be gained, and for the solver there is hardly any room
    flat = np.flatnonzero(np.abs(np.diff(values)) < _SLACK)
    free[2 * flat, 1:] = free[2 * flat + 1] = free[2 * flat + 2, 1:] = False
    return _Nodes(at, scale, state, free, np.repeat(sign, 2))


def _solved(nodes: _Nodes) -> Floats:
    """Return the best states (N, 3), by a quadratic program in the steps from the known run."""
    pieces = len(nodes.sign)
    column = 3 * np.arange(pieces)[:, None] + np.arange(6)
    piece = np.diff(nodes.at)
    own = ends(piece, nodes.scale)
    cost = JERK_COST * own[:, :, None] * own[:, None, :] / piece[:, None, None] ** 5
    # the outer coefficients are the speeds at the nodes, which have bounds
    hull = SPEED_HULL[1:-1] * own[:, None, :] * nodes.sign[:, None, None]
    known, free = nodes.state.ravel(), nodes.free.ravel()
    # variables in which the cost bends alike: pieces of very different lengths then weigh alike
    bend = np.bincount(column.ravel(), np.einsum("pkk->pk", cost).ravel())
    whole_unit = np.where(free, 1 / np.sqrt(bend), 0.0)
    unit, unit_free = whole_unit[column], whole_unit[free]
    slopes = unit * (cost @ known[column][:, :, None])[:, :, 0]
    pull: Floats = np.bincount(column.ravel(), slopes.ravel()).astype(np.float64)
    step_hull = hull * unit[:, None, :]
    width = np.abs(step_hull).max(axis=2).ravel()
    bound = np.flatnonzero(width > 0)  # at a key where nothing is free there is nothing to keep
    # which way each node may go, 0 for both; where the sign turns, its speed is not free
    ahead = np.append(nodes.sign, 0.0)
    ahead[1:] = np.where(ahead[1:] == 0, nodes.sign, ahead[1:])
    bounds = np.full((2, len(ahead), 3), np.inf) * np.array([-1, 1])[:, None, None]
    bounds[0, ahead > 0, 1] = -nodes.state[ahead > 0, 1]
    bounds[1, ahead < 0, 1] = -nodes.state[ahead < 0, 1]
    found = known.copy()
    step_hull = step_hull.reshape(-1, 6)[bound] / width[bound, None]
    found[free] += unit_free * solve(
        square(cost * unit[:, :, None] * unit[:, None, :], column, free),
        pull[free],
        matrix(step_hull, np.repeat(column, 3, axis=0)[bound], free),
        (-(hull @ known[column][:, :, None]).ravel()[bound] / width[bound], None),
        bounds.reshape(2, -1)[:, free] / unit_free,
    )
    state = found.reshape(-1, 3)
    # what points the wrong way at the nodes is below the solver's accuracy, or it is no solution
    wrong = state[:, 1] * ahead < 0
    worst = max(-float((hull @ found[column][:, :, None]).min()), float(np.abs(state[wrong, 1]).max(initial=0)))
    if not worst <= _SLACK:
        raise Unsolved(f"it still turns by {worst:.0e} of its range where it should not")
    state[wrong, 1] = 0
    return state
