"""What every format is checked by: where nine points of each frame must be drawn, by maths that the program has not.

Pan, tilt and roll are put together by scipy (intrinsic Z, X, Y, as docs/conventions.md says), the picture by similar
triangles. The points lie in the picture's middle, at its edges and corners, at three depths.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from sequencer.export.delivery import Delivery

Floats = NDArray[np.float64]
WIDE = 4096
PLACE_M, TURN_DEG, PIXELS = 1e-5, 1e-4, 0.01  # what may differ: 0.01 mm, 0.0001 deg, 0.01 pixel of 4096


@dataclass(frozen=True)
class Shown:
    """F frames: world points (F, 9, 3) in metres, their pixels (F, 9, 2), the camera's place, its axes as columns."""

    points: Floats
    pixels: Floats
    position: Floats
    axes: Floats


def shown(given: Delivery, frames: NDArray[np.intp] | None = None) -> Shown:
    """Return what is drawn at each instant of a delivery, one after another; `frames` picks some of them."""
    assert given.path is not None
    assert given.rig.camera is not None
    position = given.path.position_m.reshape(-1, 3)
    angles = given.path.angles_deg.reshape(-1, 3)
    focal = given.path.focal_mm.ravel()
    if frames is not None:
        position, angles, focal = position[frames], angles[frames], focal[frames]
    axes: Floats = Rotation.from_euler("ZXY", angles, degrees=True).as_matrix()
    width, height = given.rig.camera.sensor_mm
    across, up = np.meshgrid([-0.97, 0.1, 0.97], [-0.97, 0.0, 0.97])
    depth = np.array([1.5, 4.0, 20.0] * 3)
    seen = np.stack([across.ravel(), up.ravel()], axis=-1)
    on_sensor = seen * np.array([width, height]) / 2
    right_up = on_sensor[np.newaxis] / focal[:, np.newaxis, np.newaxis] * depth[:, np.newaxis]
    ahead = np.broadcast_to(depth, right_up.shape[:2])
    inside = np.stack([right_up[..., 0], ahead, right_up[..., 1]], axis=-1)
    points = position[:, np.newaxis] + np.einsum("fij,fnj->fni", axes, inside)
    pixels = np.broadcast_to(on_sensor / width * WIDE, (len(position), 9, 2))
    return Shown(points, pixels, position, axes)


def pixels_of(points: Floats, position: Floats, axes: Floats, focal_by_width: Floats) -> Floats:
    """Return where points are drawn by a camera whose axes (F, 3, 3) are right, forward and up. Unit: pixels."""
    inside = np.einsum("fji,fnj->fni", axes, points - position[:, np.newaxis])
    plane = inside[..., (0, 2)] / inside[..., 1:2]
    drawn: Floats = plane * focal_by_width[:, np.newaxis, np.newaxis] * WIDE
    return drawn


def apart_deg(one: Floats, other: Floats) -> Floats:
    """Return by what angle two turnings differ. Shape: (F, 3, 3) to (F,)."""
    sine = np.linalg.norm(one - other, axis=(1, 2)) / np.sqrt(8)
    angle: Floats = 2 * np.degrees(np.arcsin(np.clip(sine, 0, 1)))
    return angle
