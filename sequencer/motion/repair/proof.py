"""Proofs that no motion at all keeps a set of keys within an axis's limits, and their check by exact arithmetic.

It refuses to solve anything: whoever finds multipliers, by whatever means, is believed only as far as `recheck` goes.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import factorial

import numpy as np
from numpy.typing import NDArray

from sequencer.rig.axis import Axis

Floats = NDArray[np.float64]

_ZERO = Fraction(0)

_Kernel = tuple[Fraction, Fraction, Fraction]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """Keys of one axis that a motion should keep: at `at` (exact seconds) it should stand at `values`.

    `rest` says whether it begins, and ends, at rest at the first and the last of them; otherwise it may pass there as
    it likes within the limits. `fixed` are the keys whose values nothing may change.
    Unit: the axis's own, that a second, a second squared, a second cubed; without ends of travel, `travel` is None.
    """

    at: tuple[Fraction, ...]
    values: tuple[float, ...]
    rest: tuple[bool, bool]
    fixed: tuple[bool, ...]
    speed: float
    acceleration: float
    jerk: float
    travel: tuple[float, float] | None

    def bounds(self, margin: float = 0.0) -> tuple[Floats, Floats]:
        """Return the limits by order of the derivative, but for travel `margin` of them inside. Shape: twice (4,)."""
        low, high = (-np.inf, np.inf) if self.travel is None else self.travel
        rates = np.array([self.speed, self.acceleration, self.jerk]) * (1 - margin)
        return np.append(low, -rates), np.append(high, rates)

    def only(self, keys: Sequence[int]) -> "Wanted":
        """Return what some of these keys want alone; it is wanted of every motion that keeps them all."""
        return Wanted(
            at=tuple(self.at[key] for key in keys),
            values=tuple(self.values[key] for key in keys),
            rest=(self.rest[0] and keys[0] == 0, self.rest[1] and keys[-1] == len(self.at) - 1),
            fixed=tuple(self.fixed[key] for key in keys),
            speed=self.speed,
            acceleration=self.acceleration,
            jerk=self.jerk,
            travel=self.travel,
        )


def wanted(
    axis: Axis, at: Sequence[Fraction], values: Sequence[float], rest: tuple[bool, bool], fixed: Sequence[bool]
) -> Wanted:
    """Return what keys at `at` (seconds) want of `axis`."""
    return Wanted(
        at=tuple(at),
        values=tuple(values),
        rest=rest,
        fixed=tuple(fixed),
        speed=axis.speed,
        acceleration=axis.acceleration,
        jerk=axis.jerk,
        travel=axis.travel,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Glance:
    """A few keys in a row that no motion can keep: whatever it does, it somewhere asks `asked` where `limit` is all.

    `order` is of the derivative: 0 for travel, 1 for speed, 2 for acceleration, 3 for jerk.
    """

    first: int
    last: int
    order: int
    asked: Fraction
    limit: float


def glances(wanted: Wanted) -> list[Glance]:
    """Return what one, two, three or four keys in a row already rule out, the worst of each order at each key.

    Error: exact.
    Source: textbook (a divided difference of order k is a mean of the kth derivative over k!, also where instants
    repeat, as at an end at rest).
    """
    found = []
    if wanted.travel is not None:
        for key, value in enumerate(wanted.values):
            low, high = wanted.travel
            if not low <= value <= high:
                found.append(
                    Glance(first=key, last=key, order=0, asked=Fraction(value), limit=min(high, max(low, value)))
                )
    count = len(wanted.at)
    place = [0, 0] * wanted.rest[0] + list(range(count)) + [count - 1, count - 1] * wanted.rest[1]
    differences = [Fraction(wanted.values[key]) for key in place]
    for order, limit in enumerate((wanted.speed, wanted.acceleration, wanted.jerk), 1):
        rising = []
        for number, (before, after) in enumerate(pairwise(differences)):
            first, last = place[number], place[number + order]
            width = wanted.at[last] - wanted.at[first]
            # two or three times the same instant stand for a speed and an acceleration of nothing
            rising.append((after - before) / width if last > first else _ZERO)
            asked = abs(rising[-1]) * factorial(order)
            if asked > Fraction(limit):
                found.append(Glance(first=first, last=last, order=order, asked=asked, limit=limit))
        differences = rising
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """Multipliers that prove it: `keys` weighs the keys, the others weigh the limits against them.

    Each leg is cut into `pieces` equal pieces, with a node at every end. `travel` weighs the position at each node;
    `speed` the speed all along each piece; `acceleration` the acceleration along it, growing evenly from the first
    number at its begin to the second at its end; `end` the acceleration and the speed at the last key.
    """

    pieces: tuple[int, ...]
    keys: tuple[float, ...]
    travel: tuple[float, ...]
    speed: tuple[float, ...]
    acceleration: tuple[tuple[float, float], ...]
    end: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """By how much the weighted keys exceed all that any motion reaches; above zero, no motion keeps them.

    `keys` are the weights that the arithmetic used, exactly.
    """

    by: Fraction
    keys: tuple[Fraction, ...]

    @property
    def proven(self) -> bool:
        return self.by > 0

    def least_total(self, fixed: Sequence[bool]) -> Fraction | None:
        """Return what the moves of the values of keys that are not `fixed` add up to at least; None: they cannot."""
        return self._least(max(self._free(fixed)))

    def least_largest(self, fixed: Sequence[bool]) -> Fraction | None:
        """Return how far some key that is not `fixed` must move in value at least; None: no such move suffices."""
        return self._least(sum(self._free(fixed), _ZERO))

    def _least(self, weight: Fraction) -> Fraction | None:
        if not self.proven:
            return _ZERO
        return self.by / weight if weight else None

    def _free(self, fixed: Sequence[bool]) -> list[Fraction]:
        return [abs(weight) for weight, still in zip(self.keys, fixed, strict=True) if not still] or [_ZERO]


def recheck(wanted: Wanted, proof: Proof) -> Verdict:
    """Check a proof. Multipliers that prove nothing give `by` of zero or less, whatever they are.

    For any motion p with a jerk, Taylor's formula backward from the last key turns the weighted sum of positions, less
    what the other multipliers weigh, into the integral of its jerk against a kernel that is quadratic on every piece,
    and what is left of the kernel at the first key against its first speed and acceleration. Each term is at most its
    limit times the integral of its weight's size; a quadratic's size is at most the mean size of its Bernstein
    coefficients. The first key's weight is set so that the weights add up to nothing, which makes the formula true.
    Error: exact, but for floats that stand for the wanted values and limits.
    Source: textbook (Peano kernel; weak duality).
    """
    legs = list(pairwise(wanted.at))
    if not (
        len(proof.pieces) == len(legs)
        and len(proof.keys) == len(wanted.at)
        and sum(proof.pieces) == len(proof.speed) == len(proof.acceleration) == len(proof.travel) - 1
        and min(proof.pieces) >= 1
    ):
        raise ValueError("the proof is not about these keys")
    travel = [Fraction(weight) for weight in proof.travel]
    keys = [Fraction(weight) for weight in proof.keys]
    keys[0] = sum(travel, _ZERO) - sum(keys[1:], _ZERO)
    end = [-Fraction(weight) for weight in proof.end]
    speed, acceleration, jerk = (Fraction(limit) for limit in (wanted.speed, wanted.acceleration, wanted.jerk))
    bound = _ZERO if wanted.rest[1] else acceleration * abs(end[0]) + speed * abs(end[1])
    bound += _reached(travel, wanted.travel)
    kernel = (end[0], end[1], keys[-1] - travel[-1])
    node = len(proof.speed)
    for leg in range(len(legs) - 1, -1, -1):
        width = (legs[leg][1] - legs[leg][0]) / proof.pieces[leg]
        for part in range(proof.pieces[leg]):
            node -= 1
            along, begin, finish = (Fraction(weight) for weight in (proof.speed[node], *proof.acceleration[node]))
            if any(kernel) or along or begin or finish:
                bound += width * (speed * abs(along) + acceleration * (abs(begin) + abs(finish)) / 2)
                size, kernel = _piece(kernel, width, along, (begin, finish))
                bound += jerk * size
            at_key = keys[leg] if part == proof.pieces[leg] - 1 else _ZERO
            kernel = (kernel[0], kernel[1], kernel[2] + at_key - travel[node])
    if not wanted.rest[0]:
        bound += acceleration * abs(kernel[0]) + speed * abs(kernel[1])
    asked = sum((weight * Fraction(value) for weight, value in zip(keys, wanted.values, strict=True)), _ZERO)
    return Verdict(by=asked - bound, keys=tuple(keys))


def _reached(weights: Sequence[Fraction], travel: tuple[float, float] | None) -> Fraction:
    """Return the most that weighted positions reach within the ends of travel."""
    if travel is None:
        if any(weights):
            raise ValueError("without ends of travel nothing weighs the position")
        return _ZERO
    low, high = Fraction(travel[0]), Fraction(travel[1])
    return sum((weight * (high if weight > 0 else low) for weight in weights), _ZERO)


def _piece(
    kernel: _Kernel, width: Fraction, along: Fraction, acceleration: tuple[Fraction, Fraction]
) -> tuple[Fraction, _Kernel]:
    """Return at most how large the integral of the kernel's size is over a piece, and the kernel at its begin.

    A kernel is what weighs a step of acceleration, of speed, of position just there; `along` and `acceleration` are
    the piece's multipliers.
    """
    begin, finish = acceleration
    k0, k1, k2 = kernel
    middle = k0 + width * (k1 - finish) / 2
    left = k0 + width * (k1 - (begin + finish) / 2) + width * width * (k2 - along) / 2
    return width * (abs(k0) + abs(middle) + abs(left)) / 3, (left, k1 + width * (k2 - along), k2)
