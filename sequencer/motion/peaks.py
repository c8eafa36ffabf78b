"""What a trajectory asks of the motors, exactly: the extremes of its polynomials, not of samples of them.

It refuses to mend anything: it says what is too much, where and by how much.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Rig, Unit
from sequencer.timebase.timecode import Timebase

Floats = NDArray[np.float64]

# A limit is broken by more than this part of it; a jump is one by more than this part of the limit of what jumps.
TOLERANCE = 1e-6

# of a piece's length: nearer to an extreme the value is the same to the last digit
_NEAR = 1e-13
_STEPS = 60
_ROUNDING = 1e-14

Quantity = Literal["speed", "acceleration", "jerk", "travel"]
_ORDERS: tuple[Quantity, ...] = ("travel", "speed", "acceleration", "jerk")
_PER = {
    "deg": ("deg", "deg/s", "deg/s²", "deg/s³"),
    "mm": ("mm", "mm/s", "mm/s²", "mm/s³"),
    "part": ("", "of its range/s", "of its range/s²", "of its range/s³"),
}


@dataclass(frozen=True, slots=True)
class Extreme:
    """A largest or smallest value, and the instant at which it is first reached. Unit: seconds; the axis's own."""

    value: float
    at_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Peak:
    """What one axis is asked for: its largest speed, acceleration and jerk either way, and how far it travels.

    Where speed jumps the acceleration is infinite; where acceleration jumps the jerk is; where the position does, both.
    """

    axis: str
    speed: Extreme
    acceleration: Extreme
    jerk: Extreme
    low: Extreme
    high: Extreme


@dataclass(frozen=True, slots=True, kw_only=True)
class Violation:
    """More than an axis can do: `value` against `limit` at `at_s`; for travel, the position against that end.

    Unit: seconds from the project's start; the axis's unit, a second to the power that `of` asks for.
    """

    axis: str
    of: Quantity
    at_s: float
    value: float
    limit: float
    unit: Unit

    def words(self, timebase: Timebase) -> str:
        """Say it to the operator, with the mend."""
        label = str(timebase.label_at(self.at_s)).partition(".")[0]
        place = _ORDERS.index(self.of)
        unit = _PER[self.unit][place]
        asked, limit = _apart(self.value, self.limit)
        asked = f"{asked} {unit}".rstrip()
        if self.of == "travel":
            fault = f"{self.axis} goes to {asked} at {label}, its travel ends at {limit}"
            return f"{fault}; move the key inside the travel, or choose an ease that does not overshoot"
        if np.isinf(self.value):
            jumping = _ORDERS[place - 1].replace("travel", "position")
            fault = f"{self.axis} changes its {jumping} at once at {label}, {self.of} limit {limit} {unit}"
            return f"{fault}; choose an ease that begins or ends more gently there"
        return f"{self.axis} asks {asked} at {label}, limit {limit}; give the leg more time or a gentler ease"


def _apart(asked: float, limit: float) -> tuple[str, str]:
    """Return both numbers in three figures, or in as many as tell them apart."""
    pairs = [(_number(asked, figures), _number(limit, figures)) for figures in range(3, 18)]
    return next((pair for pair in pairs if pair[0] != pair[1]), pairs[-1])


def _number(value: float, figures: int) -> str:
    if value == 0 or abs(value) >= 1e12:
        return f"{value:.{figures}g}"
    decimals = max(figures - 1 - math.floor(math.log10(abs(value))), 0)
    text = f"{value:.{decimals}f}"
    return text.rstrip("0").rstrip(".") if decimals else text


@dataclass(frozen=True, slots=True, eq=False)
class _Extremes:
    """The largest value of one derivative in each piece, upward and downward, and the instants.

    Shape: all (2, P); `value` is positive the way it points. `jump` (P,): what it derives from jumps at the begin.
    """

    value: Floats
    at_s: Floats
    jump: NDArray[np.bool_]

    def largest(self, span: slice, way: int) -> Extreme:
        piece = int(np.argmax(self.value[way, span]))
        return Extreme(float(self.value[way, span][piece]), float(self.at_s[way, span][piece]))

    def magnitude(self, span: slice) -> Extreme:
        jumps = np.flatnonzero(self.jump[span])
        if len(jumps):
            return Extreme(np.inf, float(self.at_s[0, span][jumps[0]]))
        return max(self.largest(span, 0), self.largest(span, 1), key=lambda each: each.value)


def peaks(trajectory: Trajectory, rig: Rig) -> tuple[Peak, ...]:
    """Return what each axis is asked for, in the rig's order.

    A jump below TOLERANCE of the limit of what jumps (of a position: below what the speed limit goes in a microsecond)
    is rounding. Error: exact but for rounding.
    """
    position, speed, acceleration, jerk = _extremes(trajectory, rig)
    result = []
    for number, axis in enumerate(rig.axes):
        span = slice(trajectory.first[number], trajectory.first[number + 1])
        low = position.largest(span, 1)
        result.append(
            Peak(
                axis=axis.name,
                speed=speed.magnitude(span),
                acceleration=acceleration.magnitude(span),
                jerk=jerk.magnitude(span),
                low=Extreme(-low.value, low.at_s),
                high=position.largest(span, 0),
            )
        )
    return tuple(result)


def over(trajectory: Trajectory, rig: Rig) -> tuple[Violation, ...]:
    """Return every limit that the trajectory breaks by more than TOLERANCE, the worst instant of each.

    A travel limit is broken by more than TOLERANCE of the whole travel.
    """
    broken = []
    for axis, peak in zip(rig.axes, peaks(trajectory, rig), strict=True):
        limits: tuple[tuple[Quantity, Extreme, float], ...] = (
            ("speed", peak.speed, axis.speed),
            ("acceleration", peak.acceleration, axis.acceleration),
            ("jerk", peak.jerk, axis.jerk),
        )
        asked = [each for each in limits if each[1].value > each[2] * (1 + TOLERANCE)]
        if axis.travel is not None:
            low, high = axis.travel
            slack = TOLERANCE * (high - low)
            asked += [("travel", peak.low, low)] if peak.low.value < low - slack else []
            asked += [("travel", peak.high, high)] if peak.high.value > high + slack else []
        broken += [
            Violation(axis=axis.name, of=of, at_s=extreme.at_s, value=extreme.value, limit=limit, unit=axis.unit)
            for of, extreme, limit in asked
        ]
    return tuple(broken)


def _extremes(trajectory: Trajectory, rig: Rig) -> list[_Extremes]:
    """Return the extremes of position, speed, acceleration and jerk in every piece, each piece over u in [0, 1]."""
    lasts_s = np.diff(trajectory.from_s, append=0.0)
    lasts_s[trajectory.first[:-1]] = lasts_s[trajectory.first[1:] - 1] = 0.0  # constant: one instant is all of them
    scale_s = np.where(lasts_s > 0, lasts_s, 1.0)
    derivatives = [trajectory.coeffs * lasts_s ** np.arange(len(trajectory.coeffs) - 1, -1, -1)[:, None]]
    while len(derivatives[-1]) > 1 or len(derivatives) < 4:
        derivatives.append(_derived(derivatives[-1]))
    ends = np.array([[0.0], [1.0]]).repeat(len(lasts_s), axis=1)
    turns = ends[:0]
    found: list[tuple[Floats, Floats]] = []
    for order in range(len(derivatives) - 1, -1, -1):
        # where this derivative turns: between two of these instants it has one zero at most
        grid = np.concatenate((ends[:1], turns, ends[1:]))
        values = _valued(derivatives[order], grid)
        found.insert(0, (values / scale_s**order, grid * lasts_s + trajectory.from_s))
        turns = _zeros(derivatives[order], grid, values)
    jumps = _jumps(trajectory, rig, [values for values, _ in found[:3]])
    return [_Extremes(*_both_ways(*each), jump) for each, jump in zip(found, jumps, strict=False)]


def _both_ways(values: Floats, at_s: Floats) -> tuple[Floats, Floats]:
    """Return the largest of `values` (N, P) and of their negatives, and their instants. Shape: twice (2, P)."""
    ways = np.stack((values, -values))
    best = ways.argmax(axis=1)
    column = np.arange(values.shape[1])
    return ways.max(axis=1), at_s[best, column]


def _jumps(trajectory: Trajectory, rig: Rig, values: list[Floats]) -> list[NDArray[np.bool_]]:
    """Return at which pieces' begins that jumps which position, speed, acceleration, jerk derive from. Shape: (P,)."""
    counts = np.diff(trajectory.first)
    speed = np.repeat([axis.speed for axis in rig.axes], counts)
    acceleration = np.repeat([axis.acceleration for axis in rig.axes], counts)
    jumps = [np.zeros(len(speed), np.bool_)]
    for each, limit in zip(values, (speed, speed, acceleration), strict=True):
        step = np.abs(each[0, 1:] - each[-1, :-1])
        jump = np.append(False, step > TOLERANCE * limit[1:])
        jump[trajectory.first[:-1]] = False  # the axis before it is another one
        jumps.append(jumps[-1] | jump)
    return jumps


def _derived(coeffs: Floats) -> Floats:
    """Return the derivative of each polynomial. Shape: (K, P), result (K-1, P), or (1, P) for constants."""
    size = len(coeffs)
    return coeffs[:-1] * np.arange(size - 1, 0, -1)[:, None] if size > 1 else np.zeros_like(coeffs)


def _valued(coeffs: Floats, u: Floats) -> Floats:
    """Return each polynomial at each of its instants. Shape: (K, P), (N, P), result (N, P)."""
    value = np.zeros_like(u)
    for row in coeffs:
        value = value * u + row
    return value


def _zeros(coeffs: Floats, grid: Floats, values: Floats) -> Floats:
    """Return the zero in each stretch of the grid in which the polynomial changes sign, elsewhere the stretch's begin.

    Shape: (K, P), (N, P), (N, P), result (N-1, P), or (0, P) for constants.
    Source: textbook (Newton's method kept inside a bracket that bisection halves).
    """
    if len(coeffs) == 1:
        return grid[:0]
    zeros = grid[:-1].copy()
    # what rounding leaves of a zero at an end has a sign too, and is none
    sign = np.sign(values) * (np.abs(values) > _ROUNDING * np.abs(coeffs).sum(axis=0))
    stretch, piece = np.nonzero(sign[:-1] * sign[1:] < 0)
    low, high = grid[stretch, piece], grid[stretch + 1, piece]
    rising = values[stretch, piece] < 0
    own = coeffs[:, piece]
    slope = _derived(own)
    u = (low + high) / 2
    for _ in range(_STEPS):
        value = _valued(own, u[None])[0]
        before = (value < 0) == rising
        low, high = np.where(before, u, low), np.where(before, high, u)
        with np.errstate(divide="ignore", invalid="ignore"):
            step = u - value / _valued(slope, u[None])[0]
        following = np.where((step > low) & (step < high), step, (low + high) / 2)
        moved = np.abs(following - u).max(initial=0)
        u = following
        if moved < _NEAR:
            break
    zeros[stretch, piece] = u
    return zeros
