"""How far an axis still goes, and for how long, when it is told to stop: a controlled stop within its own limits.

It refuses to speak of a stop that cuts the motors' power: what then brakes is the rig.
Source: textbook (constant-jerk phases; with jerk without end it comes to v²/2a, as in any mechanics textbook).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.profile import braking, span
from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Axis, Rig

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Stopping:
    """How long a stop lasts, and the furthest that the axis gets from where it was told. Unit: seconds; the axis's."""

    lasts_s: float
    goes: float


def stopping(axis: Axis, velocity: float, acceleration: float = 0.0) -> Stopping:
    """Return the stop of an axis that moves so. Unit: the axis's own a second, and a second squared."""
    phases = braking(axis, velocity, acceleration)
    low, high = span((0.0, velocity, acceleration), phases)
    return Stopping(sum(lasts_s for _, lasts_s in phases), max(high, -low))


def reached(way: Trajectory, rig: Rig, at_s: Floats, speed: float = 1.0) -> Floats:
    """Return how low and how high each axis gets if it may be told to stop at any of these instants.

    `speed` is that of the pass: what is faster goes further after the stop. Shape: `at_s` (T,), result (A, 2).
    """
    states = [way.sample(at_s, order) * speed**order for order in range(3)]
    ends = np.stack([states[0].min(axis=0), states[0].max(axis=0)], axis=1)
    for number, axis in enumerate(rig.axes):
        columns = (each[:, number].tolist() for each in states)
        for place, velocity, acceleration in zip(*columns, strict=True):
            if velocity or acceleration:
                low, high = span((place, velocity, acceleration), braking(axis, velocity, acceleration))
                ends[number] = min(ends[number, 0], low), max(ends[number, 1], high)
    return ends
