"""The compiled move: piecewise polynomials, each axis with its own pieces, stacked in one set.

Value, speed, acceleration and jerk are those of the polynomials themselves, so that what is checked is what is sent.
It refuses to judge: limits are the business of `peaks`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.extremes import shifted

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_BLOCK = 32_768  # instants that are sampled at once: as many as stay near the processor while they are worked on


class _Stretch(NamedTuple):
    """The stretch [`begin_s`, `until_s`) in which no axis changes piece, as one polynomial of all axes.

    Shape: `piece` and `ends_s`, where each piece ends, (A,); `both` (K, 2A), positions and beside them speeds, about
    `origin_s` and highest power first.
    """

    begin_s: float
    until_s: float
    origin_s: float
    piece: Ints
    ends_s: Floats
    both: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Search:
    """What finds the pieces of all axes at an instant with one search: each axis's begins, lifted beyond the last's.

    Shape: `lift_s` (A,); `lifted_s`, `begin_s`, `until_s` (P,). The first piece of an axis begins before all moves.
    `powers` (K,), those of the coefficients.
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
    _near: list[_Stretch] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        heads, tails = self.first[:-1], self.first[1:] - 1
        start_s, end_s = float(self.from_s[heads].min()), float(self.from_s[tails].max())
        begin_s, until_s = self.from_s.copy(), np.append(self.from_s[1:], np.inf)
        begin_s[heads], until_s[tails] = start_s - 1.0, np.inf
        lift_s = np.arange(len(self.axes), dtype=np.float64) * (end_s - start_s + 3.0)
        lifted_s = begin_s + np.repeat(lift_s, np.diff(self.first))
        powers = np.arange(len(self.coeffs) - 1, -1, -1.0)
        nowhere = _Stretch(np.inf, -np.inf, np.inf, heads, until_s[heads], np.empty(0))
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
        coeffs = self.coeffs
        for _ in range(order):
            coeffs = coeffs[:-1] * np.arange(len(coeffs) - 1, 0, -1)[:, None]
        rising = bool(np.all(t_s[1:] >= t_s[:-1]))
        order_in_time = np.arange(0) if rising else t_s.argsort()
        rising_s = t_s if rising else t_s[order_in_time]
        out = np.empty((len(self.axes), len(t_s)))
        for axis, values in enumerate(out):
            span = slice(self.first[axis], self.first[axis + 1])
            _evaluate(self.from_s[span], coeffs[:, span], rising_s, values)
        if not rising:
            out[:, order_in_time] = out.copy()
        return out.T

    def at(self, t_s: float) -> tuple[Floats, Floats]:
        """Return where all axes stand at one instant, and how fast they go: what a tick sends.

        Shape: position (A,), velocity (A,). Unit: seconds; each axis's own unit, and that a second.
        The last stretch asked for is kept, since the next tick mostly falls into it. A stretch is always made the same
        way, so that any order of calls gives the same numbers; they are those of `sample` to rounding.
        """
        near = self._near[0]
        if not near.begin_s <= t_s < near.until_s:
            near = self._near[0] = self._around(t_s, near)
        both = ((t_s - near.origin_s) ** self._search.powers).dot(near.both)
        return both[: len(self.axes)], both[len(self.axes) :]

    def _around(self, t_s: float, last: _Stretch) -> _Stretch:
        """Return what to read about `t_s`. Mostly each axis is in the piece where it was `last`, or in the next one."""
        piece = last.piece + (last.ends_s <= min(t_s, self.end_s))  # from an axis's last piece nothing leads on
        from_s, ends_s = self._search.begin_s.take(piece), self._search.until_s.take(piece)
        if not max(from_s.tolist()) <= t_s < min(ends_s.tolist()):
            piece = self._found(t_s)
            from_s, ends_s = self._search.begin_s.take(piece), self._search.until_s.take(piece)
        origin_s, until_s = max(from_s.tolist()), min(ends_s.tolist())
        begin_s = -np.inf if origin_s < self.start_s else origin_s
        both = np.zeros((len(self.coeffs), 2 * len(piece)))
        both[:, : len(piece)] = shifted(self.coeffs.take(piece, axis=1), origin_s - from_s)
        np.multiply(both[:-1, : len(piece)], self._search.powers[:-1, None], out=both[1:, len(piece) :])
        return _Stretch(begin_s, until_s, origin_s, piece, ends_s, both)

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
            raise ValueError(f"a pass cannot run at the speed {speed}; give one above zero")
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
            raise ValueError(f"nothing lies between {start_s} s and {end_s} s; the end must be later than the start")
        rests = self.sample(np.array([end_s]))[0]
        pieces = []
        for axis, rest in enumerate(rests):
            breaks_s, coeffs = self.of(axis)
            inside = np.flatnonzero((breaks_s[1:] > start_s) & (breaks_s[:-1] < end_s))
            kept_s = breaks_s[inside]
            cut = shifted(coeffs[:, inside], np.maximum(start_s - kept_s, 0.0))
            ends_s = breaks_s[inside[-1:] + 1] if len(inside) else np.array([start_s])
            pieces.append((np.clip(np.concatenate((kept_s, ends_s)), start_s, end_s), cut, float(rest)))
        return self.joined(self.axes, pieces, self.fit_error)


def _evaluate(from_s: Floats, coeffs: Floats, t_s: Floats, out: Floats) -> None:
    """Write into `out` the values of one axis at rising instants, what is no number being the last.

    Shape: `from_s` (S,), `coeffs` (K, S), `t_s` and `out` (T,). Horner's rule over many instants at once, each piece's
    coefficients repeated for all that fall into it.
    """
    edges = np.concatenate(([0], t_s.searchsorted(from_s[1:]), [len(t_s)]))
    for begin in range(0, len(t_s), _BLOCK):
        counts = np.diff(edges.clip(begin, begin + _BLOCK))
        met = np.flatnonzero(counts)
        counts, rows = counts[met], coeffs[:, met]
        values, since_s = out[begin : begin + _BLOCK], t_s[begin : begin + _BLOCK] - from_s[met].repeat(counts)
        with np.errstate(invalid="ignore"):
            np.subtract(since_s, since_s, out=values)  # zero, or no number where the instant is none or is infinite
        for row in rows[np.maximum.accumulate(rows.any(axis=1))]:  # without the powers that no piece here has
            values *= since_s
            values += row.repeat(counts)
