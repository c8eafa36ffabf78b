"""The line below a cloud of delays each way: how two clocks stand to each other, however much the link jitters.

A packet is never faster than the link, so the differences of stamps one way lie on or above a straight line. Its slope
is how much faster one clock runs; those of the other way lie above one with the slope turned round. Both lines are
found together: as high as they can be with no point below, weighed by how much each way jitters. Half the difference
of the two is the offset, if both ways are equally long; if not, it is off by half of what they differ.

Only points of the lower convex hull can touch such a line, so nothing else is kept: memory and work are bounded.
Source: S. B. Moon, P. Skelly, D. Towsley, "Estimation and Removal of Clock Skew from Network Delay Measurements",
INFOCOM 1999 (the linear program; here both ways share the slope), from memory; offset and delay as in RFC 5905,
section 8. The lines are also the most likely ones where delays above the floor are exponential.
"""

from bisect import bisect_left
from collections import deque
from dataclasses import dataclass, field
from itertools import pairwise
from math import exp, inf, sqrt

Point = tuple[float, float]

BLOCK_S = 5.0
BLOCKS = 36  # what is older is forgotten, for crystals drift as they warm
MOST_SKEW = 500e-6  # of two crystals; what is more is a fault
_SURE = 3.0  # standard deviations that an error is said to have at most
_EVEN = 1.5  # delays that are spread evenly are half as dense at their floor as exponential ones of the same mean
_THIN = 1.5  # a floor that few delays come near looks denser to a block than it is to all
_NOTHING = 30.0  # in units of log likelihood: what is so much less likely than the best does not count
_FIRST_S = 0.05  # mean delay above the floor before any is known; it counts as one delay, for few may be alike by luck
_LEAST_S = 1e-6  # mean delay above the floor, where a clock's step hides anything finer
_FULL, _ENOUGH = 8, 3  # delays in a block, and such blocks, by which the floor is judged


def put_below(hull: list[Point], point: Point) -> bool:
    """Put a point into a lower convex hull, sorted by time; return False where it lies on or above the hull."""
    at = bisect_left(hull, (point[0], -inf))
    if at < len(hull) and hull[at][0] == point[0]:
        if hull[at][1] <= point[1]:
            return False
        del hull[at]
    if 0 < at < len(hull) and not _turns(hull[at - 1], point, hull[at]):
        return False
    while at + 1 < len(hull) and not _turns(point, hull[at], hull[at + 1]):
        del hull[at]
    while at > 1 and not _turns(hull[at - 2], hull[at - 1], point):
        at -= 1
        del hull[at]
    hull.insert(at, point)
    return True


def _turns(first: Point, second: Point, third: Point) -> bool:
    """Whether the way over three points turns up at the second."""
    return (second[1] - first[1]) * (third[0] - second[0]) < (third[1] - second[1]) * (second[0] - first[0])


@dataclass(slots=True)
class _Block:
    begin_s: float
    hull: list[Point] = field(default_factory=list)
    count: int = 0
    times_s: float = 0.0
    delays_s: float = 0.0


class Floor:
    """The delays one way of the newest while. `hull` is what may touch a line below them, `count` how many there are.

    `spread_s`: how sparse they are right above the line, as the mean that exponential ones would have above it.
    """

    def __init__(self) -> None:
        self.hull: list[Point] = []
        self.count = 0
        self.spread_s = _FIRST_S
        self._blocks: deque[_Block] = deque()
        self._times_s = self._delays_s = 0.0
        self._thin_s = 0.0
        self._judged = 0  # blocks that were full when the floor was judged
        self._begun = 0

    def add(self, t_s: float, delay_s: float) -> None:
        """Add a delay; times may come slightly out of order."""
        blocks = self._blocks
        if not blocks or t_s - blocks[-1].begin_s >= BLOCK_S:
            blocks.append(_Block(t_s))
            self._begun += 1
            if len(blocks) > BLOCKS:
                self._forget(blocks.popleft())
        block = blocks[-1]
        self.count += 1
        self._times_s += t_s
        self._delays_s += delay_s
        block.count += 1
        block.times_s += t_s
        block.delays_s += delay_s
        put_below(block.hull, (t_s, delay_s))
        put_below(self.hull, (t_s, delay_s))

    def _forget(self, old: _Block) -> None:
        self.count -= old.count
        self._times_s -= old.times_s
        self._delays_s -= old.delays_s
        self.hull = []
        for block in self._blocks:
            for point in block.hull:
                put_below(self.hull, point)

    def mean_time_s(self, at_s: float) -> float:
        """Return by how much the mean of their times lies behind `at_s`."""
        return self._times_s / self.count - at_s

    def learn(self, slope: float, height: float, at_s: float) -> None:
        """Learn how sparse delays are right above the line that stands at `height` at `at_s`.

        That is what their mean above it says, or where they are sparser what the least of each block says: it counts
        as if it were the least of exponential ones.
        """
        above_s = self._delays_s - slope * (self._times_s - self.count * at_s) - self.count * height
        mean_s = (above_s + _FIRST_S) / (self.count + 1)
        if self._judged != self._begun:
            self._judged = self._begun
            full = [one for one in list(self._blocks)[:-1] if one.count >= _FULL]
            least = [one.count * (min(d - slope * (t - at_s) for t, d in one.hull) - height) for one in full]
            self._thin_s = sum(least) / len(least) if len(least) >= _ENOUGH else 0.0
        self.spread_s = max(_EVEN * mean_s, _THIN * self._thin_s, _LEAST_S)


def heights(hull: list[Point], slopes: list[float], at_s: float) -> list[float]:
    """Return where the highest line below the hull stands at `at_s`, for each slope; slopes rise."""
    found, touched = [], 0
    last = len(hull) - 1
    t_s, delay_s = hull[0]
    for slope in slopes:
        height = delay_s - slope * (t_s - at_s)
        while touched < last:
            next_t_s, next_delay_s = hull[touched + 1]
            other = next_delay_s - slope * (next_t_s - at_s)
            if other > height:
                break
            touched += 1
            t_s, delay_s, height = next_t_s, next_delay_s, other
        found.append(height)
    return found


@dataclass(frozen=True, slots=True)
class Lines:
    """How the other clock stands to ours, as both lines say. Unit: seconds; `skew` a second a second.

    `offset` is by how much the other is ahead at `at_s`; `variances` are those of the offset, of both, and of the skew.
    `round_trip_s` is the least time there and back.
    """

    at_s: float
    offset: float
    skew: float
    variances: tuple[float, float, float]
    round_trip_s: float

    def offset_s(self, t_s: float) -> float:
        """Return by how much the other clock is ahead of ours at `t_s`."""
        return self.offset + self.skew * (t_s - self.at_s)

    def error_s(self, t_s: float) -> float:
        """Return by how much that may be wrong, where both ways are equally long."""
        later_s = t_s - self.at_s
        offset, both, skew = self.variances
        return _SURE * sqrt(max(0.0, offset + later_s * (2 * both + later_s * skew)))


@dataclass(frozen=True, slots=True)
class Pair:
    """Two lines that share a slope, as high as they can be with no delay below, and how likely they are (a logarithm).

    Unit: heights in seconds, at the instant for which they were asked.
    """

    likely: float
    skew: float
    out_s: float
    back_s: float


def pairs(out: Floor, back: Floor, at_s: float) -> list[Pair]:
    """Return the highest lines for each skew at which they change what they touch, and for the ends; skews rise.

    The likeliest of them solves the linear program of the source. Error: ValueError where there is no delay.
    """
    if not out.hull or not back.hull:
        raise ValueError("no delay has been measured yet")
    n_out, n_back = out.count / out.spread_s, back.count / back.spread_s
    pull = n_out * out.mean_time_s(at_s) - n_back * back.mean_time_s(at_s)
    skews = _bends(out, back)
    highs_out = heights(out.hull, skews, at_s)
    highs_back = heights(back.hull, [-one for one in reversed(skews)], at_s)[::-1]
    return [
        Pair(n_out * high_out + n_back * high_back + skew * pull, skew, high_out, high_back)
        for skew, high_out, high_back in zip(skews, highs_out, highs_back, strict=True)
    ]


def lines(out: Floor, back: Floor, at_s: float) -> Lines:
    """Return how the clocks stand at `at_s`: the mean of all lines below the delays, each as likely as it is.

    For a slope the likeliest lines are the highest ones; how likely they are is a broken straight line in the slope,
    as a logarithm, so that means and variances have closed forms. Error: ValueError where there is no delay.
    """
    found = pairs(out, back, at_s)
    best = max(found, key=lambda one: one.likely)
    # how far a line is below the delays is as uncertain as the mean gap between those next to it
    beside = ((out.spread_s / out.count) ** 2 + (back.spread_s / back.count) ** 2) / 4
    out.learn(best.skew, best.out_s, at_s)
    back.learn(-best.skew, best.back_s, at_s)
    offset, skew, variances = moments([(one.likely, one.skew, (one.out_s - one.back_s) / 2) for one in found])
    return Lines(at_s, offset, skew, (variances[0] + beside, *variances[1:]), best.out_s + best.back_s)


def _bends(out: Floor, back: Floor) -> list[float]:
    """Return the skews at which a line changes what it touches, and the ends of what is possible."""
    slopes = [(b[1] - a[1]) / (b[0] - a[0]) for a, b in pairwise(out.hull)]
    slopes += [(a[1] - b[1]) / (b[0] - a[0]) for a, b in pairwise(back.hull)]
    return [-MOST_SKEW, *sorted(one for one in slopes if abs(one) < MOST_SKEW), MOST_SKEW]


def moments(tried: list[tuple[float, float, float]]) -> tuple[float, float, tuple[float, float, float]]:
    """Return the mean offset and skew, and their variances, where the likelihood is exponential between neighbours.

    Shape: each tried is the logarithm of how likely, the skew and the offset.
    """
    most, skew_0, offset_0 = max(tried)
    whole = sums_o = sums_s = sums_oo = sums_os = sums_ss = 0.0
    for one, other in pairwise(tried):
        (high, s, o), (low, s1, o1) = (one, other) if one[0] >= other[0] else (other, one)
        if high - most < -_NOTHING or s == s1:
            continue
        weight = abs(s1 - s) * exp(high - most)
        s, o, s1, o1 = s - skew_0, o - offset_0, s1 - s, o1 - o
        zero, first, second = _powers(low - high)
        whole += weight * zero
        sums_s += weight * (s * zero + s1 * first)
        sums_o += weight * (o * zero + o1 * first)
        sums_ss += weight * (s * s * zero + 2 * s * s1 * first + s1 * s1 * second)
        sums_oo += weight * (o * o * zero + 2 * o * o1 * first + o1 * o1 * second)
        sums_os += weight * (o * s * zero + (o * s1 + o1 * s) * first + o1 * s1 * second)
    mean_s, mean_o = sums_s / whole, sums_o / whole
    return (
        offset_0 + mean_o,
        skew_0 + mean_s,
        (sums_oo / whole - mean_o**2, sums_os / whole - mean_o * mean_s, sums_ss / whole - mean_s**2),
    )


def _powers(k: float) -> tuple[float, float, float]:
    """Return the integrals of exp(k x), of x exp(k x) and of x^2 exp(k x) from 0 to 1."""
    if abs(k) < 0.01:
        return 1 + k / 2 + k * k / 6, 1 / 2 + k / 3 + k * k / 8, 1 / 3 + k / 4 + k * k / 10
    end = exp(k)
    zero = (end - 1) / k
    first = (end - zero) / k
    return zero, first, (end - 2 * first) / k
