"""The least time along a grid under rows of three neighbours: an interior-point method on banded matrices.

It refuses an answer that breaks a row: what the arithmetic leaves open is taken out by going slower.
Source: textbook (primal-dual interior-point method with a predictor, Mehrotra 1992; banded Cholesky factors).
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.linalg import LinAlgError, cho_solve_banded, cholesky_banded
from scipy.ndimage import minimum_filter1d, uniform_filter1d

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Matrix = sparse.csr_matrix[np.float64]

_MOST_STEPS = 120
_TO_THE_EDGE = 0.99
# a row that asks for more than this part of its limit is looked at, one that asks for less waits
_NEAR = 0.4
_LOOK_EVERY = 4
# nodes: how far around it a row that blocks a step holds back others
_REACH = 20
_RIDGE = 1e-13


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """What b, the square of the path speed at N nodes, must keep; without units.

    At node `centre`, |coef . (b before, b, b after)| <= room: 1, or (mix . those three)**-0.5 where `third`. Besides,
    b is at most `most`.
    Shape: `weight` (N-1,), the length of each stretch of the grid, 0 where one part ends and another begins; `centre`,
    `third` (K,); `coef`, `mix` (3, K); `most` (N,), infinite where there is no bound.
    """

    weight: Floats
    centre: Ints
    coef: Floats
    mix: Floats
    third: Bools
    most: Floats

    def lasts(self, b: Floats) -> Floats:
        """Return how long each stretch lasts, b being linear in between. Shape: (N,), result (N-1,)."""
        root = np.sqrt(b)
        lasts: Floats = 2 * self.weight / (root[:-1] + root[1:])
        return lasts

    def asked(self, b: Floats) -> Floats:
        """Return the left side of each row. Shape: (N,), result (K,)."""
        return self._sum(self.coef, b)

    def mixed(self, b: Floats) -> Floats:
        """Return b where each row looks at it. Shape: (N,), result (K,)."""
        return self._sum(self.mix, b)

    def _sum(self, coef: Floats, b: Floats) -> Floats:
        beside = np.concatenate(([0.0], b, [0.0]))
        total: Floats = coef[0] * beside[self.centre] + coef[1] * b[self.centre] + coef[2] * beside[self.centre + 2]
        return total

    def room(self, b: Floats) -> Floats:
        """Return the right side of each row. Shape: (N,), result (K,)."""
        room = np.ones(len(self.centre))
        np.divide(1.0, np.sqrt(self.mixed(b)), out=room, where=self.third)
        return room

    def only(self, chosen: Ints) -> "Rows":
        """Return some of the rows, and all bounds."""
        return Rows(
            self.weight, self.centre[chosen], self.coef[:, chosen], self.mix[:, chosen], self.third[chosen], self.most
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Sides:
    """Both sides of each row, then the bounds, as what must stay above zero: S sides.

    Shape: `bound` (B,), the nodes that have one; `node` (S,), each side's node; `order`, `occupied`, `first` sort sides
    by node; `count` (N,), how many there are near each node. `coef` and `mix` (K, N) are the rows' own, but 0 where the
    room does not change; `turned` (N, K) both transposed.
    """

    rows: Rows
    bound: Ints = field(init=False)
    node: Ints = field(init=False)
    order: Ints = field(init=False)
    occupied: Ints = field(init=False)
    first: Ints = field(init=False)
    count: Floats = field(init=False)
    coef: Matrix = field(init=False)
    mix: Matrix = field(init=False)
    turned: tuple[Matrix, Matrix] = field(init=False)

    def __post_init__(self) -> None:
        bound = np.flatnonzero(np.isfinite(self.rows.most))
        node = np.concatenate((self.rows.centre, self.rows.centre, bound))
        order = np.argsort(node, kind="stable")
        occupied, first = np.unique(node[order], return_index=True)
        count = _spread(np.bincount(node, minlength=len(self.rows.most)).astype(np.float64))
        for name, value in (("bound", bound), ("node", node), ("order", order), ("occupied", occupied)):
            object.__setattr__(self, name, value)
        coef, mix = _matrix(self.rows, self.rows.coef), _matrix(self.rows, self.rows.mix * self.rows.third)
        turned = coef.T.tocsr(), mix.T.tocsr()
        for name, matrices in (("coef", coef), ("mix", mix), ("turned", turned)):
            object.__setattr__(self, name, matrices)
        object.__setattr__(self, "first", first)
        object.__setattr__(self, "count", np.maximum(count, 1e-9))

    def room(self, b: Floats) -> Floats:
        """Return the rows' rooms. Shape: (N,), result (K,)."""
        room = np.ones(len(self.rows.centre))
        mixed: Floats = np.asarray(self.mix @ b, np.float64)
        np.divide(1.0, np.sqrt(mixed), out=room, where=self.rows.third)
        return room

    def slack(self, b: Floats, room: Floats) -> Floats:
        asked = np.asarray(self.coef @ b, np.float64)
        return np.concatenate((room - asked, room + asked, (self.rows.most - b)[self.bound]))

    def extent(self, room: Floats) -> Floats:
        return np.concatenate((room, room, self.rows.most[self.bound]))

    def least(self, values: Floats) -> Floats:
        """Return the least value of each node's sides. Shape: (S,), result (N,)."""
        least = np.full(len(self.count), np.inf)
        least[self.occupied] = np.minimum.reduceat(values[self.order], self.first)
        return least

    def mean(self, values: Floats) -> Floats:
        """Return the mean of the sides near each node. Shape: (S,), result (N,)."""
        total = np.bincount(self.node, values, minlength=len(self.count)).astype(np.float64)
        return np.asarray(_spread(total) / self.count)


def _matrix(rows: Rows, coef: Floats) -> Matrix:
    """Lay coefficients (3, K) of rows out over b."""
    size = len(rows.most)
    column = np.clip(rows.centre[:, None] + np.array([-1, 0, 1]), 0, size - 1)
    ends = np.arange(len(column) + 1) * 3
    return sparse.csr_matrix((coef.T.ravel(), column.ravel(), ends), shape=(len(column), size))


@dataclass(frozen=True, slots=True, eq=False)
class _Slopes:
    """The rows' slopes at one b: `falls` (K,) is how fast a row's room falls with what `mix` makes of b."""

    sides: _Sides
    falls: Floats

    @classmethod
    def at(cls, sides: _Sides, room: Floats) -> "_Slopes":
        return cls(sides, np.where(sides.rows.third, 0.5 * room**3, 0.0))

    def apply(self, step: Floats) -> Floats:
        """Return how the slacks change with b. Shape: (N,), result (S,)."""
        asked, mixed = (np.asarray(each @ step, np.float64) for each in (self.sides.coef, self.sides.mix))
        room = -self.falls * mixed
        return np.concatenate((room - asked, room + asked, -step[self.sides.bound]))

    def sum(self, prices: Floats) -> Floats:
        """Return the slope that prices on the slacks put on b, with its sign turned. Shape: (S,), result (N,)."""
        count = len(self.falls)
        up, down, bound = np.split(prices, [count, 2 * count])
        coef, mix = self.sides.turned
        total = np.asarray(coef @ (up - down), np.float64) + np.asarray(mix @ (self.falls * (up + down)), np.float64)
        total[self.sides.bound] += bound
        return total

    def square(self, weights: Floats) -> Floats:
        """Return the three upper diagonals of the weighted square of the slopes. Shape: (S,), result (3, N)."""
        rows, size = self.sides.rows, len(self.sides.rows.most)
        up, down, bound = np.split(weights, [len(rows.centre), 2 * len(rows.centre)])
        falls = self.falls * rows.mix
        both, more = up + down, up - down
        coef, mix = both * rows.coef + more * falls, more * rows.coef + both * falls

        def at(one: int, other: int) -> Floats:
            values = coef[one] * rows.coef[other] + mix[one] * falls[other]
            return np.asarray(np.bincount(rows.centre, values, minlength=size), np.float64)

        bands = np.zeros((3, size))
        bands[2] = at(1, 1)
        bands[2, self.sides.bound] += bound
        bands[2, :-1] += at(0, 0)[1:]
        bands[2, 1:] += at(2, 2)[:-1]
        bands[1, 1:] = at(1, 0)[1:] + at(1, 2)[:-1]
        bands[0, 2:] = at(0, 2)[1:-1]
        return bands


def _spread(values: Floats) -> Floats:
    return np.asarray(uniform_filter1d(values, 2 * _REACH + 1, mode="nearest"), np.float64)


def _held(reach: Floats, edge: float) -> Floats:
    """Return how far each node may step where the sides' relative change is `reach`. Shape: (N,), result (N,)."""
    blocked = reach < -edge
    step = np.where(blocked, edge / np.maximum(-reach, edge), 1.0)
    near = minimum_filter1d(step, 3 * _REACH + 1, mode="nearest")
    return np.asarray(uniform_filter1d(near, _REACH + 1, mode="nearest"), np.float64)


def _objective(weight: Floats, b: Floats) -> tuple[Floats, Floats]:
    """Return the slope (N,) and the upper diagonals (2, N) of the bend of the sum of 2 weight / (sqrt b + sqrt b')."""
    root = np.sqrt(b)
    left, right, both = root[:-1], root[1:], root[:-1] + root[1:]
    slope, bands = np.zeros(len(b)), np.zeros((2, len(b)))
    slope[:-1] -= weight / (both**2 * left)
    slope[1:] -= weight / (both**2 * right)
    bands[1, :-1] += weight * (1 / (both**3 * left**2) + 0.5 / (both**2 * left**3))
    bands[1, 1:] += weight * (1 / (both**3 * right**2) + 0.5 / (both**2 * right**3))
    bands[0, 1:] = weight / (both**3 * left * right)
    return slope, bands


@dataclass(slots=True, eq=False)
class _Point:
    """Where the method stands: b (N,), and each side's slack and price (S,)."""

    b: Floats
    slack: Floats
    price: Floats


def _begin(sides: _Sides, b: Floats) -> _Point:
    room = sides.room(b)
    slack = sides.slack(b, room)
    # from a b that keeps all rows the way stays within them; from another one it goes far around
    if not (slack > 0).all():
        slack = np.maximum(slack, sides.extent(room))
    return _Point(b, slack, float(sides.rows.lasts(b).sum()) / len(slack) / slack)


def _joined(point: _Point, chosen: Ints, more: Ints, sides: _Sides, before: _Sides) -> _Point:
    """Return the point with the sides of more rows, each as far from its limit as suits the price of the others."""
    level = before.mean(point.slack * point.price)
    room = sides.room(point.b)
    slack = np.maximum(sides.slack(point.b, room), 0.1 * sides.extent(room))
    price = np.maximum(level, level.max() * 1e-12)[sides.node] / slack
    old = np.searchsorted(more, chosen)
    kept = np.concatenate((old, len(more) + old, 2 * len(more) + np.arange(len(sides.bound))))
    slack[kept], price[kept] = point.slack, point.price
    return _Point(point.b, slack, price)


def _stepped(sides: _Sides, point: _Point, true: Floats, slopes: _Slopes, cost: tuple[Floats, Floats]) -> _Point:
    """Return the next point, from one with the slacks `true` (S,). Error: LinAlgError if the arithmetic fails."""
    b, slack, price = point.b, point.slack, point.price
    pair, left = slack * price, true - slack
    slope, bands = cost
    square = slopes.square(price / slack)
    square[1:] += bands
    unit = 1 / np.sqrt(square[2])
    square[2] = 1 + _RIDGE
    square[1, 1:] *= unit[1:] * unit[:-1]
    square[0, 2:] *= unit[2:] * unit[:-2]
    factor = cholesky_banded(square, check_finite=False)

    def direction(target: Floats | float) -> tuple[Floats, Floats, Floats]:
        right = -(slope + slopes.sum(price + (target - pair - price * left) / slack)) * unit
        step = cho_solve_banded((factor, False), right, check_finite=False) * unit
        more = slopes.apply(step) + left
        return step, more, (target - pair - price * more) / slack

    def reach(step: Floats, more: Floats, dearer: Floats, edge: float) -> tuple[Floats, Floats]:
        blocked = np.minimum(sides.least(more / slack), step / b * (edge / 0.9))
        return _held(blocked, edge), _held(sides.least(dearer / price), edge)

    node, level = sides.node, sides.mean(pair)
    step, more, dearer = direction(0.0)
    far, dear = reach(step, more, dearer, 1.0)
    tried = sides.mean((slack + far[node] * more) * (price + dear[node] * dearer))
    target = (np.clip((tried / level) ** 3, 1e-3, 1.0) * level)[node]
    step, more, dearer = direction(target - np.clip(more * dearer, -2 * level[node], 2 * level[node]))
    far, dear = reach(step, more, dearer, _TO_THE_EDGE)
    return _Point(b + far * step, slack + far[node] * more, price + dear[node] * dearer)


def fastest(rows: Rows, start: Floats, accuracy: float, told: Callable[[float], None]) -> Floats:
    """Return the b that makes the sum of `rows.lasts` least, to a part of `accuracy` of it, and breaks no row.

    `start` (N,) need not keep the rows. Rows of order three are replaced at each step by their inner bound there
    (Debrouwere et al. 2013), so that the answer is the optimum of the problem bounded at the answer itself.
    """
    b = start
    chosen = np.flatnonzero(np.abs(rows.asked(b)) > _NEAR * rows.room(b))
    sides = _Sides(rows.only(chosen))
    point = _begin(sides, b)
    done = False
    for number in range(_MOST_STEPS):
        if done or number % _LOOK_EVERY == 0:
            near = np.abs(rows.asked(point.b)) > _NEAR * rows.room(point.b)
            near[chosen] = True
            more, before = np.flatnonzero(near), sides
            if len(more) > len(chosen):
                sides = _Sides(rows.only(more))
                point = _joined(point, chosen, more, sides, before)
                chosen = more
            elif done:
                break
        room = sides.room(point.b)
        true = sides.slack(point.b, room)
        point.slack = np.maximum(point.slack, true)
        slopes = _Slopes.at(sides, room)
        slope, bands = _objective(rows.weight, point.b)
        whole = float(rows.lasts(point.b).sum())
        gap = float(point.slack @ point.price) / whole
        left = float(np.abs((slope + slopes.sum(point.price)) * point.b).sum()) / whole
        broken = float(np.abs((true - point.slack) / sides.extent(room)).max(initial=0.0))
        done = gap < accuracy and left < 10 * accuracy and broken < accuracy / 10
        told(float(np.clip(np.log(max(gap, accuracy)) / np.log(accuracy), 0, 1)))
        try:
            point = _stepped(sides, point, true, slopes, (slope, bands))
        except LinAlgError:
            break
    return point.b
