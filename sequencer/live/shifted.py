"""By how many pixels a rig's picture differs between two sets of positions, over the whole frame."""

import numpy as np
from numpy.typing import NDArray

from sequencer.rig.axis import Camera, Rig
from sequencer.rig.pose import pose
from sequencer.rig.reading import reading

Floats = NDArray[np.float64]

_EDGES = (-1.0, 0.0, 1.0)


def shifted_px(rig: Rig, camera: Camera, one: Floats, other: Floats) -> Floats:
    """Return the most by which the other picture shows what the one has in nine places elsewhere on the sensor.

    The nine are the middle of the frame, its corners and the middles of its sides, as far away as the lens is focused,
    at most as the subject of the camera. What is behind the other camera is shifted by infinitely much.
    Shape: (T, A) each to (T,). Source: central projection (pinhole camera), any textbook of photogrammetry.
    """
    half_mm = np.array(camera.sensor_mm) / 2
    places = np.array([(x, y) for x in _EDGES for y in _EDGES]) * half_mm
    own, lens = pose(rig, one), reading(camera, rig, one)
    far_m = np.minimum(lens.ahead_m, camera.subject_m)[:, None]
    seen = np.empty((len(one), len(places), 3))
    seen[..., 0] = places[:, 0] / lens.focal_mm[:, None] * far_m
    seen[..., 1] = far_m
    seen[..., 2] = places[:, 1] / lens.focal_mm[:, None] * far_m
    points = own.position[:, None] + seen @ np.swapaxes(own.matrix, -1, -2)
    there = pose(rig, other)
    again = (points - there.position[:, None]) @ there.matrix
    focal_mm = reading(camera, rig, other).focal_mm[:, None]
    ahead = np.where(again[..., 1] > 0, again[..., 1], np.nan)
    pitch_mm = np.divide(camera.sensor_mm, camera.pixels)
    off = np.stack([again[..., side] / ahead * focal_mm - places[:, number] for number, side in ((0, 0), (1, 2))], -1)
    found: Floats = np.nan_to_num(np.hypot(*np.moveaxis(off / pitch_mm, -1, 0)), nan=np.inf).max(axis=1)
    return found
