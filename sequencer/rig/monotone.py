"""A curve through a table's points that never turns where the table does not, and its inverse.

Ours, and not scipy's, since every process imports the rig, and importing scipy's takes most of a second.
Source: Fritsch and Carlson, "Monotone piecewise cubic interpolation", SIAM J. Numer. Anal. 17 (1980); the slopes inside
are those of Fritsch and Butland, "A method for constructing local monotone piecewise cubic interpolants", SIAM J. Sci.
Stat. Comput. 5 (1984), at the ends the three-point formula that keeps the shape.
"""

from bisect import bisect_right
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Curve:
    """A cubic piece from each point to the next; outside of the points it holds the value of the end.

    `x` rises from point to point. `y` may do as it likes, but only one that strictly rises or falls has an inverse.
    Error: ValueError for a curve of no points, or whose `x` does not rise.
    """

    x: tuple[float, ...]
    y: tuple[float, ...]
    _x: Floats = field(init=False, repr=False, compare=False)
    _coeffs: Floats = field(init=False, repr=False, compare=False)
    _each: list[list[float]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        x, y = np.array(self.x, dtype=np.float64), np.array(self.y, dtype=np.float64)
        if not (len(x) == len(y) > 0) or not bool((np.diff(x) > 0).all()):
            raise ValueError("a curve has points whose x rises")
        object.__setattr__(self, "_x", x)
        coeffs = _pieces(x, y) if len(x) > 1 else y.reshape(1, 1)
        object.__setattr__(self, "_coeffs", coeffs)
        object.__setattr__(self, "_each", coeffs.T.tolist())

    def at(self, x: ArrayLike) -> Floats:
        """Return the curve's values. Shape: any, kept."""
        if np.ndim(x) == 0:
            return np.asarray(self._one(float(np.asarray(x))))
        inside = np.clip(np.asarray(x, dtype=np.float64), self.x[0], self.x[-1])
        piece = np.clip(self._x.searchsorted(inside, "right") - 1, 0, self._coeffs.shape[1] - 1)
        since = inside - self._x[piece]
        value: Floats = np.zeros_like(inside)
        for row in self._coeffs:
            value = value * since + row[piece]
        # a piece's far end is its polynomial's value, and so rounded: the table's own number counts
        last: Floats = np.where(inside >= self.x[-1], self.y[-1], value)
        return last

    def _one(self, x: float) -> float:
        """Return the value at one place, to the same last digit: numpy takes ten times as long for it."""
        if x >= self.x[-1]:
            return self.y[-1]
        inside = max(x, self.x[0])
        piece = bisect_right(self.x, inside, hi=len(self.x) - 1) - 1
        since, value = inside - self.x[piece], 0.0
        for coeff in self._each[piece]:
            value = value * since + coeff
        return value

    @property
    def rises(self) -> bool:
        """Whether the last value is the largest."""
        return self.y[-1] > self.y[0]

    def inverse(self, y: float) -> float:
        """Return the x at which the curve has this value, to the last float that can tell.

        Error: ValueError for a value that the curve does not have. The values must strictly rise or fall.
        """
        low, high = sorted((self.y[0], self.y[-1]))
        if not low <= y <= high:
            raise ValueError(f"{y!r} is outside of [{low!r}, {high!r}]")
        if y in self.y:
            return self.x[self.y.index(y)]
        piece = next(n for n in range(len(self.y) - 1) if min(self.y[n : n + 2]) < y < max(self.y[n : n + 2]))
        before, after = self.x[piece], self.x[piece + 1]
        # it rises, or falls, all the way; halving ends where no float is between
        while before < (middle := before + (after - before) / 2) < after:
            near = (float(self.at(middle)) < y) == self.rises
            before, after = (middle, after) if near else (before, middle)
        return min(before, after, key=lambda x: abs(float(self.at(x)) - y))


def _pieces(x: Floats, y: Floats) -> Floats:
    """Return the cubic of each piece about its begin, highest power first. Shape: (4, N-1)."""
    wide = np.diff(x)
    secant = np.diff(y) / wide
    slope = _slopes(wide, secant)
    begin, end = slope[:-1], slope[1:]
    return np.stack([(begin + end - 2 * secant) / wide**2, (3 * secant - 2 * begin - end) / wide, begin, y[:-1]])


def _slopes(wide: Floats, secant: Floats) -> Floats:
    if len(secant) == 1:
        return np.repeat(secant, 2)
    slope = np.zeros(len(secant) + 1)
    before, after = 2 * wide[1:] + wide[:-1], wide[1:] + 2 * wide[:-1]
    same = np.sign(secant[:-1]) * np.sign(secant[1:]) > 0
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        mean = (before + after) / (before / secant[:-1] + after / secant[1:])
    slope[1:-1] = np.where(same, mean, 0.0)
    slope[0] = _end(wide[0], wide[1], secant[0], secant[1])
    slope[-1] = _end(wide[-1], wide[-2], secant[-1], secant[-2])
    return slope


def _end(wide: float, following: float, secant: float, beyond: float) -> float:
    """Return the slope at an end of the curve."""
    slope = ((2 * wide + following) * secant - wide * beyond) / (wide + following)
    if np.sign(slope) != np.sign(secant):
        return 0.0
    if np.sign(secant) != np.sign(beyond) and abs(slope) > 3 * abs(secant):
        return 3 * secant
    return float(slope)
