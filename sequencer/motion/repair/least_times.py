"""Small moves of key times that let the axes keep their limits, found by linear programs one after the other.

It refuses to call its answer the least of all: it is one from which no small step leads to a smaller one. Keys at one
instant, on whatever axes, move together.
Source: textbook (successive linear programming with a trust region and an exact penalty).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from sequencer.motion.repair.chain import Chain, chain, most_pieces
from sequencer.motion.repair.least_values import COARSE, FINE, MARGIN, limit_rows
from sequencer.motion.repair.linear import Linear, laid
from sequencer.motion.repair.proof import Wanted
from sequencer.score.move import Passing

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# how many times more a miss of a key weighs than the time in which its axis goes that far
_MISS = 1000.0
# a trust region's first size and last, in parts of the gap to the nearest key
_FIRST, _LAST = 0.25, 1e-4
_ROUNDS = 20
# what a step must promise, in parts of what there is to gain, to be worth taking
_WORTH = 1e-3
# legs on each side of a key that moves which decide how far it must
_NEAR = 3
# below this part of the largest, a move is tried to be left out
_SLIGHT = 0.01
# a miss below this part of the unit is none
_HIT = 1e-7
# trials of the size of the moves, and how near the least that suffices they come, in parts of it
_TRIALS, _CLOSE = 12, 1e-3
_LARGEST, _NEARLY = 1.5, 0.9
# what two keys that move toward each other may take at most of the gap between them
_APART = 0.9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Part:
    """Some keys of one axis in a row, and which of the instants that may move each stands at: `instant` (K,), or -1.

    `at_s` (K,) counts from the same instant for all parts; `passing`: what the curve does at each key; `ways` (K-1,):
    the sign of the speed that each leg keeps, 0 where it may overshoot.
    """

    wanted: Wanted
    at_s: Floats
    passing: tuple[Passing, ...]
    ways: Floats
    instant: Ints

    @property
    def turns(self) -> Bools:
        """Where a leg that keeps its way meets one of the other way. Shape: (K,)."""
        ways = np.concatenate(([0.0], self.ways, [0.0]))
        turns: Bools = ways[1:] * ways[:-1] < 0
        return turns


@dataclass(frozen=True, slots=True, eq=False)
class _Curve:
    """Where a curve goes on from each of a part's keys, were it drawn further. Shape: each (K,)."""

    speed: Floats
    acceleration: Floats
    jerk: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Step:
    """A linear program's answer: moves of the instants (I,), what all keys miss, as the times to go that far."""

    moved_s: Floats
    miss_s: float
    curves: list[_Curve]


@dataclass(frozen=True, slots=True, eq=False)
class _Met:
    """Rows of a part: 1 at `state` (row, variable), `slope` at `moved` (row, instant)."""

    state: tuple[Ints, Ints]
    moved: tuple[Ints, Ints]
    slope: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Instants:
    """When keys stand that may move, together where they share an instant: I of them, and the parts that they move.

    Shape: `at_s` (I,), counted like the parts' `at_s`; `room_s` (I,) how far each may go from there at most.
    """

    parts: tuple[Part, ...]
    at_s: Floats
    room_s: Floats


def least_times(instants: Instants, tick: Callable[[], None] = lambda: None) -> Floats | None:
    """Return where the instants go, so that some curve keeps every limit of all parts; None where no way is found.

    `tick` is called from time to time, and may end it by raising.

    Shape: result (I,). Error: Infeasible, Unsolved where the arithmetic does not suffice.
    """
    now_s, trust = instants.at_s, _FIRST
    here = _step(instants, now_s)
    for _ in range(_ROUNDS if here.miss_s > 0 else 0):
        tick()
        step = _step(instants, now_s, (trust * _nearest(instants, now_s), here.curves))
        there_s = now_s + step.moved_s
        before, hoped = _merit(instants, now_s, here), _merit(instants, there_s, step)
        if before - hoped < _WORTH * before:
            break
        there = _step(instants, there_s)
        if _merit(instants, there_s, there) < before:
            # where nothing is missed any more, the curve of the step goes nearer to the keys' old instants
            now_s, here = there_s, there if there.miss_s > 0 else replace(there, curves=step.curves)
        else:
            trust /= 4
            if trust < _LAST:
                break
    moved_s = now_s - instants.at_s
    few_s = np.where(np.abs(moved_s) > _SLIGHT * np.abs(moved_s).max(initial=0.0), moved_s, 0.0)
    found = _scaled(instants, few_s)
    return found if found is not None else _scaled(instants, moved_s)


def _merit(instants: Instants, now_s: Floats, step: _Step) -> float:
    return float(np.abs(now_s - instants.at_s).sum()) + _MISS * step.miss_s


def _key_s(part: Part, now_s: Floats) -> Floats:
    return np.where(part.instant >= 0, now_s[part.instant], part.at_s)


def _nearest(instants: Instants, now_s: Floats) -> Floats:
    """Return how far the next key of any part is from each instant. Shape: (I,)."""
    nearest = instants.room_s.copy()
    for part in instants.parts:
        gap_s = np.diff(_key_s(part, now_s), prepend=-np.inf, append=np.inf)
        own = part.instant >= 0
        np.minimum.at(nearest, part.instant[own], np.minimum(gap_s[:-1], gap_s[1:])[own])
    return nearest


def _scaled(instants: Instants, moved_s: Floats) -> Floats | None:
    """Return the shortest way along these moves that suffices, on fine pieces near the keys that move."""
    pieces = [_finer(part, moved_s) for part in instants.parts]
    largest = _most(instants, moved_s)
    if largest < 1:
        return None

    def miss_s(size: float) -> float:
        return _step(instants, instants.at_s + size * moved_s, pieces=pieces).miss_s

    short: list[tuple[float, float]] = []  # sizes that do not suffice, and what is missed there
    high = 1.0
    if (missed := miss_s(high)) > 0:
        short.append((high, missed))
        high = largest
        if miss_s(high) > 0:
            return None
    for _ in range(_TRIALS if moved_s.any() else 0):
        low = _end(short)
        if high - low <= _CLOSE * high:
            break
        beside = low + _CLOSE * high / 2
        trial = _NEARLY * high if not short else beside if low > short[-1][0] else (low + high) / 2
        if (missed := miss_s(trial)) > 0:
            short.append((trial, missed))
        else:
            high = trial
    return instants.at_s + high * moved_s


def _most(instants: Instants, moved_s: Floats) -> float:
    """Return how many times these moves can be made, _LARGEST at most, before keys come too near to each other."""
    most = float(np.min(instants.room_s / np.maximum(np.abs(moved_s), 1e-300), initial=_LARGEST))
    for part in instants.parts:
        gap_s = np.diff(_key_s(part, instants.at_s))
        closing_s = -np.diff(np.where(part.instant >= 0, moved_s[part.instant], 0.0))
        most = float(np.min(_APART * gap_s[closing_s > 0] / closing_s[closing_s > 0], initial=most))
    return most


def _end(short: list[tuple[float, float]]) -> float:
    """Return the size at which the miss, followed straight on from the last two, ends: hardly more than suffices."""
    if not short:
        return 0.0
    low, less = short[-1]
    before, more = short[-2] if len(short) > 1 else short[-1]
    return low + less * (low - before) / (more - less) if more > less else low


def _finer(part: Part, moved_s: Floats) -> Ints:
    """Return how many pieces each leg of a part gets: more where the keys near it decide. Shape: (K-1,)."""
    moves = (part.instant >= 0) & (np.abs(moved_s[part.instant]) > 0)
    legs, keys = np.arange(len(part.instant) - 1), np.flatnonzero(moves)
    near = (legs[:, None] >= keys - _NEAR) & (legs[:, None] < keys + _NEAR)
    return np.where(near.any(axis=1), FINE, COARSE)


def _step(
    instants: Instants,
    now_s: Floats,
    onward: tuple[Floats, Sequence[_Curve]] | None = None,
    pieces: Sequence[Ints] = (),
) -> _Step:
    """Return the best moves of the instants from `now_s`, as far as curves go on evenly; without them they stay.

    `onward` is how far each may go in this step, and the parts' curves.
    """
    grids = [_grid(part, now_s, pieces[n] if pieces else None) for n, part in enumerate(instants.parts)]
    states = np.append(0, np.cumsum([grid.size for grid in grids]))
    keys = np.append(0, np.cumsum([len(part.instant) for part in instants.parts])) + states[-1]
    count, moving = int(keys[-1] - states[-1]), len(now_s)
    # node states of all parts, misses of keys upward and downward, moves of instants, distances later and earlier
    moved = keys[-1] + count + np.arange(moving)
    size = int(moved[0]) + 3 * moving
    cost, bounds = np.ones(size), np.full((size, 2), (0.0, np.inf))
    cost[: states[-1]] = cost[moved] = 0.0
    bounds[: states[-1], 0] = -np.inf
    bounds[moved] = 0.0 if onward is None else np.stack((-onward[0], onward[0]), axis=1)
    bounds[int(moved[-1]) + 1 :, 1] = np.tile(instants.room_s, 2)
    each = np.arange(moving)
    distance = laid((moving, size), (each, moved, 1.0), (each, moved + moving, -1.0), (each, moved + 2 * moving, 1.0))
    below, most, same, equal = [], [], [distance], [instants.at_s - now_s]
    for number, (part, grid) in enumerate(zip(instants.parts, grids, strict=True)):
        rows, limits = limit_rows(part.wanted, grid, _ways(part, grid, still=onward is None), MARGIN)
        sides = (int(states[number]), size - int(states[number + 1]))
        empty = [sparse.csr_matrix((rows.shape[0], width)) for width in sides]
        below.append(sparse.hstack((empty[0], rows, empty[1]), format="csr"))
        most.append(limits)
        miss = np.arange(keys[number], keys[number + 1])
        met, goal = _met(part, grid, onward[1][number] if onward else None)
        ones = np.ones(len(goal))
        own = np.arange(len(miss))
        same.append(
            laid(
                (len(goal), size),
                (met.state[0], sides[0] + met.state[1], ones),
                (met.moved[0], moved[met.moved[1]], met.slope),
                (own, miss, -ones[own]),
                (own, miss + count, ones[own]),
            )
        )
        equal.append(goal)
        cost[miss] = cost[miss + count] = _MISS * grid.unit / _pace(part)
    program = Linear(
        sparse.vstack(below, format="csr"),
        np.concatenate(most),
        sparse.vstack(same, format="csr"),
        np.concatenate(equal),
        bounds,
    )
    x = program.least(cost).x
    missed = x[states[-1] : moved[0]]
    weighed = cost[states[-1] : moved[0]] / _MISS * np.where(missed > _HIT, missed, 0.0)
    curves = [_curve(grid, x[states[number] : states[number + 1]]) for number, grid in enumerate(grids)]
    return _Step(x[moved], float(weighed.sum()), curves)


def _pace(part: Part) -> float:
    """Return how fast the axis goes between these keys, by and large."""
    way = float(np.abs(np.diff(part.wanted.values)).sum())
    return min(way / float(part.at_s[-1] - part.at_s[0]), part.wanted.speed)


def _ways(part: Part, grid: Chain, *, still: bool) -> Floats:
    """Return the sign of the speed that each piece keeps. Beside a turn that is not `still` it may be either."""
    ways = part.ways[grid.leg]
    if not still:
        turns = grid.key[part.turns]
        ways[turns] = ways[turns - 1] = 0.0
    return ways


def _grid(part: Part, now_s: Floats, pieces: Ints | None) -> Chain:
    lasts_s, values = np.diff(_key_s(part, now_s)), np.array(part.wanted.values)
    most = most_pieces(lasts_s, values, part.wanted.jerk, FINE)
    return chain(lasts_s, values, np.minimum(most, COARSE if pieces is None else pieces))


def _met(part: Part, grid: Chain, curve: _Curve | None) -> tuple[_Met, Floats]:
    """Return the rows that meet the keys, and rest where it is asked, when and where the instants move to.

    The first rows are the keys' positions: p + v d = q, but for what is missed; then v + a d = 0 and a + j d = 0.
    """
    count = len(part.instant)
    stands = np.isin(part.passing, ("stop", "hold")) | part.turns
    rests = np.isin(part.passing, ("hold",))
    for end in (0, -1):
        stands[end] |= part.wanted.rest[end]
        rests[end] |= part.wanted.rest[end]
    keys = np.concatenate((np.arange(count), np.flatnonzero(stands), np.flatnonzero(rests)))
    order = np.repeat([0, 1, 2], [count, int(stands.sum()), int(rests.sum())])
    row = np.arange(len(keys))
    moves = row[part.instant[keys] >= 0] if curve is not None else row[:0]
    slope = np.empty(0)
    if curve is not None:
        node_s = (grid.scale * grid.pace_s)[grid.key]
        onward = np.stack((curve.speed, curve.acceleration * node_s, curve.jerk * node_s**2)) / grid.unit
        slope = onward[order[moves], keys[moves]]
    values = np.array(part.wanted.values)
    goal = np.zeros(len(keys))
    goal[:count] = (values - values[0]) / grid.unit
    return _Met((row, 3 * grid.key[keys] + order), (moves, part.instant[keys[moves]]), slope), goal


def _curve(grid: Chain, x: Floats) -> _Curve:
    """Return how the curve goes on at its keys: at the first one after it, elsewhere before it."""
    state = grid.state(x)
    coeffs = grid.coeffs(state)
    width_s = grid.width * grid.pace_s
    jerk = 60 * coeffs[0] * width_s**2 + 24 * coeffs[1] * width_s + 6 * coeffs[2]
    at_node = np.append(6 * coeffs[2, :1], jerk)[grid.key]
    return _Curve(state[grid.key, 1], state[grid.key, 2], at_node)
