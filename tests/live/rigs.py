"""Rigs for tests of driving, and what a driven axis does between the ticks."""

import numpy as np

from sequencer.live.driving import Driven
from sequencer.live.steering import bounds, flown, step, way
from sequencer.live.wish import Wish
from sequencer.rig.axis import Axis, Rig

PAN = Axis(name="pan", kind="pan", unit="deg", travel=None, speed=90, acceleration=160, jerk=700)
TILT = Axis(name="tilt", kind="tilt", unit="deg", travel=(-45, 60), speed=60, acceleration=110, jerk=550)
ROLL = Axis(name="roll", kind="roll", unit="deg", travel=(-20, 20), speed=40, acceleration=90, jerk=500)
SLIDE = Axis(name="slide", kind="slide", unit="mm", travel=(0, 900), speed=400, acceleration=500, jerk=2500, home=100)
FOCUS = Axis(name="focus", kind="focus", unit="part", travel=(0, 1), speed=0.9, acceleration=3, jerk=25, home=0.5)
RIG = Rig(name="quay", axes=(PAN, TILT, ROLL, SLIDE, FOCUS))
STEP_S = 0.004


def between(rig: Rig, driven: Driven, wanted: tuple[Wish, ...], lasts_s: float, parts: int) -> np.ndarray:
    """Return the path within one step of axes that nothing ties together: position, velocity, acceleration, jerk.

    Shape: (parts, 4, A), the last row at the end of the step.
    """
    rows = np.empty((parts, 4, len(rig.axes)))
    states = zip(driven.position, driven.velocity, driven.acceleration, strict=True)
    for number, (axis, state, wish) in enumerate(zip(rig.axes, states, wanted, strict=True)):
        found = step(axis, state, wish, lasts_s)
        phases = way(axis, state, found.speed, found.until_s)
        jerks, gone_s = [], 0.0
        for jerk, phase_s in phases:
            if gone_s < lasts_s:
                jerks.append(abs(jerk))
            gone_s += phase_s
        for part in range(parts):
            rows[part, :3, number] = flown(state, phases, lasts_s * (part + 1) / parts, 0.0)
            rows[part, 3, number] = max(jerks, default=0.0)
    return rows


def over(rig: Rig, path: np.ndarray, start: tuple[float, ...]) -> np.ndarray:
    """Return by what part each axis's limits are exceeded at most: travel, speed, acceleration, jerk. Shape: (4, A)."""
    found = np.zeros((4, len(rig.axes)))
    for number, axis in enumerate(rig.axes):
        position, velocity, acceleration, jerk = path[:, :, number].T
        if axis.travel is not None:
            low, high = bounds(axis, start[number])
            width = axis.travel[1] - axis.travel[0]
            found[0, number] = max(low - position.min(), position.max() - high, 0.0) / width
        for row, (asked, most) in enumerate(
            ((velocity, axis.speed), (acceleration, axis.acceleration), (jerk, axis.jerk)), 1
        ):
            found[row, number] = max(np.abs(asked).max() / most - 1, 0.0)
    return found
