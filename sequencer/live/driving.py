"""Driving by hand: every axis goes as fast as the hand asks, as soon as its limits let it, and slows before its ends.

It refuses nothing: a hand that asks for too much gets what the motor can do, and no number at all asks for rest.
"""

import math
from dataclasses import dataclass, replace

from sequencer.motion.profile import Phase, State, braking, span
from sequencer.rig.axis import Axis, Rig

# part of each axis's acceleration and jerk that driving uses: the rest is for the steps in which setpoints go out
PART = 0.9
_HALVINGS = 12
_SHORT = 1e-9  # of the travel: so far from its ends braking is to come to rest, since numbers round


@dataclass(frozen=True, slots=True)
class Driven:
    """How every axis stands and moves. Shape: A each. Unit: the axis's own, that a second, a second squared."""

    position: tuple[float, ...]
    velocity: tuple[float, ...]
    acceleration: tuple[float, ...]


def resting(position: tuple[float, ...]) -> Driven:
    """Return every axis at rest."""
    still = (0.0,) * len(position)
    return Driven(position, still, still)


def eased(rig: Rig) -> Rig:
    """Return the rig as it is driven: with what driving leaves of its limits."""
    axes = (replace(axis, acceleration=axis.acceleration * PART, jerk=axis.jerk * PART) for axis in rig.axes)
    return replace(rig, axes=tuple(axes), combined=())


def steer(rig: Rig, driven: Driven, wanted: tuple[float, ...], lasts_s: float) -> Driven:
    """Return how every axis stands and moves `lasts_s` later, when the hand asks for the speeds `wanted`.

    `rig` is an `eased` one. From the answer every axis can brake inside its travel, if it could before; one that stands
    outside goes no further out. Shape: `wanted` A. Unit: each axis's own a second.
    """
    states = zip(driven.position, driven.velocity, driven.acceleration, strict=True)
    moved = [
        _steer(axis, state, _speed(axis, asked), lasts_s)
        for axis, state, asked in zip(rig.axes, states, wanted, strict=True)
    ]
    positions, velocities, accelerations = zip(*moved, strict=True)
    return Driven(positions, velocities, accelerations)


def _speed(axis: Axis, asked: float) -> float:
    return min(max(asked, -axis.speed), axis.speed) if math.isfinite(asked) else 0.0


def _steer(axis: Axis, state: State, asked: float, lasts_s: float) -> State:
    """Return the state after the step in which as much of `asked` is done as leaves room for braking."""
    after = _towards(axis, state, asked, lasts_s)
    if axis.travel is None or _brakes_inside(axis, state[0], after):
        return after
    # braking itself is always inside; what comes nearest to the wish is in between
    least, most = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = (least + most) / 2
        if _brakes_inside(axis, state[0], _towards(axis, state, asked * middle, lasts_s)):
            least = middle
        else:
            most = middle
    return _towards(axis, state, asked * least, lasts_s)


def _towards(axis: Axis, state: State, speed: float, lasts_s: float) -> State:
    """Return the state after a time on the quickest way to an even speed."""
    _, velocity, acceleration = state
    return _flown(state, braking(axis, velocity - speed, acceleration), lasts_s, speed)


def _flown(state: State, phases: tuple[Phase, ...], lasts_s: float, speed: float) -> State:
    """Return the state after `lasts_s` of these phases, and of even `speed` when they are over."""
    p, v, a = state
    left_s = lasts_s
    for jerk, phase_s in phases:
        t = min(phase_s, left_s)
        p += t * (v + t * (a / 2 + t * jerk / 6))
        v += t * (a + t * jerk / 2)
        a += t * jerk
        left_s -= t
        if left_s <= 0:
            return p, v, a
    return p + left_s * speed, speed, 0.0


def _brakes_inside(axis: Axis, from_position: float, state: State) -> bool:
    """Whether braking from a state keeps an axis in its travel, or no further outside than it was."""
    if axis.travel is None:
        return True
    low, high = span(state, braking(axis, state[1], state[2]))
    short = _SHORT * (axis.travel[1] - axis.travel[0])
    return low >= min(axis.travel[0] + short, from_position) and high <= max(axis.travel[1] - short, from_position)
