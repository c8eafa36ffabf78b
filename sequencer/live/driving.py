"""Driving by hand: every axis goes as fast as the hand asks, or to where it asks, as soon as its limits let it, and
slows before its ends.

It refuses nothing: a hand that asks for too much gets what the motor can do, and no number at all asks for rest.

What is kept of limits that tie axes together (`rig.combined`): their travel and speed, at every instant and while
braking from there, by boxes of what each axis may yet sweep; where two wishes do not go together, the axis that the rig
names first has its own. An axis whose range would bring in a limit that another breaks waits before it. Their
acceleration and jerk are kept by driving all their axes softly enough at any time. A rig that stands in a forbidden
combination goes no further in.
"""

from dataclasses import dataclass, replace

from sequencer.live.steering import step
from sequencer.live.tied import softened, tied
from sequencer.live.wish import Wish
from sequencer.rig.axis import Rig

# part of each axis's acceleration and jerk that driving uses: the rest is for the steps in which setpoints go out
PART = 0.9


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
    return softened(replace(rig, axes=tuple(axes)), PART)


def steer(rig: Rig, driven: Driven, wanted: tuple[Wish, ...], lasts_s: float) -> Driven:
    """Return how every axis stands and moves `lasts_s` later, when this is what the hand wants of each.

    `rig` is an `eased` one. From the answer every axis can brake inside its travel, if it could before; one that stands
    outside goes no further out. One that is to come to a place comes to rest just there, as soon as its limits let it;
    it passes it only where braking itself does. Shape: `wanted` A.
    """
    states = list(zip(driven.position, driven.velocity, driven.acceleration, strict=True))
    steps = [step(axis, state, wish, lasts_s) for axis, state, wish in zip(rig.axes, states, wanted, strict=True)]
    if rig.combined:
        steps = tied(rig, states, wanted, steps, lasts_s)
    positions, velocities, accelerations = zip(*(one.after for one in steps), strict=True)
    return Driven(positions, velocities, accelerations)
