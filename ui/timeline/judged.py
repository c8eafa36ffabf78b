"""Where a track asks more than its axis can do: the stretches in sight, and what is too much in each.

It refuses to know Qt, and to round a broken limit away.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.peaks import TOLERANCE, Quantity
from sequencer.motion.shape import Shape
from ui.timeline.geometry import Layout
from ui.timeline.trace import Reaches

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

TOGETHER_PX = 4.0  # stretches nearer than that are one
_FURTHER_PX = 24.0  # a stretch that reaches that far out of sight is as good as one without end
_QUANTITIES: tuple[Quantity, ...] = ("speed", "acceleration", "jerk")
_JUMPS = ("position", "speed", "acceleration")  # what jumps where the quantity of this place is infinite


@dataclass(frozen=True, slots=True)
class Over:
    """What a leg asks too much of: `of` is the limit, `excess` how much more, as a part of it.

    Unit: `beyond` (travel only) in the axis's own. `jump` says what changes at once, if something does; no excess then.
    """

    of: Quantity
    excess: float
    beyond: float = 0.0
    jump: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Stretches:
    """Where limits are broken in sight, from left to right, and the worst leg of each stretch. Shape: (S,) each."""

    from_px: Floats
    to_px: Floats
    leg: Ints
    excess: Floats


_NONE: Floats = np.empty(0)
_NOWHERE = Stretches(np.empty(0), np.empty(0), np.empty(0, np.int64), np.empty(0))


class Judged:
    """What a track asks too much, leg by leg, worked out once for as long as its shape is the same."""

    def __init__(self, shape: Shape) -> None:
        self.shape = shape
        self.at_s = _shared(shape.at_s)
        self.reaches = Reaches(shape)
        self.legs: Ints = np.flatnonzero(shape.excess > TOLERANCE)
        self._from_s, self._to_s = shape.at_s[self.legs], shape.at_s[self.legs + 1]
        self._excess = shape.excess[self.legs]
        self._over: dict[int, Over] = {}
        self._kept: tuple[tuple[Layout, float, float], _Together | None] | None = None
        if len(shape.at_s) == 1 and (alone := _standing(shape)) is not None:
            self.legs, self._excess, self._over = np.zeros(1, np.int64), np.array([alone.excess]), {0: alone}
            self._from_s = self._to_s = shape.at_s
        self._gap_s = self._from_s[1:] - self._to_s[:-1]

    def over(self, leg: int) -> Over:
        """Return what the leg asks too much of."""
        if leg not in self._over:
            self._over[leg] = over(self.shape, leg)
        return self._over[leg]

    def tints(self, layout: Layout, from_px: float, to_px: float) -> tuple[Floats, Floats]:
        """Return where limits are broken between two places, from left to right: from where, and up to where.

        What is cut off is further away than any of it is drawn otherwise for its end. Shape: (S,) both.
        """
        found = self._together(layout, from_px - _FURTHER_PX, to_px + _FURTHER_PX)
        return (_NONE, _NONE) if found is None else (found.from_px, found.to_px)

    def stretches(self, layout: Layout) -> Stretches:
        """Return the stretches in sight in which limits are broken; those that nearly touch are one."""
        found = self._together(layout, layout.left_px - _FURTHER_PX, layout.width_px + _FURTHER_PX)
        if found is None:
            return _NOWHERE
        first, starts, ends = found.first, found.starts, found.ends
        excess = self._excess[first : first + int(ends[-1])]
        most = np.maximum.reduceat(excess, starts)
        # the first of equals is the one that is named
        worst = (excess == most.repeat(ends - starts)).nonzero()[0]
        worst = worst[worst.searchsorted(starts)]
        there = (found.to_px > layout.left_px) & (found.from_px < layout.width_px)
        from_px, to_px = np.maximum(found.from_px, layout.left_px), np.minimum(found.to_px, layout.width_px)
        return Stretches(from_px[there], to_px[there], self.legs[first + worst[there]], most[there])

    def _together(self, layout: Layout, from_px: float, to_px: float) -> "_Together | None":
        """Return the stretches that are, with a part, between two places; they are kept for who asks next."""
        key = layout, from_px, to_px
        if self._kept is not None and self._kept[0] == key:
            return self._kept[1]
        first = int(self._to_s.searchsorted(layout.t_s(from_px), "right"))
        last = max(first, int(self._from_s.searchsorted(layout.t_s(to_px), "left")))
        found = None
        if first < last:
            apart = (self._gap_s[first : last - 1] > TOGETHER_PX / layout.px_a_s).nonzero()[0]
            starts, ends = np.empty(len(apart) + 1, np.int64), np.empty(len(apart) + 1, np.int64)
            starts[0], starts[1:], ends[:-1], ends[-1] = 0, apart + 1, apart + 1, last - first
            begin_px = layout.across(self._from_s[first + starts])
            end_px = layout.across(self._to_s[first - 1 + ends])
            found = _Together(first, starts, ends, begin_px, end_px)
        self._kept = key, found
        return found


@dataclass(frozen=True, slots=True, eq=False)
class _Together:
    """Broken legs that are one stretch: from `starts` up to `ends`, counted from the broken leg `first`.

    Shape: (S,) each.
    """

    first: int
    starts: Ints
    ends: Ints
    from_px: Floats
    to_px: Floats


_shared_last: list[Floats] = []
_MOST_SHARED = 3


def _shared(at_s: Floats) -> Floats:
    """Return an array that is equal and was given before, if one was of late: tracks often have keys together."""
    for known in _shared_last:
        if np.array_equal(known, at_s):
            return known
    _shared_last.insert(0, at_s)
    del _shared_last[_MOST_SHARED:]
    return at_s


def over(shape: Shape, leg: int) -> Over:
    """Return the limit that this leg breaks most, or keeps with the least to spare."""
    axis = shape.axis
    for place, jump in enumerate(_JUMPS):
        if np.isinf(shape.peak[place, leg]):
            return Over(_QUANTITIES[place], float("inf"), jump=jump)
    parts = shape.peak[:, leg] / (axis.speed, axis.acceleration, axis.jerk) - 1
    place = int(parts.argmax())
    if axis.travel is not None:
        low, high = axis.travel
        beyond = max(low - float(shape.low[leg]), float(shape.high[leg]) - high)
        part = beyond / (high - low)
        if part > TOLERANCE and part > parts[place]:
            return Over("travel", part, beyond)
    return Over(_QUANTITIES[place], float(parts[place]))


def _standing(shape: Shape) -> Over | None:
    """Return how far the only key of a track is beyond its axis's travel, if it is: it has no legs that say so."""
    if shape.axis.travel is None:
        return None
    low, high = shape.axis.travel
    beyond = max(low - float(shape.value[0]), float(shape.value[0]) - high)
    part = beyond / (high - low)
    return Over("travel", part, beyond) if part > TOLERANCE else None
