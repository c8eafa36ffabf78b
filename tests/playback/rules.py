"""The guard's rules said a second time, over whole runs of sent positions, and a rig to try them on."""

import numpy as np
from numpy.typing import NDArray

from sequencer.playback.guard import LONGEST_STEP_S
from sequencer.rig.axis import Axis, Rig

Floats = NDArray[np.float64]

RIG = Rig(
    name="trial",
    axes=(
        Axis(name="pan", kind="pan", unit="deg", travel=None, speed=60, acceleration=120, jerk=600),
        Axis(
            name="tilt", kind="tilt", unit="deg", travel=(-30, 60), speed=40, acceleration=90, jerk=500, latency_s=0.05
        ),
        Axis(name="slide", kind="slide", unit="mm", travel=(0, 1200), speed=300, acceleration=700, jerk=4000),
        Axis(
            name="focus", kind="focus", unit="part", travel=(0, 1), speed=1.5, acceleration=12, jerk=150, latency_s=0.02
        ),
    ),
)
SPEED = np.array([axis.speed for axis in RIG.axes])
ACCELERATION = np.array([axis.acceleration for axis in RIG.axes])
LOW, HIGH = np.array([axis.travel or (-np.inf, np.inf) for axis in RIG.axes]).T


def broken(due_ns: NDArray[np.int64], position: Floats, first_speed: Floats | None = None, first_s: float = 0.0) -> str:
    """Return which rule a run of setpoints breaks, or nothing.

    Shape: `due_ns` (N,), `position` (N, A). `first_speed` (A,) is the mean speed of the step of `first_s` that came
    before. Both count a silence longer than the guard's longest step as that step, since the guard promises it so.
    """
    span_s = np.minimum(np.diff(due_ns) * 1e-9, LONGEST_STEP_S)[:, None]
    speed = np.diff(position, axis=0) / span_s
    if not np.isfinite(position).all():
        return "a position is no number"
    if (position < LOW).any() or (position > HIGH).any():
        return "outside travel"
    if (np.abs(speed) > SPEED * (1 + 2e-6)).any():
        return f"speed {np.max(np.abs(speed) / SPEED)} of the limit"
    before = np.vstack((np.zeros_like(SPEED) if first_speed is None else first_speed, speed[:-1]))
    apart_s = (np.vstack(([[first_s]], span_s[:-1])) + span_s) / 2
    change = np.abs(speed - before) / apart_s
    # beside the part that rule 3 grants: what double precision loses in differencing twice
    rounding = 8 * np.finfo(float).eps * np.abs(position[1:]) / span_s / apart_s
    if (change > ACCELERATION * (1 + 2e-6) + rounding).any():
        return f"acceleration {np.max(change / ACCELERATION)} of the limit"
    left = np.maximum(np.abs(speed) - ACCELERATION * span_s / 2, 0)
    end = position[1:] + np.sign(speed) * left**2 / (2 * ACCELERATION)
    slack = 1e-9 * SPEED
    if (end < LOW - slack).any() or (end > HIGH + slack).any():
        return "could not stop inside travel"
    return ""
