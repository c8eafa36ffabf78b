"""What a trajectory asks of the motors, exactly: the extremes of its polynomials, not of samples of them.

It refuses to mend anything: it says what is too much, where and by how much.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.combined import together
from sequencer.motion.extremes import Extremes
from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Axis, Rig, Unit
from sequencer.rig.limits import Combined, SumLimit
from sequencer.timebase.timecode import Timebase

Floats = NDArray[np.float64]

# A limit is broken by more than this part of it; a jump is one by more than this part of the limit of what jumps.
TOLERANCE = 1e-6

Quantity = Literal["speed", "acceleration", "jerk", "travel"]
ORDERS: tuple[Quantity, ...] = ("travel", "speed", "acceleration", "jerk")
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

    @property
    def jump(self) -> tuple[str, float] | None:
        """What changes at once, position, speed or acceleration, and when; None where nothing does."""
        for what, above in (("position", self.speed), ("speed", self.acceleration), ("acceleration", self.jerk)):
            if math.isinf(above.value):
                return what, above.at_s
        return None


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What is asked of one limit: `value` against `limit` at `at_s`; for travel, the position against the nearer end.

    `excess` is how much more that is, as a part of the limit (of travel: of the whole of it); below zero it is what is
    left. Unit: seconds from the project's start; the axis's unit, a second to the power that `of` asks for.
    """

    of: Quantity
    at_s: float
    value: float
    limit: float
    excess: float

    @property
    def over(self) -> bool:
        """Whether that is too much."""
        return self.excess > TOLERANCE

    def numbers(self) -> tuple[str, str]:
        """Return what is asked and the limit in three figures, or in as many as tell them apart."""
        pairs = [(number(self.value, figures), number(self.limit, figures)) for figures in range(3, 18)]
        return next((pair for pair in pairs if pair[0] != pair[1]), pairs[0])


@dataclass(frozen=True, slots=True, kw_only=True)
class Violation:
    """More than an axis can do, or than a combined limit allows."""

    axis: str
    of: Quantity
    at_s: float
    value: float
    limit: float
    unit: Unit | None
    combined: Combined | None = None

    def words(self, timebase: Timebase) -> str:
        """Say it to the operator, with the mend."""
        label = str(timebase.label_at(self.at_s)).partition(".")[0]
        place = ORDERS.index(self.of)
        unit = unit_of(self.unit, self.of)
        asked, limit = Asked(of=self.of, at_s=self.at_s, value=self.value, limit=self.limit, excess=0.0).numbers()
        asked = f"{asked} {unit}".rstrip()
        who = self.axis
        if isinstance(self.combined, SumLimit):
            who = f"{self.combined.name} ({self.combined.words})"
        elif self.combined is not None:
            who = f"{self.axis}, {self.combined.words},"
        if self.of == "travel":
            fault = f"{who} goes to {asked} at {label}, its travel ends at {limit}"
            return f"{fault}; move the key inside the travel, or choose an ease that does not overshoot"
        if np.isinf(self.value):
            jumping = ORDERS[place - 1].replace("travel", "position")
            fault = f"{who} changes its {jumping} at once at {label}, {self.of} limit {limit} {unit}".rstrip()
            return f"{fault}; choose an ease that begins or ends more gently there"
        what = f"{asked} of {self.of}" if self.unit is None else asked
        return f"{who} asks {what} at {label}, limit {limit}; give the leg more time or a gentler ease"


def unit_of(unit: Unit | None, of: Quantity) -> str:
    """Return what an axis's speed, acceleration, jerk or position is counted in; a sum of axes has no unit."""
    return "" if unit is None else _PER[unit][ORDERS.index(of)]


def number(value: float, figures: int) -> str:
    """Return a number in so many figures, without an exponent where it can be."""
    if value == 0 or abs(value) >= 1e12:
        return f"{value:.{figures}g}"
    decimals = max(figures - 1 - math.floor(math.log10(abs(value))), 0)
    text = f"{value:.{decimals}f}"
    return text.rstrip("0").rstrip(".") if decimals else text


def peaks(trajectory: Trajectory, rig: Rig) -> tuple[Peak, ...]:
    """Return what each axis is asked for, in the rig's order.

    A jump below TOLERANCE of the limit of what jumps (of a position: below what the speed limit goes in a microsecond)
    is rounding. Error: exact but for rounding.
    """
    lasts_s = np.diff(trajectory.from_s, append=0.0)
    lasts_s[trajectory.first[:-1]] = lasts_s[trajectory.first[1:] - 1] = 0.0  # constant: one instant is all of them
    found = Extremes.of(trajectory.from_s, lasts_s, trajectory.coeffs, trajectory.first)
    rough = [np.array((axis.speed, axis.speed, axis.acceleration)) for axis in rig.axes]
    return tuple(_peak(found, number, name, rough[number]) for number, name in enumerate(rig.names))


def combined_peaks(trajectory: Trajectory, rig: Rig) -> tuple[Peak | None, ...]:
    """Return what each combined limit of the rig is asked for; None for one that never comes to hold."""
    found = [(limit.name, together(trajectory, rig, limit)) for limit in rig.combined]
    return tuple(None if one is None else _peak(one[0], 0, name, one[1]) for name, one in found)


def _peak(found: Extremes, number: int, name: str, rough: Floats) -> Peak:
    """Return what the stretch `number` asks for. `rough` (3,): what jumps of each order are measured by."""
    peak, peak_s = found.peak[:, number].copy(), found.peak_at[:, number].copy()
    jumps = found.step[:, number] > TOLERANCE * rough
    if jumps.any():
        lowest = int(np.argmax(jumps))
        peak[lowest:], peak_s[lowest:] = np.inf, found.step_at[lowest, number]
    return peak_of(name, (peak, peak_s), found, number)


def peak_of(name: str, peak: tuple[Floats, Floats], travel: Extremes, number: int) -> Peak:
    """Put a peak together: speed, acceleration and jerk with their instants (3,), and how far that stretch travels."""
    speed, acceleration, jerk = map(Extreme, peak[0].tolist(), peak[1].tolist())
    return Peak(
        axis=name,
        speed=speed,
        acceleration=acceleration,
        jerk=jerk,
        low=Extreme(float(travel.low[number]), float(travel.low_at[number])),
        high=Extreme(float(travel.high[number]), float(travel.high_at[number])),
    )


def against(peak: Peak, limits: Axis | Combined) -> tuple[Asked, ...]:
    """Return what a peak asks of each limit that there is."""
    asked: list[Asked] = []
    pairs: tuple[tuple[Quantity, Extreme, float | None], ...] = (
        ("speed", peak.speed, limits.speed),
        ("acceleration", peak.acceleration, limits.acceleration),
        ("jerk", peak.jerk, limits.jerk),
    )
    for of, extreme, limit in pairs:
        if limit is not None:
            excess = extreme.value / limit - 1
            asked.append(Asked(of=of, at_s=extreme.at_s, value=extreme.value, limit=limit, excess=excess))
    if limits.travel is not None:
        low, high = limits.travel
        below, above = (low - peak.low.value) / (high - low), (peak.high.value - high) / (high - low)
        end, extreme, excess = (low, peak.low, below) if below > above else (high, peak.high, above)
        asked.append(Asked(of="travel", at_s=extreme.at_s, value=extreme.value, limit=end, excess=excess))
    return tuple(asked)


def worst(asked: tuple[Asked, ...]) -> Asked:
    """Return the one with the largest excess. Travel counts only when it is broken: a key may stand at its very end."""
    counted = [one for one in asked if one.of != "travel" or one.over]
    return max(counted or asked, key=lambda one: one.excess)


def over(trajectory: Trajectory, rig: Rig) -> tuple[Violation, ...]:
    """Return every limit that the trajectory breaks by more than TOLERANCE, the worst instant of each.

    A travel limit is broken by more than TOLERANCE of the whole travel.
    """
    broken = []
    for axis, peak in zip(rig.axes, peaks(trajectory, rig), strict=True):
        broken += [_violation(axis.name, axis.unit, one) for one in against(peak, axis) if one.over]
    for limit, found in zip(rig.combined, combined_peaks(trajectory, rig), strict=True):
        if found is not None:
            who = subject(rig, limit)
            broken += [_violation(*who, one, limit) for one in against(found, limit) if one.over]
    return tuple(broken)


def subject(rig: Rig, limit: Combined) -> tuple[str, Unit | None]:
    """Return what a combined limit is about, an axis or the sum that its name stands for, and its unit."""
    if isinstance(limit, SumLimit):
        return limit.name, None
    return limit.axis, rig.axes[rig.index(limit.axis)].unit


def _violation(axis: str, unit: Unit | None, asked: Asked, combined: Combined | None = None) -> Violation:
    return Violation(
        axis=axis,
        of=asked.of,
        at_s=asked.at_s,
        value=asked.value,
        limit=asked.limit,
        unit=unit,
        combined=combined,
    )
