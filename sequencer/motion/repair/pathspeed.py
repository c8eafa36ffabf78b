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

# where limits are looked at: parts of a stretch of the grid, both ends among them
SITES = np.array([0.0, 0.5, 1.0])
# Where a path nearly rests it could be run at any speed, and a b that leaps from node to node is not seen by the grid:
# b turns by at most this part of what its neighbourhood allows, which grows by so much a node (of its logarithm).
_MOST_TURN = 0.3
_MOST_GROWTH = 0.1
_INSIDE = 0.95


@dataclass(frozen=True, slots=True, eq=False)
class Path:
    """A path q(u) by its derivatives along a grid, for R quantities that have limits: axes, or sums of them.

    Parts follow one another; each begins and ends at rest, that is with q' = q'' = 0. M stretches lie between the nodes
    of parts. Along a part b = (du/dt)**2 is a quadratic spline that breaks at the nodes: each stretch has a coefficient
    of its own, and a part one more at each end, C in all.
    Shape: `at` (N,) rising; `first`, the nodes where parts begin; `slope`, `bend`, `third` (S, R, M) at the SITES of
    each stretch; `limits` (3, R) speed, acceleration and jerk, infinite where there is none. Unit: u in seconds.
    """

    at: Floats
    first: Ints
    slope: Floats
    bend: Floats
    third: Floats
    limits: Floats

    @property
    def begin(self) -> Ints:
        """The node at which each stretch begins. Shape: (M,)."""
        between = np.ones(len(self.at), np.bool_)
        between[self.first - 1] = False  # of the first part, -1 is the last node
        return np.flatnonzero(between)

    @property
    def part(self) -> Ints:
        """The part of each node. Shape: (N,)."""
        return np.cumsum(np.bincount(self.first, minlength=len(self.at))) - 1

    @property
    def centre(self) -> Ints:
        """The coefficient of each stretch; it takes part in those before and after, too. Shape: (M,)."""
        begin = self.begin
        return begin + self.part[begin] + 1

    @property
    def part_of(self) -> Ints:
        """The part of each coefficient. Shape: (C,)."""
        return np.repeat(np.arange(len(self.first)), np.bincount(self.part) + 1)

    @property
    def weight(self) -> Floats:
        """How far coefficients stand apart, 0 between parts. Shape: (C-1,)."""
        begin, centre = self.begin, self.centre
        place = np.zeros(len(self.at) + len(self.first))
        place[centre] = (self.at[begin] + self.at[begin + 1]) / 2
        ends = np.append(self.first[1:], len(self.at)) - 1
        parts = np.arange(len(self.first))
        place[self.first + parts], place[ends + parts + 1] = self.at[self.first], self.at[ends]
        weight = np.diff(place)
        weight[self.first[1:] + parts[1:] - 1] = 0.0
        return weight

    def shares(self, part: Floats) -> Floats:
        """Return what three coefficients give to b, b'/2 and b''/2 at parts of each stretch.

        Shape: `part` (S,), result (3, 3, S, M): the derivative, the coefficient.
        """
        begin = self.begin
        width = self.at[begin + 1] - self.at[begin]
        inner = np.diff(begin) == 1
        before, after = width.copy(), width.copy()
        before[1:][inner] += width[:-1][inner]
        after[:-1][inner] += width[1:][inner]
        since, left = part[:, None] * width, (1 - part[:, None]) * width
        one = np.ones_like(since)
        first = np.stack((left**2, -left, one)) / (width * before)
        last = np.stack((since**2, since, one)) / (width * after)
        whole = np.zeros_like(first)
        whole[0] = 1.0
        return np.stack((first, whole - first - last, last), axis=1)

    def spread(self, coefs: Floats, part: Floats) -> Floats:
        """Return b, b'/2 and b''/2 at parts of each stretch. Shape: (C,), (S,), result (3, S, M)."""
        centre = self.centre
        near = np.stack((coefs[centre - 1], coefs[centre], coefs[centre + 1]))
        found: Floats = np.einsum("dcsm,cm->dsm", self.shares(part), near)
        return found

    def nodes(self, coefs: Floats) -> tuple[Floats, Floats]:
        """Return b and b'/2 at the nodes. Shape: (C,), result twice (N,)."""
        values = self.spread(coefs, np.array([0.0, 1.0]))[:2]
        found = np.empty((2, len(self.at)))
        found[:, self.begin + 1] = values[:, 1]
        found[:, self.begin] = values[:, 0]
        return found[0], found[1]


def jerk_rows(path: Path) -> Rows:
    """Return the rows of speed, acceleration and jerk at the sites. Unit: b without units."""
    share = path.shares(SITES)[:, :, :, None]
    _, acceleration, jerk = path.limits[:, None, :, None]
    bent = path.bend * share[0] + path.slope * share[1]
    turned = path.third * share[0] + 3 * path.bend * share[1] + path.slope * share[2]
    shape = path.slope.shape
    moving = (path.slope != 0) | (path.bend != 0) | (path.third != 0)
    centre = np.broadcast_to(path.centre, shape)[moving]
    mix = np.stack([np.broadcast_to(each, shape)[moving] for each in share[0]])
    coef = np.stack(
        [
            np.concatenate((one[moving], other[moving]))
            for one, other in zip(bent / acceleration, turned / jerk, strict=True)
        ]
    )
    third = np.repeat([False, True], len(centre))
    return Rows(path.weight, np.tile(centre, 2), coef, np.tile(mix, 2), third, _most(path))


def _most(path: Path) -> Floats:
    """Return the largest coefficients that speed allows. Shape: (C,)."""
    most = np.full(len(path.at) + len(path.first), np.inf)
    with np.errstate(divide="ignore"):
        most[path.centre] = (path.limits[0][:, None] / np.abs(path.slope[len(SITES) // 2])).min(axis=0) ** 2
    return most


def acceleration_rows(path: Path) -> Rows:
    """Return the rows of speed and acceleration, at both ends of each stretch, for a b that is linear between nodes."""
    stretch = path.begin
    speed, acceleration, _ = path.limits[:, :, None]
    weight = np.diff(path.at)
    weight[path.first[1:] - 1] = 0.0
    rate = 0.5 / weight[stretch]
    begin, end = path.slope[0] * rate, path.slope[-1] * rate
    none = np.zeros_like(begin)
    coef = np.stack(
        (np.stack((none, path.bend[0] - begin, begin)), np.stack((-end, path.bend[-1] + end, none))), axis=1
    )
    coef = (coef / acceleration).reshape(3, -1)
    centre = np.broadcast_to(np.stack((stretch, stretch + 1))[:, None], (2, *begin.shape)).ravel()
    most = np.full(len(path.at), np.inf)
    with np.errstate(divide="ignore"):
        for nodes, slope in ((stretch, path.slope[0]), (stretch + 1, path.slope[-1])):
            most[nodes] = (speed / np.abs(slope)).min(axis=0) ** 2
    own = np.tile([[0.0], [1.0], [0.0]], len(centre))
    return Rows(weight, centre, coef, own, np.zeros(len(centre), np.bool_), most)


def guess(path: Path) -> tuple[Floats, Floats]:
    """Return coefficients to begin with, and the most worth looking at. Shape: twice (C,)."""
    speed, acceleration, jerk = path.limits[:, :, None]
    with np.errstate(divide="ignore"):
        own = np.minimum((speed / np.abs(path.slope)) ** 2, acceleration / np.abs(path.bend))
        own = np.minimum(own, (jerk / np.abs(path.third)) ** (2 / 3)).min(axis=(0, 1))
    each = np.full(len(path.at) + len(path.first), np.inf)
    each[path.centre] = own
    # where the path nearly rests any speed would do; it grows from node to node by so much at most
    steps = np.arange(len(each)) * _MOST_GROWTH
    log = np.log(np.minimum(each, np.finfo(np.float64).max))
    ahead = np.minimum.accumulate(log - steps) + steps
    back = np.minimum.accumulate((log + steps)[::-1])[::-1] - steps
    low = np.exp(np.minimum(ahead, back))
    return 0.7 * np.exp(uniform_filter1d(np.log(low), 15, mode="nearest")), low


def steadied(rows: Rows, path: Path) -> Rows:
    """Return the rows, and one more for each stretch against a b that leaps from node to node."""
    _, low = guess(path)
    centre = path.centre
    coef = np.array([1.0, -2.0, 1.0])[:, None] / (_MOST_TURN * low[centre])
    own = np.tile([[0.0], [1.0], [0.0]], len(centre))
    return Rows(
        rows.weight,
        np.concatenate((rows.centre, centre)),
        np.concatenate((rows.coef, coef), axis=1),
        np.concatenate((rows.mix, own), axis=1),
        np.concatenate((rows.third, np.zeros(len(centre), np.bool_))),
        rows.most,
    )


def slowed(rows: Rows, b: Floats, part: Ints) -> Floats:
    """Return b, in each part as much less of it as the worst row there needs; where none is broken, b itself."""
    over = np.ones(int(part[-1]) + 1)
    np.maximum.at(over, part, b / rows.most)
    used = np.abs(rows.asked(b)) / rows.room(b)
    np.maximum.at(over, part[rows.centre], np.where(rows.third, used ** (2 / 3), used))
    return b / over[part]


def least_time(path: Path, *, accuracy: float = 3e-4, told: Callable[[float], None] = lambda _: None) -> Floats:
    """Return the coefficients of b that make the time along `path` least. Shape: (C,)."""
    rows = steadied(jerk_rows(path), path)
    start, _ = guess(path)
    part = path.part_of
    found = fastest(rows, start, accuracy, told)
    legal = slowed(rows, found, part)
    if (legal >= found * (1 - 10 * accuracy)).all():
        return legal
    # it went round in circles outside the rows: once more, slowly, from inside them
    inside = slowed(rows, start, part) * _INSIDE
    again = slowed(rows, fastest(rows, inside, accuracy, told), part)
    lasts = [np.bincount(part[:-1], rows.lasts(each), minlength=len(path.first)) for each in (legal, again)]
    return np.where((lasts[1] < lasts[0])[part], again, legal)


def lasts(path: Path, coefs: Floats, part: float = 1.0) -> Floats:
    """Return how long each stretch of the grid lasts up to `part` of it. Shape: (C,), result (M,)."""
    at, weight = np.polynomial.legendre.leggauss(6)
    b = path.spread(coefs, part * (at + 1) / 2)[0]
    begin = path.begin
    found: Floats = part / 2 * (weight[:, None] / np.sqrt(b)).sum(axis=0) * (path.at[begin + 1] - path.at[begin])
    return found
