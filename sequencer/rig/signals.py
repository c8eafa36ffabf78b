"""All that crosses the cable to a rig and back. Shape: A axes, in the rig's order."""

import math
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
TriggerName = Literal["shutter", "record", "cut"]
TRIGGER_NAMES: tuple[TriggerName, ...] = get_args(TriggerName)


@dataclass(frozen=True, slots=True, eq=False)
class Setpoint:
    """Where every axis shall stand at the instant `due_ns` of the monotonic clock.

    Shape: `position`, `velocity` (A,). Unit: the axis's own, and that a second. `timeline_s` is where the timeline is
    then, in seconds from the project's start; NaN where no clock says.
    """

    due_ns: int
    position: Floats
    velocity: Floats
    timeline_s: float = math.nan


@dataclass(frozen=True, slots=True)
class Trigger:
    """What the camera shall do at `due_ns` of the monotonic clock.

    `shutter`: expose one frame; `record`: start recording; `cut`: stop recording.
    """

    due_ns: int
    name: TriggerName


@dataclass(frozen=True, slots=True, eq=False)
class Feedback:
    """Where the rig says it stood at `at_ns` of the monotonic clock; NaN for an axis that it did not name.

    Shape: `position` (A,). `heard_ns` is when this machine received it: the two differ by the link's delay, and by
    the error of the other clock where the rig stamps. `switches` is for each axis whether its homing switch is closed,
    None where the rig has not said so lately; empty for a rig that never speaks of switches.
    """

    at_ns: int
    position: Floats
    heard_ns: int
    switches: tuple[bool | None, ...] = ()
