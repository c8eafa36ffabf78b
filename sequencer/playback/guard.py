"""The software guard is no safety device: it checks numbers, and only a hard-wired stop that cuts motor power stops a
motor. It has the last word on every setpoint that goes out, whatever was asked for.

It plans nothing, knows no phase and no timecode, does not limit jerk, and never refuses to answer: what it is asked for
goes out unchanged where an axis can do it, else the nearest that the axis can do.

Rules, by construction, for every axis, when what was sent before kept them:
    1. the position lies inside travel;
    2. the mean speed since the last setpoint is at most the axis's speed;
    3. mean speeds of neighbouring steps differ by at most acceleration * (time between the middles of the steps);
    4. from here the axis can still stop inside travel under rule 3, however long the steps to come are.
Rule 4 is exact: after a step of mean speed v and length h, full braking leaves v - acceleration * h / 2 at its end, and
from there the way is that speed squared over twice the acceleration. Rules 2 and 3 hold to a millionth.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.rig.axis import Rig
from sequencer.rig.signals import Setpoint

LONGEST_STEP_S = 0.05  # a longer silence counts as this much: the rig has not moved on meanwhile
TOLERANCE_S = 0.02  # an axis may be held back by what it travels in this time at full speed
_SPARE = 1 / 8  # part of the acceleration that a held-back axis always counts on for closing the gap
_ROUNDING = 1 + 1e-6  # positions of metres in double precision, differenced twice over a millisecond


@dataclass(frozen=True, slots=True)
class Limits:
    """What each axis can do, column by column, in the rig's order.

    Shape: each A. Unit: the axis's own, that a second, a second squared; `low` and `high` are infinite for an axis
    without end. `ceiling` is the speed with what rounding may add. `tolerance` is how far an axis may be from where it
    was meant to be before that is a fault.
    """

    names: tuple[str, ...]
    units: tuple[str, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    speed: tuple[float, ...]
    acceleration: tuple[float, ...]
    ceiling: tuple[float, ...]
    tolerance: tuple[float, ...]


def limits(rig: Rig) -> Limits:
    """Return the limits that the guard holds the rig to."""
    axes = rig.axes
    travel = [axis.travel or (-math.inf, math.inf) for axis in axes]
    return Limits(
        names=rig.names,
        units=tuple(axis.unit for axis in axes),
        low=tuple(low for low, _ in travel),
        high=tuple(high for _, high in travel),
        speed=tuple(axis.speed for axis in axes),
        acceleration=tuple(axis.acceleration for axis in axes),
        ceiling=tuple(axis.speed * _ROUNDING for axis in axes),
        tolerance=tuple(TOLERANCE_S * axis.speed + axis.backlash + axis.resolution for axis in axes),
    )


@dataclass(frozen=True, slots=True)
class Sent:
    """What went out last, as far as the next setpoint depends on it.

    Shape: `position`, `speed`, `earlier`, `claimed` A. Unit: `span_s` is the length of the last step, `speed` the mean
    speed over it, `earlier` the mean speed over the step before, `apart_s` the time between the middles of the two.
    `claimed` is the velocity that was wanted at the end of the step, whether or not it could be had.
    """

    due_ns: int
    position: tuple[float, ...]
    speed: tuple[float, ...]
    earlier: tuple[float, ...]
    claimed: tuple[float, ...]
    span_s: float = 0.0
    apart_s: float = 0.0

    @property
    def stands(self) -> bool:
        """Whether the setpoints stand still. It says nothing of the rig."""
        return not any(self.speed)


def at_rest(due_ns: int, position: NDArray[np.float64]) -> Sent:
    """Return the beginning: the rig stands at `position`, and has been told nothing yet. Shape: (A,)."""
    still = (0.0,) * len(position)
    return Sent(due_ns, tuple(position.tolist()), still, still, still)


@dataclass(frozen=True, slots=True)
class Guarded:
    """What may go out, and what to remember of it.

    Shape: `gap` A, wanted less sent, in the axis's unit; infinite where what was wanted is no finite number; empty
    where nothing was held back.
    """

    setpoint: Setpoint
    sent: Sent
    gap: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Stray:
    """An axis that is not where it was meant to be: `by` how much, in its `unit`."""

    axis: str
    by: float
    unit: str

    def __str__(self) -> str:
        return f"{self.axis} by {abs(self.by):.3g} {'of its range' if self.unit == 'part' else self.unit}"


def strays(limits: Limits, gap: tuple[float, ...]) -> Stray | None:
    """Return the axis that is farthest beyond its tolerance, or None where all are within. Shape: `gap` A, or empty."""
    parts = [abs(by) / most for by, most in zip(gap, limits.tolerance, strict=bool(gap))]
    worst = max(parts, default=0.0)
    if worst <= 1:
        return None
    axis = parts.index(worst)
    return Stray(limits.names[axis], gap[axis], limits.units[axis])


def guard(limits: Limits, last: Sent, wanted: Setpoint) -> Guarded:
    """Return `wanted` itself where every axis can do it, else the nearest that the axes can do.

    An axis that was held back closes the gap without swinging past a steady path. Past a path that accelerates it may
    swing by part of the gap; one that itself needs the whole acceleration it may not catch at all.
    An axis outside its travel may only move inward, and one that is asked for no finite number brakes.
    Error: ValueError where `wanted` is not due after `last`, or has another number of axes.
    """
    if wanted.due_ns <= last.due_ns:
        raise ValueError(f"a setpoint due at {wanted.due_ns} ns cannot follow one due at {last.due_ns} ns")
    span_s = min((wanted.due_ns - last.due_ns) * 1e-9, LONGEST_STEP_S)
    apart_s = (last.span_s + span_s) / 2
    half_s, reach_s = span_s / 2, apart_s * _ROUNDING
    asked = wanted.position.tolist()
    claims = wanted.velocity.tolist()
    columns = (last.position, last.speed, last.claimed, limits.low, limits.high, limits.ceiling, limits.acceleration)
    speeds: list[float] = []
    held: list[int] = []
    # plain numbers: for the axes that a rig has, they are faster than arrays; NaN fails every comparison
    for x, claim, x0, v0, claim0, low, high, most, acceleration in zip(asked, claims, *columns, strict=True):
        v = (x - x0) / span_s
        half = acceleration * half_s
        reach = acceleration * reach_s
        spare = half - (claim - claim0 if claim > claim0 else claim0 - claim) / 2
        least = half * _SPARE
        off = v - (claim + claim0) / 2
        left, room = (v - half, high - x) if v > 0 else (-v - half, x - low)
        if not (
            low <= x <= high
            and -most <= v <= most
            and -most <= claim <= most
            and -reach <= v - v0 <= reach
            and (-spare <= off <= spare or -least <= off <= least)
            and (left <= 0 or left * left <= 2 * acceleration * room)
        ):
            held.append(len(speeds))
        speeds.append(v)
    if not held:
        sent = Sent(wanted.due_ns, tuple(asked), tuple(speeds), last.speed, tuple(claims), span_s, apart_s)
        return Guarded(wanted, sent)
    return _held_back(limits, last, wanted, speeds, held, span_s, apart_s)


def _held_back(
    limits: Limits, last: Sent, wanted: Setpoint, speeds: list[float], held: list[int], span_s: float, apart_s: float
) -> Guarded:
    """Return what goes out where the axes `held` cannot do what is wanted and the others can."""
    asked: list[float] = wanted.position.tolist()
    claims: list[float] = wanted.velocity.tolist()
    wanted_speeds = tuple(claims)
    positions = list(asked)
    gap = [0.0] * len(asked)
    for axis in held:
        x0, v0 = last.position[axis], last.speed[axis]
        low, high = limits.low[axis], limits.high[axis]
        most, acceleration = limits.speed[axis], limits.acceleration[axis]
        pace = _pace(claims[axis], most), _pace(last.claimed[axis], most)
        v = _closing(asked[axis], pace, x0, low, high, acceleration, span_s)
        v = min(max(v, -_fastest(x0 - low, acceleration, span_s)), _fastest(high - x0, acceleration, span_s))
        v = min(max(v, -most), most)
        # last, so that an axis which was already too fast, or outside its travel, is not jerked back inside
        v = min(max(v, v0 - acceleration * apart_s), v0 + acceleration * apart_s)
        x = min(max(x0 + v * span_s, min(low, x0)), max(high, x0))
        positions[axis] = x
        speeds[axis] = claims[axis] = (x - x0) / span_s
        gap[axis] = asked[axis] - x if math.isfinite(asked[axis]) else math.inf
    return Guarded(
        Setpoint(wanted.due_ns, np.array(positions), np.array(claims)),
        Sent(wanted.due_ns, tuple(positions), tuple(speeds), last.speed, wanted_speeds, span_s, apart_s),
        tuple(gap),
    )


def _pace(claim: float, most: float) -> float:
    """Return a claimed velocity as far as it can be believed."""
    return min(max(claim, -most), most) if math.isfinite(claim) else 0.0


def _closing(
    x: float, pace: tuple[float, float], x0: float, low: float, high: float, acceleration: float, span_s: float
) -> float:
    """Return the speed at which to close on `x`, that has this pace at the step's end and start, so as to stay.

    What braking is spare beside the acceleration of `x` itself bounds the speed of closing, by the same rule as the end
    of travel does. Beyond the travel, its end is closed on instead; an axis that stands out there is not asked to come
    in by that, for nobody would expect it to move.
    """
    if not math.isfinite(x):
        return 0.0
    target = min(max(x, min(low, x0)), max(high, x0))
    end, start = pace if target == x else (0.0, 0.0)
    spare = max(acceleration - abs(end - start) / span_s, acceleration * _SPARE)
    nearing = (target - x0) / span_s - (end + start) / 2
    return (end + start) / 2 + math.copysign(_fastest(abs(nearing) * span_s, spare, span_s), nearing)


def _fastest(room: float, acceleration: float, span_s: float) -> float:
    """Return the greatest mean speed over one step from which an axis can still stop within `room` of its start.

    It is the root of rule 4 in the module's first lines; where the axis stops within the step, the room itself limits.
    """
    if room <= 0:
        return 0.0
    if 2 * room <= acceleration * span_s * span_s:
        return room / span_s
    return math.sqrt(2 * acceleration * room) - acceleration * span_s / 2
