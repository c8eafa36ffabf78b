"""The smoothest curve of one run of an axis through its keys within limits. It refuses an answer that breaks one.

A run lies between two rests. Where the least-jerk curve breaks a limit, and only there, legs get more nodes and rows
that keep the limits, until the exact extremes of the result are within them.
Source: Flash & Hogan 1985 (least jerk); Bernstein hull of a polynomial: textbook.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_solve_banded, cholesky_banded

from sequencer.motion.program import Infeasible, Unsolved, least
from sequencer.motion.repair.chain import Chain, chain, most_pieces
from sequencer.motion.repair.excess import KEPT, broken
from sequencer.score.move import Passing

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# how far inside the limits a curve is asked for, so that rounding does not break them
_MARGIN = 1e-7
_MOST_MARGIN = 1e-5
# pieces of a leg that breaks a limit; more where that has no answer
_FINER = (8, 16, 32)
_ROUNDS = 12
# legs on each side beyond which what changes on one is below the last digits: a tenth is left after every second leg
_REACH = 32


class Refused(ArithmeticError):
    """The solver found no curve within the limits; `legs` of the run are those that it was kept within them."""

    def __init__(self, legs: Ints) -> None:
        super().__init__("no curve through these keys keeps the limits")
        self.legs = legs


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Run:
    """What a stretch of an axis between two rests must do: L legs.

    Shape: `lasts_s` (L,), `values` (L+1,), `passing` one for each key or empty for `pass`; `ends` (2, 2), speed and
    acceleration at the first and the last key. Without `overshoot` no leg turns back but beside a `free` key.
    Unit: seconds; the axis's own, that a second, a second squared.
    """

    lasts_s: Floats
    values: Floats
    passing: tuple[Passing, ...] = ()
    overshoot: bool = True
    ends: Floats = field(default_factory=lambda: np.zeros((2, 2)))

    def ways(self) -> Floats:
        """Return the sign of the speed that each leg must keep, 0 where it may overshoot. Shape: (L,)."""
        if self.overshoot:
            return np.zeros(len(self.lasts_s))
        free = np.array([each == "free" for each in self.passing] or [False] * len(self.values))
        return np.where(free[1:] | free[:-1], 0.0, np.sign(np.diff(self.values)))


@dataclass(frozen=True, slots=True, eq=False)
class Solved:
    """A run's curve: node states (N, 3) on a chain, and `hot` (L,), the legs that are kept within limits by rows."""

    chain: Chain
    state: Floats
    hot: Bools


def solved(run: Run, low: Floats, high: Floats, hot: Bools | None = None, margin: float = _MARGIN) -> Solved:
    """Return the smoothest curve within `low` and `high` (4,), by order of the derivative.

    `hot` (L,) are legs known to need rows, which saves rounds and changes nothing else. `margin`, in parts of the
    limits, is how far inside them it is asked for, where that can be.
    Error: Refused where there seems to be none, Unsolved where the arithmetic does not suffice.
    """
    most = most_pieces(run.lasts_s, run.values, float(high[3]), _FINER[-1])
    way = run.ways()
    hot = np.zeros(len(way), np.bool_) if hot is None else hot
    best = _settled(run, low, high)
    pieces = np.where(way != 0, np.minimum(2, most), 1)
    stuck, turning = 0, True
    for _ in range(_ROUNDS):
        finest = _FINER[min(stuck, len(_FINER) - 1)]
        pieces = np.where(hot, np.maximum(pieces, np.minimum(finest, most)), pieces)
        grid, known = best.chain.refined(best.state, pieces)
        try:
            bounds, free = _bounds(way, hot, low, high, margin), _free(run, grid, low, high)
            state = _within(run, Solved(grid, known, hot), bounds, free, turning)
        except Unsolved as error:
            stuck += 1
            # without limits there is a curve, whatever the solver says
            if stuck > len(_FINER) and isinstance(error, Infeasible) and hot.any():
                raise Refused(np.flatnonzero(hot)) from error
            if stuck > len(_FINER):
                raise
            margin = 0.0 if stuck == len(_FINER) else margin
            hot = hot | (_grown(hot, stuck) & (most > 1))
            continue
        bad = broken(grid.coeffs(state), grid.width * grid.pace_s, grid.key, low, high)
        if not bad.any():
            return Solved(grid, state, hot)
        if way.any() and not hot.any():
            # the best curve that does not turn back: from here on only what is near a broken limit is solved again
            best, turning = Solved(grid, state, hot), False
        if (bad <= hot).all():
            margin = max(10 * margin, _MARGIN)
            if margin > _MOST_MARGIN:
                break
        # a leg too short to be cut makes a program harder: only where it breaks a limit itself
        hot = hot | bad | (_grown(bad, 1) & (most > 1))
    raise Unsolved("the curve still breaks a limit where it was asked to keep it")


def windowed(before: Solved, run: Run, key: int, low: Floats, high: Floats, reach: int = 24) -> Solved:
    """Return the curve of `run`, which differs from the run of `before` in key number `key` only, by its nearest keys.

    Only `reach` keys on each side are solved again; beyond them the curve stays. The answer differs from that of the
    whole by far less than a motor's step: what a key does fades with every leg.
    Error: as in `solved`.
    """
    first, last = max(key - reach, 0), min(key + reach, len(run.values) - 1)
    legs, keys = slice(first, last), slice(first, last + 1)
    nodes = before.chain.key
    ends = np.array([before.state[nodes[first], 1:], before.state[nodes[last], 1:]])
    part = Run(
        lasts_s=run.lasts_s[legs],
        values=run.values[keys],
        passing=run.passing[keys],
        overshoot=run.overshoot,
        ends=ends,
    )
    # what is pinned at its ends lies as far inside the limits as it was solved for, and must not touch a row
    found = solved(part, low, high, before.hot[legs], _MARGIN / 2)
    old = before.chain.pieces
    pieces = np.concatenate((old[:first], found.chain.pieces, old[last:]))
    state = np.concatenate((before.state[: nodes[first]], found.state, before.state[nodes[last] + 1 :]))
    hot = np.concatenate((before.hot[:first], found.hot, before.hot[last:]))
    return Solved(Chain(run.lasts_s, pieces, before.chain.unit, before.chain.pace_s), state, hot)


def _grown(legs: Bools, by: int) -> Bools:
    """Return the legs with `by` more on either side of each."""
    places = np.flatnonzero(legs)[:, None] + np.arange(-by, by + 1)
    grown = np.zeros_like(legs)
    grown[places.clip(0, len(legs) - 1)] = True
    return grown


def _free(run: Run, grid: Chain, low: Floats, high: Floats) -> Bools:
    """Return what the solver may change: nothing at the ends, no value at a key. Shape: (N, 3)."""
    passing, way = np.array(run.passing or ["pass"] * len(run.values)), run.ways()
    free = np.ones((len(grid.scale), 3), np.bool_)
    free[grid.key, 0] = False
    # two bounds that meet leave a solver no room: where the axis turns, or touches the end of its travel, it stands
    stands = np.isin(passing, ("stop", "hold"))
    stands[1:-1] |= way[1:] * way[:-1] < 0
    if np.isfinite(high[0] - low[0]):
        close = KEPT * (high[0] - low[0])
        stands |= (run.values >= high[0] - close) | (run.values <= low[0] + close)
    free[grid.key[stands], 1] = False
    rests = passing == "hold"
    rests[1:-1] |= stands[1:-1] & (way[1:] * way[:-1] > 0)  # it stands, and both legs go one way
    free[grid.key[rests], 2] = False
    free[[0, -1]] = False
    return free


def _settled(run: Run, low: Floats, high: Floats) -> Solved:
    """Return the run without any limit, by linear equations; solved twice, since the second time takes up rounding."""
    grid = chain(run.lasts_s, run.values, np.ones(len(run.lasts_s), np.int64))
    state = np.zeros((len(run.values), 3))
    state[:, 0] = run.values
    state[[0, -1], 1:] = run.ends
    free, blocks, x = _free(run, grid, low, high).ravel(), grid.cost(), grid.variables(state)
    bend = np.bincount(grid.column.ravel(), np.einsum("pkk->pk", blocks).ravel())
    unit = np.where(free, 1 / np.sqrt(bend), 0.0)
    own = unit[grid.column]
    scaled = blocks * own[:, :, None] * own[:, None, :]
    upper = np.triu_indices(6)
    row, column = grid.column[:, upper[0]], grid.column[:, upper[1]]
    place = (5 + row - column) * grid.size + column
    band = np.bincount(place.ravel(), scaled[:, upper[0], upper[1]].ravel(), 6 * grid.size).reshape(6, -1)
    band[5, ~free] = 1.0
    try:
        factor = cholesky_banded(band, overwrite_ab=True, check_finite=False)
    except np.linalg.LinAlgError as error:
        raise Unsolved("keys stand too close together to be told apart") from error
    for _ in range(2):
        x = x - unit * cho_solve_banded((factor, False), unit * grid.slope(x, blocks), check_finite=False)
    return Solved(grid, grid.state(x), np.zeros(len(run.lasts_s), np.bool_))


def _within(run: Run, best: Solved, bounds: tuple[Floats, Floats], free: Bools, turning: bool) -> Floats:
    """Return the best states (N, 3) within bounds on hot legs, from those of the best curve without these.

    What is far from a hot leg stays as it is. With `turning`, that curve is the best of all, whatever way it turns.
    """
    grid, way = best.chain, run.ways()
    if not (best.hot.any() or way.any()):
        return best.state
    x, blocks, pull = grid.variables(best.state), grid.cost(), None
    if not (turning and way.any()):
        far = ~_grown(best.hot, _REACH)[grid.leg]
        free[:-1][far] = free[1:][far] = False
    if not turning:
        pull = grid.slope(x, blocks)
    rows = grid.hull(bounds[0][grid.leg], bounds[1][grid.leg])
    return grid.state(least(blocks, grid.column, free.ravel(), x, rows, pull))


def _bounds(way: Floats, hot: Bools, low: Floats, high: Floats, margin: float) -> tuple[Floats, Floats]:
    """Return what each leg is kept within: the limits, a margin inside, where it is hot. Shape: twice (L, 4).

    Travel has no margin, since keys may stand at its ends, and binds only a leg that may overshoot.
    """
    inside = np.array([1.0, 1 - margin, 1 - margin, 1 - margin])
    lowest, highest = np.full((len(way), 4), -np.inf), np.full((len(way), 4), np.inf)
    lowest[hot], highest[hot] = low * inside, high * inside
    lowest[way != 0, 0], highest[way != 0, 0] = -np.inf, np.inf
    lowest[way > 0, 1], highest[way < 0, 1] = 0.0, 0.0
    return lowest, highest
