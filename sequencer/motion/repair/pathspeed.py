"""How fast to run along a path: the least time within speed, acceleration and jerk, on a grid.

It refuses to send its answer to motors: a grid knows nothing of what happens between its nodes (`projection` does).
Source: Verscheure et al. 2009 (convex in b = (du/dt)**2); Debrouwere et al. 2013 (inner bound for jerk).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from sequencer.motion.repair.banded import Rows, fastest

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# Where a path nearly rests it could be run at any speed, and a b that leaps from node to node is not seen by the grid:
# b turns by at most this part of what its neighbourhood allows, which grows by so much a node (of its logarithm).
_MOST_TURN = 0.3
_MOST_GROWTH = 0.1
_INSIDE = 0.95


@dataclass(frozen=True, slots=True, eq=False)
class Path:
    """A path q(u) by its derivatives at the nodes of a grid, for R quantities that have limits: axes, or sums of them.

    Parts follow one another; each begins and ends at rest, that is with q' = q'' = 0.
    Shape: `at` (N,) rising; `first`, the nodes where parts begin; `slope`, `bend` (R, N); `third` (2, R, N), from the
    left and from the right, which differ where pieces meet; `limits` (3, R) speed, acceleration and jerk, infinite
    where there is none. Unit: u in seconds.
    """

    at: Floats
    first: Ints
    slope: Floats
    bend: Floats
    third: Floats
    limits: Floats

    @property
    def inside(self) -> Bools:
        """Whether a node is neither the first nor the last of its part. Shape: (N,)."""
        inside = np.ones(len(self.at), np.bool_)
        inside[self.first] = inside[self.first - 1] = False  # of the first part, -1 is the last node
        return inside

    @property
    def weight(self) -> Floats:
        """The lengths of the grid's stretches, 0 between parts. Shape: (N-1,)."""
        weight = np.diff(self.at)
        weight[self.first[1:] - 1] = 0.0
        return weight

    def stencils(self) -> tuple[Floats, Floats]:
        """Return half the first and half the second derivative over u as combinations of three nodes.

        At the ends of a part the first one is one-sided, and the second nothing. Shape: twice (3, N).
        """
        width = np.where(self.weight > 0, self.weight, 1.0)
        before, after = np.append(1.0, width), np.append(width, 1.0)
        both = before + after
        half = np.stack((-after / (before * both), (after - before) / (before * after), before / (after * both))) / 2
        bend = np.stack((1 / (before * both), -1 / (before * after), 1 / (after * both)))
        ends = np.flatnonzero(~self.inside)
        half[:, ends] = bend[:, ends] = 0.0
        return half, bend


def jerk_rows(path: Path) -> Rows:
    """Return the rows of speed, acceleration and jerk at the nodes. Unit: b without units."""
    half, bend = path.stencils()
    inner = np.flatnonzero(path.inside)
    speed, acceleration, jerk = path.limits[:, :, None]
    slope, bent = path.slope[:, inner], path.bend[:, inner]
    own = np.array([0.0, 1.0, 0.0])[:, None, None]
    parts = [(own * bent + half[:, None, inner] * slope) / acceleration]
    parts += [
        (own * third[:, inner] + 3 * bent * half[:, None, inner] + slope * bend[:, None, inner]) / jerk
        for third in path.third
    ]
    differs = ~np.isclose(path.third[0][:, inner], path.third[1][:, inner], rtol=1e-6, atol=0.0)
    moving = (path.slope[:, inner] != 0) | (bent != 0) | (path.third[:, :, inner] != 0).any(axis=0)
    kept = [moving, moving, moving & differs]
    centre = np.concatenate([np.broadcast_to(inner, each.shape)[each] for each in kept])
    third = np.repeat([False, True, True], [each.sum() for each in kept])
    coef = np.concatenate([rows[:, each] for rows, each in zip(parts, kept, strict=True)], axis=1)
    with np.errstate(divide="ignore"):
        most = (speed / np.abs(path.slope)).min(axis=0) ** 2
        ends = np.flatnonzero(~path.inside)
        most[ends] = (jerk / np.abs(path.third[:, :, ends])).min(axis=(0, 1)) ** (2 / 3)
    return Rows(path.weight, centre, coef, third, most)


def acceleration_rows(path: Path) -> Rows:
    """Return the rows of speed and acceleration, at both ends of each stretch of the grid."""
    stretch = np.flatnonzero(path.weight > 0)
    speed, acceleration, _ = path.limits[:, :, None]
    rate = 0.5 / path.weight[stretch]
    begin, end = path.slope[:, stretch] * rate, path.slope[:, stretch + 1] * rate
    none = np.zeros_like(begin)
    coef = (
        np.stack(
            (
                np.stack((none, path.bend[:, stretch] - begin, begin)),
                np.stack((-end, path.bend[:, stretch + 1] + end, none)),
            ),
            axis=1,
        )
        / acceleration
    )
    centre = np.broadcast_to(np.stack((stretch, stretch + 1))[:, None], coef.shape[1:])
    with np.errstate(divide="ignore"):
        most = (speed / np.abs(path.slope)).min(axis=0) ** 2
    coef = coef.reshape(3, -1)
    return Rows(path.weight, centre.ravel(), coef, np.zeros(coef.shape[1], np.bool_), most)


def guess(path: Path) -> tuple[Floats, Floats]:
    """Return a b to begin with, and the most b worth looking at. Shape: twice (N,)."""
    speed, acceleration, jerk = path.limits[:, :, None]
    with np.errstate(divide="ignore"):
        each = np.minimum((speed / np.abs(path.slope)).min(axis=0) ** 2, (acceleration / np.abs(path.bend)).min(axis=0))
        each = np.minimum(each, (jerk / np.abs(path.third)).min(axis=(0, 1)) ** (2 / 3))
    # where the path nearly rests any speed would do; it grows from node to node by so much at most
    steps = np.arange(len(each)) * _MOST_GROWTH
    log = np.log(np.minimum(each, np.finfo(np.float64).max))
    ahead = np.minimum.accumulate(log - steps) + steps
    back = np.minimum.accumulate((log + steps)[::-1])[::-1] - steps
    low = np.exp(np.minimum(ahead, back))
    return 0.7 * np.exp(uniform_filter1d(np.log(low), 15, mode="nearest")), low


def steadied(rows: Rows, path: Path) -> Rows:
    """Return the rows, and one more at each node against a b that leaps from node to node."""
    _, low = guess(path)
    inner = np.flatnonzero(path.inside)
    coef = np.array([1.0, -2.0, 1.0])[:, None] / (_MOST_TURN * low[inner])
    return Rows(
        rows.weight,
        np.concatenate((rows.centre, inner)),
        np.concatenate((rows.coef, coef), axis=1),
        np.concatenate((rows.third, np.zeros(len(inner), np.bool_))),
        rows.most,
    )


def slowed(rows: Rows, b: Floats, first: Ints) -> Floats:
    """Return b, in each part as much less of it as the worst row there needs; where none is broken, b itself."""
    part = np.cumsum(np.bincount(first, minlength=len(b))) - 1
    over = np.ones(len(first))
    np.maximum.at(over, part, b / rows.most)
    used = np.abs(rows.asked(b)) / rows.room(b)
    np.maximum.at(over, part[rows.centre], np.where(rows.third, used ** (2 / 3), used))
    return b / over[part]


def least_time(
    path: Path, *, jerk: bool = True, accuracy: float = 1e-4, told: Callable[[float], None] = lambda _: None
) -> Floats:
    """Return b = (du/dt)**2 at the nodes of `path`, in the least time. Shape: (N,)."""
    rows = steadied(jerk_rows(path), path) if jerk else acceleration_rows(path)
    start, _ = guess(path)
    found = fastest(rows, start, accuracy, told)
    legal = slowed(rows, found, path.first)
    if (legal >= found * (1 - 10 * accuracy)).all():
        return legal
    # it went round in circles outside the rows: once more, slowly, from inside them
    inside = slowed(rows, start, path.first) * _INSIDE
    again = slowed(rows, fastest(rows, inside, accuracy, told), path.first)
    part = np.cumsum(np.bincount(path.first, minlength=len(again))) - 1
    lasts = [np.bincount(part[:-1], rows.lasts(each), minlength=len(path.first)) for each in (legal, again)]
    return np.where((lasts[1] < lasts[0])[part], again, legal)


def rate_along(path: Path, b: Floats) -> Floats:
    """Return d2u/dt2 at the nodes, as the rows see it; at the ends of parts, 0. Shape: (N,)."""
    half, _ = path.stencils()
    beside = np.concatenate(([0.0], b, [0.0]))
    found: Floats = half[0] * beside[:-2] + half[1] * b + half[2] * beside[2:]
    return found


def lasts(path: Path, b: Floats, part: float = 1.0) -> Floats:
    """Return how long each stretch of the grid lasts up to `part` of it, b running smoothly through the nodes.

    Shape: (N,), result (N-1,); between parts it is 0.
    """
    weight = path.weight
    width = np.where(weight > 0, weight, 1.0)
    log = np.log(b)
    secant = np.diff(log) / width
    steep = 2 * rate_along(path, b) / b
    left, right = (np.where(path.inside[end], steep[end], secant) for end in (slice(None, -1), slice(1, None)))
    most = 3 * np.abs(secant)
    neighbours = np.maximum(most, np.maximum(np.append(most[:1], most[:-1]), np.append(most[1:], most[-1:])))
    left, right = (np.clip(each, -neighbours, neighbours) for each in (left, right))
    total = np.zeros(len(weight))
    for node, share in zip(*np.polynomial.legendre.leggauss(6), strict=True):
        x = part * (node + 1) / 2
        along = log[:-1] + x * (
            width * left + x * (width * (3 * secant - 2 * left - right) + x * width * (left + right - 2 * secant))
        )
        total += part * share / 2 * np.exp(-along / 2)
    return total * weight
