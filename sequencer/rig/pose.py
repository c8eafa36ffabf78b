"""From the positions of a rig's axes to where its camera is and where it looks, for one instant or many at once.

Right-handed, metres: X to the camera's right, Y forward, Z up, the camera looking along Y when all axes stand at zero.
Pan, tilt and roll turn in this order about the camera's own Z, X and Y, and meet in one point, the pivot. The camera is
where the lens's entrance pupil is, which is the centre of its projection; it need not be the pivot, and moves along the
optical axis with zoom and focus where the lens has a table of it. Slides and lifts carry the pivot; arms, and axes of a
head that do not meet, are not known here.
Source: the order and signs of OpenTrackIO 1.0.1 (SMPTE RIS-OSVP), transforms.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sequencer.rig.axis import Axis, Rig
from sequencer.rig.reading import reading

Floats = NDArray[np.float64]
# the unit in which an axis of each kind can be read as a place or an angle
READ_AS = {"pan": "deg", "tilt": "deg", "roll": "deg", "slide": "mm", "lift": "mm"}


@dataclass(frozen=True, slots=True, eq=False)
class Pose:
    """Where the camera, that is its entrance pupil, is and looks, for instants of any shape `...`.

    Shape: `position` (..., 3); `matrix` (..., 3, 3), whose columns are the camera's right, forward and up in the world;
    `angles_deg` (..., 3), pan, tilt and roll as the axes count them, with all their turns. Unit: metres, degrees.
    """

    position: Floats
    matrix: Floats
    angles_deg: Floats

    @property
    def forward(self) -> Floats:
        """Where the camera looks. Shape: (..., 3), of length one."""
        return self.matrix[..., :, 1]


def pose(rig: Rig, positions: ArrayLike) -> Pose:
    """Return the pose of the camera where the axes stand at `positions`. Axes that cannot be read count as zero.

    Shape: (..., A), in the order of the rig's axes. Unit: each axis's own.
    """
    pivot, angles_deg = stood(rig, positions)
    matrix = turned(angles_deg)
    return Pose(pivot + (matrix @ pupil_m(rig, positions)[..., np.newaxis])[..., 0], matrix, angles_deg)


def pupil_m(rig: Rig, positions: ArrayLike) -> Floats:
    """Return where the entrance pupil is from the pivot: to the camera's right, ahead and above.

    Where the lens has a table of it, it counts from the sensor plane, by zoom and focus; else it stays.
    Shape: (..., A) to (..., 3), or (3,) for one that stays. Unit: each axis's own; metres.
    """
    fixed = np.array(rig.geometry.mounted_mm) / 1000
    if rig.camera is None or rig.camera.pupil is None:
        return fixed
    ahead = reading(rig.camera, rig, positions).pupil_mm / 1000
    place = np.broadcast_to(fixed, (*ahead.shape, 3)).copy()
    place[..., 1] += ahead
    return place


def stood(rig: Rig, positions: ArrayLike) -> tuple[Floats, Floats]:
    """Return where the pivot is and how pan, tilt and roll stand: both are sums over the axes.

    Shape: (..., A) to (..., 3) each. Unit: each axis's own; metres, degrees.
    """
    at = np.asarray(positions, dtype=np.float64)
    angles_deg = np.zeros((*at.shape[:-1], 3))
    pivot = np.zeros((*at.shape[:-1], 3))
    pivot[..., 2] = rig.geometry.height_m
    for number, axis in enumerate(rig.axes):
        if axis.unit != READ_AS.get(axis.kind):
            continue
        value = at[..., number] * rig.geometry.sign(axis.name, axis.kind)
        if axis.kind == "slide":
            pivot += value[..., np.newaxis] / 1000 * track(rig, axis)
        elif axis.kind == "lift":
            pivot[..., 2] += value / 1000
        else:
            angles_deg[..., ("pan", "tilt", "roll").index(axis.kind)] += value
    return pivot, angles_deg


def turned(angles_deg: ArrayLike) -> Floats:
    """Return the matrix of a camera that is panned, then tilted, then rolled. Shape: (..., 3) to (..., 3, 3)."""
    angles = np.radians(np.asarray(angles_deg, dtype=np.float64))
    cos, sin = np.cos(angles), np.sin(angles)
    # of one instant numbers, which are many times as fast as arrays of none
    (cp, ct, cr), (sp, st, sr) = ([each[..., number][()] for number in range(3)] for each in (cos, sin))
    matrix = np.empty((*angles.shape, 3))
    matrix[..., 0, 0], matrix[..., 0, 1], matrix[..., 0, 2] = cp * cr - sp * st * sr, -sp * ct, cp * sr + sp * st * cr
    matrix[..., 1, 0], matrix[..., 1, 1], matrix[..., 1, 2] = sp * cr + cp * st * sr, cp * ct, sp * sr - cp * st * cr
    matrix[..., 2, 0], matrix[..., 2, 1], matrix[..., 2, 2] = -ct * sr, st, ct * cr
    return matrix


def track(rig: Rig, axis: Axis) -> Floats:
    """Return where the slide `axis` goes as its position grows. Shape: (3,), of length one, in the world."""
    heading = np.radians(rig.geometry.heading(axis.name))
    return np.array([-np.sin(heading), np.cos(heading), 0.0])


def unread(rig: Rig) -> tuple[tuple[str, str, str], ...]:
    """Return the axes that should move the camera and cannot be read: name, the unit that it has, the one it needs."""
    return tuple(
        (axis.name, axis.unit, READ_AS[axis.kind])
        for axis in rig.axes
        if axis.kind in READ_AS and axis.unit != READ_AS[axis.kind]
    )
