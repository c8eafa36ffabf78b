"""Where every frame of a timelapse is exposed: the compiled move, spread over the frames; and how long the ways take.

It refuses frames whose pose the rig cannot stand in, and does not judge the intervals (`score.interval.refusal`).
"""

import math
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.to_mark import to_mark
from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Rig
from sequencer.score.interval import Plan
from sequencer.score.marks import AtSpeed, Mark, fault
from sequencer.score.timelapse import PosesBy

Floats = NDArray[np.float64]


def pace(plan: Plan, poses_by: PosesBy, span_s: float) -> float:
    """Return how much of a cue of `span_s` seconds passes in a second of the event.

    By frame, the last frame is exposed at the end of the cue; by time, cue and event begin and end together, so that a
    cue as long as the event is at its own speed, and the last frame comes one interval before the end.
    """
    lasts_s = plan.at(plan.frames - 1) if poses_by == "frame" else plan.event_s
    return span_s / float(lasts_s) if lasts_s else 0.0


def places_s(plan: Plan, poses_by: PosesBy, start_s: float, end_s: float) -> Floats:
    """Return where on the timeline each frame's pose is, the first at the start of the cue.

    By frame they are divided evenly, whatever the intervals, the last at the end of the cue; by time see `pace`.
    Shape: (N,). Unit: seconds from the project's start.
    """
    if poses_by == "frame":
        return np.linspace(start_s, end_s, plan.frames)
    at_s = np.array([float(plan.at(frame)) for frame in range(plan.frames)])
    return start_s + at_s * pace(plan, poses_by, end_s - start_s)


def poses(move: Trajectory, at_s: Floats) -> Floats:
    """Return the pose of each frame. Shape: (N,) to (N, A). Unit: each axis's own."""
    return move.sample(at_s)


def demand_poses(rig: Rig, frames: Floats) -> None:
    """Refuse poses in which the rig cannot stand. Error: ValueError that names the first frame, with the mend."""
    for number, pose in enumerate(frames):
        if words := fault(dict(zip(rig.names, pose.tolist(), strict=True)), rig):
            raise ValueError(f"frame {number} cannot be exposed at its pose: {words}")


def longest_way(rig: Rig, frames: Floats, speed: Fraction) -> tuple[Fraction, int]:
    """Return how long the longest way from a frame's pose to the next takes at `speed` of the limits, and to which.

    Rounded up to a thousandth of a second. Error: ValueError where there is no way, in words.
    """
    still = np.zeros(len(rig.axes))
    longest, which = 0.0, 0
    known: dict[bytes, float] = {}
    for number in range(1, len(frames)):
        step = np.round(frames[number] - frames[number - 1], 9)
        key = step.tobytes() if not rig.combined else frames[number - 1 : number + 1].tobytes()
        lasts_s = known.get(key)
        if lasts_s is None:
            mark = Mark(name_of(number), tuple(zip(rig.names, frames[number].tolist(), strict=True)), AtSpeed(speed))
            lasts_s = known[key] = to_mark(rig, frames[number - 1], still, still, mark).end_s
        if lasts_s > longest:
            longest, which = lasts_s, number
    return Fraction(math.ceil(longest * 1000), 1000), which


def name_of(frame: int) -> str:
    """Return what the pose of a frame is called on the way to it."""
    return f"frame {frame}"
