"""When each frame of a timelapse is exposed: intervals that may change along it, exactly.

The interval of a frame is the time from its exposure to the next one's. It refuses to round.
"""

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise


@dataclass(frozen=True, slots=True)
class Intervals:
    """The interval at some frames; between two of them it changes evenly from frame to frame, outside it stays.

    `points` are pairs of a frame, counted from 0, and its interval in seconds, in order.
    Error: ValueError in words for points that are none.
    """

    points: tuple[tuple[int, Fraction], ...]
    _starts_s: tuple[Fraction, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if not self.points:
            raise ValueError("there is no interval; give one")
        frames = [frame for frame, _ in self.points]
        if frames[0] < 0 or any(one >= other for one, other in pairwise(frames)):
            raise ValueError(
                f"the frames {', '.join(map(str, frames))} of a ramp are out of order; they must rise, from 0 on"
            )
        for frame, interval_s in self.points:
            if interval_s <= 0:
                raise ValueError(f"the interval at frame {frame} is {interval_s} s; it must be above zero")
        starts_s = [frames[0] * self.points[0][1]]
        for number in range(len(frames) - 1):
            starts_s.append(starts_s[-1] + self._within(number, frames[number + 1] - frames[number]))
        object.__setattr__(self, "_starts_s", tuple(starts_s))

    def _within(self, number: int, count: int) -> Fraction:
        """Return how long the first `count` intervals from a point on last: an arithmetic series."""
        frame, begins = self.points[number]
        if number + 1 == len(self.points):
            return count * begins
        until, ends = self.points[number + 1]
        return count * begins + (ends - begins) / (until - frame) * Fraction(count * (count - 1), 2)

    def of(self, frame: int) -> Fraction:
        """Return the interval of this frame. Unit: seconds."""
        number = self._point(frame)
        if number < 0:
            return self.points[0][1]
        at, begins = self.points[number]
        if number + 1 == len(self.points):
            return begins
        until, ends = self.points[number + 1]
        return begins + (ends - begins) * Fraction(frame - at, until - at)

    def at(self, frame: int) -> Fraction:
        """Return when this frame is exposed, after frame 0. Unit: seconds, exact."""
        number = self._point(frame)
        if number < 0:
            return frame * self.points[0][1]
        return self._starts_s[number] + self._within(number, frame - self.points[number][0])

    def _point(self, frame: int) -> int:
        return bisect_right(self.points, frame, key=lambda point: point[0]) - 1

    def within(self, lasts_s: Fraction) -> int:
        """Return how many frames have their whole interval within `lasts_s`."""
        low, high = 0, 1
        while self.at(high) <= lasts_s:
            low, high = high, 2 * high
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if self.at(middle) <= lasts_s else (low, middle)
        return low

    def shortest(self, frames: int) -> tuple[int, Fraction]:
        """Return the frame with the shortest interval of so many, the first of them, and that interval."""
        return min(((one, self.of(one)) for one in self._turning(frames)), key=lambda found: found[1])

    def longest(self, frames: int) -> tuple[int, Fraction]:
        """Return the frame with the longest interval of so many, the first of them, and that interval."""
        return max(((one, self.of(one)) for one in self._turning(frames)), key=lambda found: found[1])

    def _turning(self, frames: int) -> Iterator[int]:
        """Yield the frames among which the extremes are."""
        yield 0
        yield from (frame for frame, _ in self.points if 0 < frame < frames - 1)
        yield max(frames - 1, 0)

    def scaled(self, by: Fraction) -> "Intervals":
        """Return the same ramp with every interval so many times as long."""
        return replace(self, points=tuple((frame, interval_s * by) for frame, interval_s in self.points))
