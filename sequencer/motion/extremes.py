"""Where polynomial pieces are largest and smallest, and where what they join jumps: exact, by their own roots.

It refuses to know what a piece belongs to, and which of its numbers is too much.
"""

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# of a piece's length: a last step this short leaves an error of about its square
_NEAR = 1e-9
_STEPS = 60
_ROUNDING = 1e-14


@dataclass(frozen=True, slots=True, eq=False)
class Extremes:
    """What N stretches of curve ask for; a stretch is some pieces in a row.

    Shape: `peak` (3, N), the largest speed, acceleration and jerk either way, and `peak_at`, when each is first there;
    `low`, `low_at`, `high`, `high_at` (N,), how far it goes; `begin`, `end` (3, N), position, speed and acceleration at
    both ends; `step` (3, N), how far these jump at most between two of its pieces, and `step_at`, where.
    Unit: of the pieces. A jump makes the derivatives above it infinite; here they are those of the pieces alone.
    """

    peak: Floats
    peak_at: Floats
    low: Floats
    low_at: Floats
    high: Floats
    high_at: Floats
    begin: Floats
    end: Floats
    step: Floats
    step_at: Floats

    @classmethod
    def of(cls, from_s: Floats, lasts_s: Floats, coeffs: Floats, first: Ints, joined: Bools | None = None) -> Self:
        """Return the extremes of N stretches, of which number `n` is the pieces `first[n]` up to `first[n + 1]`.

        A piece of no length must be constant. `joined` says which pieces begin where the one before them in their
        stretch ends; all, if it is left out.
        Shape: `from_s`, `lasts_s` (P,); `coeffs` (K, P), local power basis, highest power first; `first` (N+1,);
        `joined` (P,). Error: exact but for rounding.
        """
        scale_s = np.where(lasts_s > 0, lasts_s, 1.0)
        shape = (4, len(from_s))
        high, high_at, sunk, sunk_at, begins, ends = (np.empty(shape) for _ in range(6))
        column = np.arange(len(from_s))
        for order, (grid, values) in enumerate(turning(coeffs * lasts_s ** _powers(coeffs))):
            factor = scale_s**-order
            for way, value, at in ((values, high, high_at), (-values, sunk, sunk_at)):
                row = way.argmax(axis=0)
                value[order] = way[row, column] * factor
                at[order] = grid[row, column] * lasts_s + from_s
            begins[order], ends[order] = values[0] * factor, values[-1] * factor
        top, top_at = _largest(high, high_at, first)
        bottom, bottom_at = _largest(sunk, sunk_at, first)
        begins, ends = begins[:3], ends[:3]
        inside = np.ones(len(from_s), np.bool_) if joined is None else joined.copy()
        inside[first[:-1]] = False
        step = np.where(inside, np.abs(begins - np.roll(ends, 1, axis=1)), 0.0)
        return cls(
            np.maximum(top, bottom)[1:] + 0.0,  # which makes -0.0 zero
            np.where(top >= bottom, top_at, bottom_at)[1:],
            0.0 - bottom[0],
            bottom_at[0],
            top[0],
            top_at[0],
            begins[:, first[:-1]],
            ends[:, first[1:] - 1],
            *_largest(step, np.broadcast_to(from_s, step.shape), first),
        )


def shifted(coeffs: Floats, by: Floats) -> Floats:
    """Return the same polynomials about points that lie `by` later. Shape: (K, N), (N,), (K, N).

    Source: textbook (Horner's rule, with a polynomial in the place of the number).
    """
    moved = coeffs.copy()
    for size in range(1, len(moved)):
        moved[1 : size + 1] += moved[:size] * by
    return moved


def zeros(coeffs: Floats) -> Floats:
    """Return, in order, where polynomials over u in [0, 1] pass through zero, among other places of theirs in [0, 1).

    Shape: (K, P), result (K-1, P).
    """
    return _zeros(coeffs, *turning(coeffs, orders=1)[0])


def _largest(values: Floats, at: Floats, first: Ints) -> tuple[Floats, Floats]:
    """Return the largest of each stretch, and when it is first there. Shape: (R, P), (R, P), twice (R, N)."""
    top = np.maximum.reduceat(values, first[:-1], axis=1)
    there = values == np.repeat(top, np.diff(first), axis=1)
    place = np.where(there, np.arange(values.shape[1]), values.shape[1])
    return top, np.take_along_axis(at, np.minimum.reduceat(place, first[:-1], axis=1), axis=1)


def turning(coeffs: Floats, orders: int = 4) -> list[tuple[Floats, Floats]]:
    """Return, for each derivative below `orders`, the ends of u in [0, 1] and where it turns, and its values there.

    Shape: (K, P); instants and values (N, P), the ends in the first and the last row.
    """
    derivatives = [coeffs]
    while len(derivatives[-1]) > 1 or len(derivatives) < orders:
        derivatives.append(_derived(derivatives[-1]))
    ends = np.array([[0.0], [1.0]]).repeat(coeffs.shape[1], axis=1)
    turns = ends[:0]
    found: list[tuple[Floats, Floats]] = []
    for derivative in reversed(derivatives):
        # where this derivative turns: between two of these instants it has one zero at most
        grid = np.concatenate((ends[:1], turns, ends[1:]))
        values = _valued(derivative, grid)
        found.append((grid, values))
        if len(found) < len(derivatives):
            turns = _zeros(derivative, grid, values)
    return found[: -orders - 1 : -1]


def _powers(coeffs: Floats) -> Floats:
    powers: Floats = np.arange(len(coeffs) - 1, -1, -1.0)[:, None]
    return powers


def _derived(coeffs: Floats) -> Floats:
    """Return the derivative of each polynomial. Shape: (K, P), result (K-1, P), or (1, P) for constants."""
    return coeffs[:-1] * _powers(coeffs)[:-1] if len(coeffs) > 1 else np.zeros_like(coeffs)


def _valued(coeffs: Floats, u: Floats) -> Floats:
    """Return each polynomial at each of its instants. Shape: (K, P), (N, P), result (N, P)."""
    value = np.zeros_like(u)
    for row in coeffs:
        value *= u
        value += row
    return value


def _zeros(coeffs: Floats, grid: Floats, values: Floats) -> Floats:
    """Return the zero in each stretch of the grid in which the polynomial changes sign, elsewhere the stretch's begin.

    Shape: (K, P), (N, P), (N, P), result (N-1, P), or (0, P) for constants.
    Source: textbook (Newton's method kept inside a bracket that bisection halves).
    """
    if len(coeffs) == 1:
        return grid[:0]
    places = grid[:-1].copy()
    # what rounding leaves of a zero at an end has a sign too, and is none
    sign = np.sign(values) * (np.abs(values) > _ROUNDING * np.abs(coeffs).sum(axis=0))
    stretch, piece = np.nonzero(sign[:-1] * sign[1:] < 0)
    low, high = grid[stretch, piece], grid[stretch + 1, piece]
    rising = values[stretch, piece] < 0
    own = coeffs[:, piece]
    slope = _derived(own)
    u = low + (high - low) * values[stretch, piece] / (values[stretch, piece] - values[stretch + 1, piece])
    for _ in range(_STEPS):
        value = _valued(own, u)
        before = (value < 0) == rising
        low, high = np.where(before, u, low), np.where(before, high, u)
        with np.errstate(divide="ignore", invalid="ignore"):
            step = u - value / _valued(slope, u)
        # at the zero, rounding may lead out of the bracket: who is there stays
        step = np.where(np.abs(step - u) < _NEAR, u, step)
        following = np.where((step >= low) & (step <= high), step, (low + high) / 2)
        moved = np.abs(following - u).max(initial=0)
        u = following
        if moved < _NEAR:
            break
    places[stretch, piece] = u
    return places
