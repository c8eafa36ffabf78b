"""One run of an axis as a chain of nodes: its variables, its jerk's cost, and rows that keep limits between nodes.

It refuses to choose a curve: a quadratic program, a linear one or a projection does, on the same rows.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.program import Rows
from sequencer.motion.quintic import HULLS, JERK_COST, ends
from sequencer.rig.axis import Axis
from sequencer.score.fit import HERMITE

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Below this part of the jerk limit a position's last digit must stay, or a piece is too short to be drawn.
_ROUNDING = 1e-8


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """The legs between keys, each cut into `pieces` equal parts, and the N nodes between which it is quintic.

    The variables x (3 N,) are, node after node, position, speed and acceleration without units: position over `unit`,
    the others over `unit` times a power of the node's own time, so that short pieces weigh like long ones. No value is
    shifted or rounded by it: `unit` and `pace_s` are powers of two, and each leg's pieces a power of two in number.
    Shape: `lasts_s`, `pieces` (L,); P pieces are the sum of `pieces`, N = P + 1; `key` (L+1,), the keys' nodes; `leg`
    (P,), each piece's leg; `width` (P,), pieces' lengths in `pace_s`; `scale` (N,); `column` (P, 6), where a piece's
    end states (p0 v0 a0 p1 v1 a1) stand in x.
    """

    lasts_s: Floats
    pieces: Ints
    unit: float
    pace_s: float
    key: Ints = field(init=False)
    leg: Ints = field(init=False)
    width: Floats = field(init=False)
    scale: Floats = field(init=False)
    column: Ints = field(init=False)

    def __post_init__(self) -> None:
        if (self.pieces & (self.pieces - 1)).any() or (self.pieces < 1).any():
            raise ValueError("a leg has 1, 2, 4, 8… pieces")
        leg = np.repeat(np.arange(len(self.lasts_s)), self.pieces)
        width = (self.lasts_s / self.pace_s / self.pieces)[leg]
        scale = np.sqrt(np.append(width[:1], width) * np.append(width, width[-1:]))
        object.__setattr__(self, "key", np.append(0, np.cumsum(self.pieces)))
        object.__setattr__(self, "leg", leg)
        object.__setattr__(self, "width", width)
        object.__setattr__(self, "scale", scale)
        object.__setattr__(self, "column", 3 * np.arange(len(leg))[:, None] + np.arange(6))

    @property
    def size(self) -> int:
        """How many variables there are: three for each node."""
        return 3 * len(self.scale)

    @property
    def part(self) -> Floats:
        """At what part of its leg's time each piece begins, without rounding. Shape: (P,)."""
        part: Floats = (np.arange(len(self.leg)) - self.key[self.leg]) / self.pieces[self.leg]
        return part

    @property
    def since_s(self) -> Floats:
        """When each node is reached, after the first key. Shape: (N,)."""
        within = np.arange(len(self.leg)) - self.key[self.leg]
        begin_s = np.append(0.0, np.cumsum(self.lasts_s))
        return np.append(begin_s[self.leg] + within * (self.lasts_s / self.pieces)[self.leg], begin_s[-1])

    def variables(self, state: Floats) -> Floats:
        """Return x of node states. Shape: (N, 3) position, speed, acceleration in the axis's units; result (3 N,)."""
        x: Floats = (state / self._units()).ravel()
        return x

    def state(self, x: Floats) -> Floats:
        """Return the node states of x: the inverse of `variables`."""
        state: Floats = x.reshape(-1, 3) * self._units()
        return state

    def _units(self) -> Floats:
        scale_s = self.scale * self.pace_s
        return self.unit / np.stack((np.ones_like(scale_s), scale_s, scale_s**2), axis=1)

    def cost(self) -> Floats:
        """Return each piece's integral of squared jerk as a quadratic form in its six variables: y' block y.

        Shape: (P, 6, 6), to be summed at `column`. Unit: `unit`**2 / `pace_s`**5.
        """
        own = ends(self.width, self.scale)
        blocks: Floats = JERK_COST * own[:, :, None] * own[:, None, :] / self.width[:, None, None] ** 5
        return blocks

    def slope(self, x: Floats, blocks: Floats) -> Floats:
        """Return half the slope of the summed cost at x: what `blocks` times x are, without loss on short pieces."""
        own = x[self.column]
        # jerk does not change when all positions do
        own[:, 3] -= own[:, 0]
        own[:, 0] = 0.0
        slopes = (blocks @ own[:, :, None])[:, :, 0]
        slope: Floats = np.bincount(self.column.ravel(), slopes.ravel()).astype(np.float64)
        return slope

    def hull(self, low: Floats, high: Floats) -> Rows:
        """Return rows that keep position, speed, acceleration and jerk within `low` and `high` all along a piece.

        They are enough, not necessary: a polynomial lies in the hull of its Bernstein coefficients. An end coefficient
        that two neighbours share stands there once if their bounds are the same.
        Shape: `low`, `high` (P, 4), by order of the derivative; where both are infinite there is no row.
        Unit: the axis's own, that a second, a second squared, a second cubed.
        """
        own = ends(self.width, self.scale)
        width_s = self.width * self.pace_s
        parts = []
        for order, hull in enumerate(HULLS):
            bounds = np.stack((low[:, order], high[:, order]), axis=1)
            bound = np.isfinite(bounds[:, 0]) | np.isfinite(bounds[:, 1])
            same = np.append(False, np.all(bounds[1:] == bounds[:-1], axis=1))
            wanted = np.repeat(bound[:, None], len(hull), axis=1)
            if order < 3:  # jerk is not continuous
                wanted[:, 0] &= ~same
            piece, coefficient = np.nonzero(wanted)
            factor = width_s[piece] ** order / self.unit
            between = bounds[piece] * factor[:, None]
            parts.append((hull[coefficient] * own[piece], self.column[piece], between[:, 0], between[:, 1]))
        return Rows(*(np.concatenate(each) for each in zip(*parts, strict=True)))

    def coeffs(self, state: Floats) -> Floats:
        """Return the pieces' polynomials in seconds from each piece's begin. Shape: (6, P), PPoly's layout."""
        width_s = self.width * self.pace_s
        powers = width_s ** np.arange(6)[:, None]
        left, right = state[:-1].T, state[1:].T
        # about the first position, so that the small differences of a short piece keep their digits
        own = np.stack((0 * left[0], left[1], left[2], right[0] - left[0], right[1], right[2]))
        coeffs: Floats = HERMITE @ (own * powers[[0, 1, 2, 0, 1, 2]]) / powers[::-1]
        coeffs[-1] = left[0]
        return coeffs

    def refined(self, state: Floats, pieces: Ints) -> tuple["Chain", Floats]:
        """Return the same curve on as many pieces a leg or more, and its states there. Shape: (L,), result (N', 3)."""
        finer = Chain(self.lasts_s, pieces, self.unit, self.pace_s)
        times = pieces // self.pieces
        if (times < 1).any():
            raise ValueError("a leg cannot have fewer pieces than before")
        part = np.repeat(times[self.leg], times[self.leg])
        old = np.repeat(np.arange(len(self.leg)), times[self.leg])
        first = np.append(0, np.cumsum(times[self.leg]))
        within = np.arange(len(old)) - first[old]
        since_s = within * (self.width * self.pace_s)[old] / part
        coeffs = self.coeffs(state)[:, old]
        found = np.empty((len(old) + 1, 3))
        for order in range(3):
            value = np.zeros(len(old))
            for row in coeffs[: 6 - order]:
                value = value * since_s + row
            found[:-1, order] = value
            coeffs = coeffs * np.arange(5 - order, -1 - order, -1)[:, None]
        found[first] = state
        return finer, found


def chain(lasts_s: Floats, values: Floats, pieces: Ints) -> Chain:
    """Return the chain of legs between keys at `values`. Shape: `lasts_s`, `pieces` (L,), `values` (L+1,)."""
    unit = float(np.ptp(values)) or max(1.0, float(np.abs(values).max()))
    return Chain(lasts_s, pieces, _power_of_two(unit), _power_of_two(float(lasts_s.mean())))


def limits(axis: Axis) -> tuple[Floats, Floats]:
    """Return what an axis can do, by order of the derivative: travel, speed, acceleration, jerk. Shape: twice (4,)."""
    low, high = (-np.inf, np.inf) if axis.travel is None else axis.travel
    rates = (axis.speed, axis.acceleration, axis.jerk)
    return np.array([low, *(-rate for rate in rates)]), np.array([high, *rates])


def most_pieces(lasts_s: Floats, values: Floats, jerk: float, most: int) -> Ints:
    """Return into how many pieces each leg may be cut, at most `most`: on shorter ones, jerk is lost in rounding.

    The jerk of a piece is up to 60 times the last digit of its position over the cube of its length.
    """
    shortest_s = np.cbrt(60 * np.spacing(np.abs(values).max()) / (_ROUNDING * jerk))
    parts = np.clip(lasts_s / max(shortest_s, 1e-300), 1, most)
    pieces: Ints = (2 ** np.floor(np.log2(parts))).astype(np.int64)
    return pieces


def _power_of_two(number: float) -> float:
    return float(2.0 ** np.round(np.log2(number)))
