"""How fast the camera itself goes: its entrance pupil, its turn about the pivot, and its furthest part.

Source: textbook (kinematics of a rigid body): a point at r from the pivot goes at v + ω × r.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Rig
from sequencer.rig.pose import pose, stood

Floats = NDArray[np.float64]
_STEP = 1e-4  # seconds to either side: what is left of it is 1e-8 of the speed


@dataclass(frozen=True, slots=True)
class Fastest:
    """A largest speed, and when. Unit: seconds from the project's start, as the move is written."""

    value: float
    at_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraSpeed:
    """The fastest that the camera goes. Unit: `pupil` and `part` metres a second, `turn` degrees a second.

    `part` bounds the speed of every part that is within the reach of the pivot; None where the reach is not known.
    """

    pupil: Fastest
    turn: Fastest
    part: Fastest | None


def camera_speed(way: Trajectory, rig: Rig, at_s: Floats, speed: float, reach_m: float | None) -> CameraSpeed:
    """Return how fast the camera goes at the fastest of these instants, in a pass at `speed`. Shape: `at_s` (T,)."""
    place, velocity = way.sample(at_s), way.sample(at_s, 1) * speed
    ahead, behind = place + velocity * _STEP, place - velocity * _STEP
    after, before = pose(rig, ahead), pose(rig, behind)
    pupil = np.linalg.norm(after.position - before.position, axis=-1) / (2 * _STEP)
    pivot = np.linalg.norm(stood(rig, ahead)[0] - stood(rig, behind)[0], axis=-1) / (2 * _STEP)
    turned = after.matrix @ np.swapaxes(before.matrix, -1, -2)
    # of a small turn, twice the sine is what the matrix is skew by
    skew = np.stack(
        [
            turned[..., 2, 1] - turned[..., 1, 2],
            turned[..., 0, 2] - turned[..., 2, 0],
            turned[..., 1, 0] - turned[..., 0, 1],
        ],
        axis=-1,
    )
    turn = np.arcsin(np.clip(np.linalg.norm(skew, axis=-1) / 2, 0.0, 1.0)) / (2 * _STEP)
    return CameraSpeed(
        pupil=_fastest(pupil, at_s),
        turn=_fastest(np.degrees(turn), at_s),
        part=None if reach_m is None else _fastest(pivot + turn * reach_m, at_s),
    )


def _fastest(speeds: Floats, at_s: Floats) -> Fastest:
    most = int(speeds.argmax())
    return Fastest(float(speeds[most]), float(at_s[most]))
