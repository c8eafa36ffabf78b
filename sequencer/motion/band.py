"""A smooth run that passes all its keys free, as a spline fitted to samples, within limits where it must be.

Such a run, which rests at both ends, is the spline of fifth degree with simple knots at its keys. So where the keys
stand decides how near it can come, and their values come from a linear fit. It refuses to say what lies between the
samples, and what the compiled run does: whoever makes keys of it measures that there.
Source: de Boor, A Practical Guide to Splines (B-splines and their derivatives, least squares by the normal equations;
a spline lies in the hull of its coefficients).
"""

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.program import Unsolved, solve

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_DEGREE = 5
_ORDER = _DEGREE + 1
# a key that is there already weighs as much as that many samples: what is left is far below any tolerance
_WEIGHT = 1e8
# of the largest entry of the normal equations, so that a leg with hardly a sample has an answer
_RIDGE = 1e-12
# where the jerk of a leg is looked at, and how much each place counts: exact for its square (Gauss & Legendre)
_GAUSS, _GAUSS_WEIGHTS = np.polynomial.legendre.leggauss(3)
# of what jerk costs: enough to make one of all ways the best
_LOOSE = 1e-6
# of the limits: what rounding keys may add
_KEPT = 0.995
# how near to the edge of the band samples are held in it, in turn: in parts of the room
_LOOKED = (0.7, 0.3, 0.0)


class _Rows(NamedTuple):
    """Sums over coefficients in a row, of which each has a weight. Shape: (R, W), the first coefficient (R,)."""

    row: Floats
    first: Ints

    def at(self, coeffs: Floats) -> Floats:
        """Return the sums. Shape: (R,)."""
        values: Floats = (self.row * coeffs[self.first[:, None] + np.arange(self.row.shape[1])]).sum(axis=1)
        return values


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Band:
    """A path of N samples, how near the run must stay to it, and G instants where a key may stand.

    `calm` is what a second of jerk, squared, costs beside a sample that is off by all its room. `limits` are those of
    speed, acceleration and jerk. These count between the instants `held_s` only, and jerk costs next to nothing
    elsewhere: what leads there and away is as it must be.
    Shape: `t_s`, `path`, `room` (N,), `t_s` rising within the first and last instant; `at_s` (G,), rising; `known`
    (G,), the value that a key has there, NaN where that is open; `must` (G,), where a key stands in any case, `may`,
    where one may. The run rests at the first and the last instant, which are known. `room` is above zero.
    """

    t_s: Floats
    path: Floats
    room: Floats
    calm: float
    limits: tuple[float, float, float]
    held_s: tuple[float, float]
    at_s: Floats
    known: Floats
    must: Bools
    may: Bools
    _anchors: Ints = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_anchors", np.flatnonzero(np.isfinite(self.known))[1:-1])

    def fitted(self, kept: Bools, limited: bool = False) -> "Fitted":
        """Return the run through the kept keys that is nearest to the path; where that can be, one within limits.

        Shape: `kept` (G,), its ends and all that are known among them.
        """
        keys_s = self.at_s[kept]
        knots = np.concatenate((np.repeat(keys_s[0], _DEGREE), keys_s, np.repeat(keys_s[-1], _DEGREE)))
        coeffs = np.zeros(len(knots) - _ORDER)
        # at rest at both ends: the three coefficients there are the values there
        coeffs[:3], coeffs[-3:] = self.known[0], self.known[-1]
        samples = _basis(self.t_s, knots, _DEGREE)
        bounded, leg = self._bounded(knots, keys_s)
        if len(coeffs) > _ORDER:
            sums, right = self._normal(knots, keys_s, samples, coeffs)
            coeffs[3:-3] = _nearest(sums, right)
            if limited and np.abs(bounded.at(coeffs)).max(initial=0.0) > _KEPT:
                coeffs = self._kept(_Program(sums, right, coeffs), samples, bounded)
        values = _basis(keys_s, knots, _DEGREE).at(coeffs)
        known = self.known[kept]
        asks = np.zeros(len(keys_s) - 1)
        np.maximum.at(asks, leg, np.abs(bounded.at(coeffs)))
        return Fitted(
            values=np.where(np.isfinite(known), known, values),
            off=(samples.at(coeffs) - self.path) / self.room,
            asks=asks,
        )

    def leg(self, kept: Bools) -> Ints:
        """Return the leg in which each sample falls. Shape: (N,)."""
        found = np.searchsorted(self.at_s[kept], self.t_s, "right") - 1
        return np.asarray(found.clip(0, int(kept.sum()) - 2), np.int64)

    def _held(self, keys_s: Floats) -> Bools:
        """Return which legs are held to the limits. Shape: (K,) to (K-1,)."""
        return np.asarray((keys_s[:-1] >= self.held_s[0]) & (keys_s[1:] <= self.held_s[1]))

    def _bounded(self, knots: Floats, keys_s: Floats) -> tuple[_Rows, Ints]:
        """Return rows that lie within -1 and 1 where the limits are kept, and the leg in the middle of each.

        They are the hulls of the three derivatives, as far as they are of nothing but legs that are held.
        """
        rows, first, legs = [], [], []
        count, free = len(knots) - _ORDER, np.append(0, np.cumsum(~self._held(keys_s)))
        for order, (sums, limit) in enumerate(zip(_derivatives(knots), self.limits, strict=True), 1):
            number = np.arange(len(sums))
            felt = np.stack((number - (_DEGREE - order), number + 1)).clip(0, len(keys_s) - 1)
            own = np.flatnonzero(free[felt[0]] == free[felt[1]])
            # a row of less than four that begins near the end is shifted back into the run
            beyond = np.maximum(own + 4 - count, 0)
            padded = np.pad(sums[own], ((0, 0), (0, 4 - sums.shape[1]))) / limit
            for shift in range(1, 3):
                padded[beyond == shift] = np.roll(padded[beyond == shift], shift, axis=1)
            rows.append(padded)
            first.append(own - beyond)
            legs.append((own - (_DEGREE - order) // 2).clip(0, len(keys_s) - 2))
        return _Rows(np.concatenate(rows), np.concatenate(first)), np.concatenate(legs)

    def _kept(self, program: "_Program", samples: _Rows, bounded: _Rows) -> Floats:
        """Return the coefficients nearest to the path within limits, in the band too if that can be; else as they are.

        Error: none; whether it could be is for whoever looks.
        """
        rows = _Sides(bounded, np.full(len(bounded.first), -_KEPT), np.full(len(bounded.first), _KEPT))
        coeffs = program.within([rows])
        # most samples are nowhere near the edge of the band; those that come there are taken in
        near = np.zeros(len(self.t_s), np.bool_)
        for share in _LOOKED:
            off = np.abs(samples.at(coeffs) - self.path) / self.room
            if off.max() <= 1:
                break
            near |= off > share
            edge = _Rows(samples.row[near], samples.first[near])
            room = self.room[near] * _KEPT
            held = program.within([rows, _Sides(edge, self.path[near] - room, self.path[near] + room, self.room[near])])
            if held is program.coeffs:
                break
            coeffs = held
        return coeffs

    def _normal(self, knots: Floats, keys_s: Floats, samples: _Rows, coeffs: Floats) -> tuple[Floats, Floats]:
        """Return the normal equations of the fit: the matrix's lower diagonals (6, M), and the right side (M,)."""
        heavy = self.room**-2
        anchors = _basis(self.at_s[self._anchors], knots, _DEGREE)
        jerk, jerk_weight = _jerk(knots, keys_s, np.where(self._held(keys_s), self.calm, self.calm * _LOOSE))
        parts = (
            (samples, self.path, heavy),
            (anchors, self.known[self._anchors], np.full(len(self._anchors), _WEIGHT * heavy.max(initial=1.0))),
            (jerk, np.zeros(len(jerk_weight)), jerk_weight),
        )
        sums, right = np.zeros((_ORDER, len(coeffs))), np.zeros(len(coeffs))
        for rows, wanted, weight in parts:
            left = (wanted - rows.at(coeffs)) * weight
            for one in range(_ORDER):
                right += np.bincount(rows.first + one, rows.row[:, one] * left, minlength=len(coeffs))
                for off in range(_ORDER - one):
                    product = rows.row[:, one] * rows.row[:, one + off] * weight
                    sums[off] += np.bincount(rows.first + one, product, minlength=len(coeffs))
        sums[0] += _RIDGE * sums[0, 3:-3].max()
        return sums[:, 3:-3], right[3:-3]


@dataclass(frozen=True, slots=True, eq=False)
class Fitted:
    """A run through K keys: their values, how far off it is, and what it asks for at most.

    Shape: `values` (K,); `off` (N,), at each sample, in parts of its room; `asks` (K-1,), in parts of the limits, what
    bounds the run's derivatives, each bound at the leg in the middle of where it holds.
    """

    values: Floats
    off: Floats
    asks: Floats


def _basis(at_s: Floats, knots: Floats, degree: int) -> _Rows:
    """Return the rows that make values of coefficients. Shape: `at_s` (R,)."""
    from scipy.interpolate import BSpline  # half a second of a start, which most never need

    if not len(at_s):
        return _Rows(np.empty((0, degree + 1)), np.empty(0, np.int64))
    rows = BSpline.design_matrix(at_s, knots, degree)
    return _Rows(
        np.asarray(rows.data, np.float64).reshape(-1, degree + 1),
        np.asarray(rows.indices, np.int64).reshape(-1, degree + 1)[:, 0],
    )


def _derivatives(knots: Floats) -> list[Floats]:
    """Return the coefficients of the first three derivatives as sums over those of the run: (M-1, 2), … (M-3, 4)."""
    sums, degree, found = np.ones((len(knots) - _ORDER, 1)), _DEGREE, []
    for _ in range(3):
        factor = degree / (knots[degree + 1 : -1] - knots[1 : -degree - 1])
        risen = np.zeros((len(sums) - 1, sums.shape[1] + 1))
        risen[:, :-1] -= sums[:-1] * factor[:, None]
        risen[:, 1:] += sums[1:] * factor[:, None]
        sums, knots, degree = risen, knots[1:-1], degree - 1
        found.append(sums)
    return found


def _jerk(knots: Floats, keys_s: Floats, calm: Floats) -> tuple[_Rows, Floats]:
    """Return rows, and weights, of which the weighted squares add up to what jerk costs. Shape: `calm` (K-1,)."""
    lasts_s = np.diff(keys_s)
    at_s = (keys_s[:-1, None] + lasts_s[:, None] * (_GAUSS + 1) / 2).ravel()
    basis, sums = _basis(at_s, knots[3:-3], _DEGREE - 3), _derivatives(knots)[2]
    row = np.zeros((len(at_s), _ORDER))
    for one in range(3):
        row[:, one : one + 4] += basis.row[:, one, None] * sums[basis.first + one]
    return _Rows(row, basis.first), (lasts_s[:, None] * _GAUSS_WEIGHTS / 2 * calm[:, None]).ravel()


def _nearest(sums: Floats, right: Floats) -> Floats:
    from scipy.linalg import solveh_banded

    return np.asarray(solveh_banded(sums, right, lower=True), np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class _Sides:
    """Rows and between what they are to be. Shape: `low`, `high` (R,), `size` (R,), what they are measured by."""

    rows: _Rows
    low: Floats
    high: Floats
    size: Floats | float = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class _Program:
    """A fit whose coefficients are to keep bounds. Shape: as `Band._normal` has it; `coeffs` (M+6,), without bounds."""

    sums: Floats
    right: Floats
    coeffs: Floats

    def within(self, sides: list[_Sides]) -> Floats:
        """Return the coefficients nearest to the path that keep the bounds; `coeffs` itself where none are found."""
        from scipy import sparse

        free, size = len(self.right), float(self.sums[0].max())
        diagonals = [each[: free - off] / size for off, each in enumerate(self.sums) if off < free]
        lower = sparse.diags(diagonals, [-off for off in range(len(diagonals))], shape=(free, free), format="csc")
        cost = sparse.csc_matrix(lower + sparse.tril(lower, -1).T)
        ends = self.coeffs.copy()
        ends[3:-3] = 0.0
        matrices, lows, highs = [], [], []
        for side in sides:
            column = side.rows.first[:, None] + np.arange(side.rows.row.shape[1]) - 3
            inside = (column >= 0) & (column < free) & (side.rows.row != 0)
            used = np.flatnonzero(inside.any(axis=1))
            number = np.broadcast_to(np.arange(len(column))[:, None], column.shape)
            scaled = side.rows.row / np.reshape(side.size, (-1, 1))
            own = sparse.csc_matrix((scaled[inside], (number[inside], column[inside])), shape=(len(column), free))
            fixed = side.rows.at(ends)
            matrices.append(own[used])
            lows.append(((side.low - fixed) / side.size)[used])
            highs.append(((side.high - fixed) / side.size)[used])
        rows, between = sparse.csc_matrix(sparse.vstack(matrices)), (np.concatenate(lows), np.concatenate(highs))
        found = self.coeffs.copy()
        try:
            found[3:-3] = solve(cost, -self.right / size, rows, between, roughly=True)
        except Unsolved:
            return self.coeffs
        return found
