"""The compiled move: piecewise polynomials, each axis with its own pieces, stacked in one set.

Value, speed, acceleration and jerk are those of the polynomials themselves, so that what is checked is what is sent.
It refuses to judge: limits are the business of `peaks`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Self

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PPoly
from scipy.special import comb

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# What a tick reads: the stretch [begin, until) in which no axis changes piece; the pieces, when they begin and when
# they end; the coefficients of the axes' positions and, beside them, of their speeds, highest power first.
# Shape: two numbers; (A,), (2A,), (A,); K times (2A,).
_Near = tuple[float, float, Ints, Floats, Floats, tuple[Floats, ...]]


@dataclass(frozen=True, slots=True, eq=False)
class _Search:
    """What finds the pieces of all axes at an instant with one search: each axis's begins, lifted beyond the last's.

    Shape: `lift_s` (A,); `lifted_s`, `begin_s`, `until_s` (P,). The first piece of an axis begins before all moves.
    `powers` (K-1, 1), what differentiating multiplies a coefficient by.
    """

    lift_s: Floats
    lifted_s: Floats
    begin_s: Floats
    until_s: Floats
    powers: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Trajectory:
    """Positions of A axes as P pieces; the pieces of axis `a` are `first[a]` up to `first[a + 1]`.

    Shape: `first` (A+1,); `from_s` (P,), where a piece begins, rising within an axis; `coeffs` (K, P), local power
    basis about `from_s`, highest power first, the layout of scipy.interpolate.PPoly; `fit_error` (A,).
    From `start_s` the first axis may move, from `end_s` every axis holds.
    Unit: seconds from the project's start; each axis's own unit.
    The first and the last piece of every axis are constant and have no end: there the axis holds. At an instant where
    two pieces meet, the later one counts. `fit_error` says how far the pieces stray from laws that are no polynomials.

    Pieces are not cut at the other axes' instants: sixteen axes would then cost sixteen times as many.
    """

    axes: tuple[str, ...]
    first: Ints
    from_s: Floats
    coeffs: Floats
    fit_error: Floats
    start_s: float = field(init=False)
    end_s: float = field(init=False)
    _search: _Search = field(init=False, repr=False)
    _near: list[_Near] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        heads, tails = self.first[:-1], self.first[1:] - 1
        start_s, end_s = float(self.from_s[heads].min()), float(self.from_s[tails].max())
        begin_s, until_s = self.from_s.copy(), np.append(self.from_s[1:], np.inf)
        begin_s[heads], until_s[tails] = start_s - 1.0, np.inf
        lift_s = np.arange(len(self.axes), dtype=np.float64) * (end_s - start_s + 3.0)
        lifted_s = begin_s + np.repeat(lift_s, np.diff(self.first))
        powers = np.arange(len(self.coeffs) - 1, 0, -1.0)[:, None]
        nowhere = (np.inf, -np.inf, heads, begin_s[heads], until_s[heads], ())
        object.__setattr__(self, "start_s", start_s)
        object.__setattr__(self, "end_s", end_s)
        object.__setattr__(self, "_search", _Search(lift_s, lifted_s, begin_s, until_s, powers))
        object.__setattr__(self, "_near", [nowhere])

    @classmethod
    def joined(cls, axes: tuple[str, ...], pieces: Sequence[tuple[Floats, Floats, float]], fit_error: Floats) -> Self:
        """Put together one (`breaks_s`, `coeffs`, `rest`) for each axis, and let it hold before and after.

        Shape: `breaks_s` (S+1,), `coeffs` (K, S) in PPoly's layout, S from 0; `rest` is the value held after.
        """
        degree = max(coeffs.shape[0] for _, coeffs, _ in pieces)
        from_s, stacked = [], []
        for breaks_s, coeffs, rest in pieces:
            own = np.zeros((degree, coeffs.shape[1] + 2))
            own[degree - coeffs.shape[0] :, 1:-1] = coeffs
            own[-1, 0] = coeffs[-1, 0] if coeffs.shape[1] else rest
            own[-1, -1] = rest
            from_s.append(np.concatenate((breaks_s[:1], breaks_s)))
            stacked.append(own)
        first = np.cumsum([0, *(len(each) for each in from_s)])
        return cls(axes, first, np.concatenate(from_s), np.concatenate(stacked, axis=1), fit_error)

    @classmethod
    def still(cls, axes: tuple[str, ...], position: Floats, at_s: float = 0.0) -> Self:
        """Return the trajectory that stands at `position` (A,) for ever."""
        held = [(np.array([at_s]), np.empty((1, 0)), float(value)) for value in position]
        return cls.joined(axes, held, np.zeros(len(axes)))

    def of(self, axis: int) -> tuple[Floats, Floats]:
        """Return one axis's moving pieces as PPoly has them. Shape: breaks (S+1,), coeffs (K, S)."""
        span = slice(self.first[axis], self.first[axis + 1])
        return self.from_s[span][1:], self.coeffs[:, span][:, 1:-1]

    def sample(self, t_s: Floats, order: int = 0) -> Floats:
        """Return positions, or their derivative of `order` (1 speed, 2 acceleration, 3 jerk), at the instants `t_s`.

        Shape: `t_s` (T,), result (T, A). Unit: seconds; the axis's unit, a second to the power of `order`.
        """
        out = np.empty((len(t_s), len(self.axes)))
        for axis in range(len(self.axes)):
            span = slice(self.first[axis], self.first[axis + 1])
            # the two outer pieces are constant, so that any instant beyond the breaks may stand for their ends
            breaks_s = np.concatenate((self.from_s[span], [np.inf]))
            out[:, axis] = PPoly.construct_fast(self.coeffs[:, span], breaks_s)(t_s, order)
        return out

    def at(self, t_s: float) -> tuple[Floats, Floats]:
        """Return where all axes stand at one instant, and how fast they go: what a tick sends.

        Shape: position (A,), velocity (A,). Unit: seconds; each axis's own unit, and that a second.
        The pieces of the last stretch asked for are kept, since the next tick mostly falls into it; any other order of
        calls gives the same numbers.
        """
        begin_s, until_s, _, from_s, _, rows = self._near[0]
        if not begin_s <= t_s < until_s:
            _, _, _, from_s, _, rows = self._near[0] = self._around(t_s, self._near[0])
        since_s = t_s - from_s
        # Horner's rule, in place
        both = rows[0].copy()
        for row in rows[1:]:
            both *= since_s
            both += row
        return both[: len(self.axes)], both[len(self.axes) :]

    def _around(self, t_s: float, last: _Near) -> _Near:
        """Return what to read about `t_s`. Mostly each axis is in the piece where it was `last`, or in the next one."""
        _, _, piece, _, ends_s, _ = last
        piece = piece + (ends_s <= min(t_s, self.end_s))  # from an axis's last piece nothing leads on
        begin_s, until_s, from_s, ends_s = self._stretch(piece)
        if not begin_s <= t_s < until_s:
            piece = self._found(t_s)
            begin_s, until_s, from_s, ends_s = self._stretch(piece)
        coeffs = self.coeffs.take(piece, axis=1)
        both = np.zeros((len(coeffs), 2 * len(piece)))
        both[:, : len(piece)] = coeffs
        np.multiply(coeffs[:-1], self._search.powers, out=both[1:, len(piece) :])
        return begin_s, until_s, piece, np.concatenate((from_s, from_s)), ends_s, tuple(both)

    def _stretch(self, piece: Ints) -> tuple[float, float, Floats, Floats]:
        """Return from when until when all axes are in these pieces, and when each piece begins and ends."""
        from_s, ends_s = self._search.begin_s.take(piece), self._search.until_s.take(piece)
        begin_s = max(from_s.tolist())
        return -np.inf if begin_s < self.start_s else begin_s, min(ends_s.tolist()), from_s, ends_s

    def _found(self, t_s: float) -> Ints:
        """Return the piece in which each axis is at `t_s`. Shape: (A,)."""
        search = self._search
        # in this order, what is no number finds the first pieces, and every axis still its own
        inside_s = min(self.end_s + 1.0, max(self.start_s - 1.0, t_s))
        piece = search.lifted_s.searchsorted(search.lift_s + inside_s, "right") - 1
        # lifting rounds: a piece that begins a hair later may have been taken
        while (early := search.begin_s.take(piece) > inside_s).any():
            piece = piece - early
        return piece

    def stretched(self, speed: Fraction | float, about_s: float) -> Self:
        """Return the same path run at `speed`, the instant `about_s` staying where it is: what a pass runs.

        Error: ValueError for a speed that is not above zero.
        """
        factor = float(speed)
        if not 0 < factor < np.inf:
            raise ValueError(f"a pass runs at a speed above zero, not at {speed}")
        if factor == 1:
            return self
        powers = np.arange(len(self.coeffs) - 1, -1, -1)
        from_s = about_s + (self.from_s - about_s) / factor
        return type(self)(self.axes, self.first, from_s, self.coeffs * factor ** powers[:, None], self.fit_error)

    def between(self, start_s: float, end_s: float) -> Self:
        """Return the part from `start_s` to `end_s`; before and after it every axis holds.

        Error: ValueError where it would have no length.
        """
        if not start_s < end_s:
            raise ValueError(f"nothing lies between {start_s} s and {end_s} s")
        rests = self.sample(np.array([end_s]))[0]
        pieces = []
        for axis, rest in enumerate(rests):
            breaks_s, coeffs = self.of(axis)
            inside = np.flatnonzero((breaks_s[1:] > start_s) & (breaks_s[:-1] < end_s))
            kept_s = breaks_s[inside]
            cut = _shifted(coeffs[:, inside], np.maximum(start_s - kept_s, 0.0))
            ends_s = breaks_s[inside[-1:] + 1] if len(inside) else np.array([start_s])
            pieces.append((np.clip(np.concatenate((kept_s, ends_s)), start_s, end_s), cut, float(rest)))
        return self.joined(self.axes, pieces, self.fit_error)


def _shifted(coeffs: Floats, by: Floats) -> Floats:
    """Return the same polynomials about points that lie `by` later (binomial theorem). Shape: (K, N), (N,), (K, N)."""
    power = np.arange(len(coeffs) - 1, -1, -1)
    table = comb(power, power[:, None]) * by[:, None, None] ** np.maximum(power - power[:, None], 0)
    moved: Floats = (table @ coeffs.T[:, :, None])[:, :, 0].T
    return moved
