"""What a camera's lens draws of points in the world: frame coordinates, fields of view, frame lines, the horizon.

A frame coordinate is 0 in the middle of the sensor, -1 and 1 at its edges: x to the right, y up. The lens has no
distortion and the pixels are square as the sensor has them; nothing is squeezed. It refuses no point: what lies behind
the lens is cut off before it is projected, what lies far outside the frame after.
Source: central projection (pinhole camera), any textbook of photogrammetry.
"""

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from sequencer.rig.axis import Camera, Rig
from sequencer.rig.pose import Pose
from sequencer.rig.reading import NEAR_M, Guess, reading

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
FAR_M = 10_000.0  # stands for infinity in pictures
GUARD = 8.0  # halves of the frame to each side: four widths of it from the middle
ACTION_SAFE = 0.93  # of width and height. Source: SMPTE ST 2046-1 (from memory)
ASPECTS = (Fraction(1, 5), Fraction(5))  # the narrowest and the widest that a picture may have
_LEVEL = 1e-9


@dataclass(frozen=True, slots=True)
class Lens:
    """A focal length before a sensor, and the distance that is in focus, measured along the view. Unit: mm, metres."""

    sensor_mm: tuple[float, float]
    focal_mm: float
    focus_m: float

    @property
    def slopes(self) -> tuple[float, float]:
        """How far the edge of the frame lies beside the middle for each metre of distance, across and up."""
        return self.sensor_mm[0] / 2 / self.focal_mm, self.sensor_mm[1] / 2 / self.focal_mm

    @property
    def fields_deg(self) -> tuple[float, float]:
        """The field of view, across and up."""
        across, up = self.slopes
        return math.degrees(2 * math.atan(across)), math.degrees(2 * math.atan(up))

    @property
    def aspect(self) -> float:
        """Width of the sensor for each unit of its height."""
        return self.sensor_mm[0] / self.sensor_mm[1]


def lens(camera: Camera, rig: Rig, positions: Floats) -> tuple[Lens, tuple[Guess, ...]]:
    """Return the lens where the axes stand at `positions`, and what of it the rig moves without saying how far.

    What is focused beyond `FAR_M` is drawn as if it were there. Shape: (A,), in the order of the rig's axes.
    """
    found = reading(camera, rig, positions)
    return Lens(camera.sensor_mm, float(found.focal_mm), min(float(found.ahead_m), FAR_M)), found.guessed


def from_camera(pose: Pose, points: Floats) -> Floats:
    """Return points of the world as one camera has them: to its right, ahead and up. Shape: (..., 3) both."""
    seen: Floats = (points - pose.position) @ pose.matrix
    return seen


def projected(lens: Lens, seen: Floats) -> Floats:
    """Return frame coordinates of points as the camera has them, nan where not ahead.

    Shape: (..., 3) to (..., 2).
    """
    ahead = np.where(seen[..., 1] > 0, seen[..., 1], np.nan)
    flat: Floats = seen[..., ::2] / (ahead[..., np.newaxis] * np.array(lens.slopes))
    return flat


def drawn(pose: Pose, lens: Lens, lines: Floats, guard: float = GUARD) -> tuple[Floats, Ints]:
    """Return what can be seen of straight lines in the world, in frame coordinates, and the number of each one's line.

    Each is cut at `NEAR_M` before the lens first, and at `guard` around the frame after. Shape: (N, 2, 3) to (M, 2, 2)
    and (M,).
    """
    ends, number = before_lens(from_camera(pose, lines))
    flat = projected(lens, ends)
    kept, there = guarded(flat, guard)
    return kept, number[there]


def before_lens(lines: Floats) -> tuple[Floats, Ints]:
    """Cut lines, as the camera has them, to what lies ahead of the lens. Shape: (N, 2, 3) to (M, 2, 3) and (M,)."""
    ahead = lines[:, :, 1]
    number = np.flatnonzero((ahead >= NEAR_M).any(axis=1))
    kept, ahead = lines[number], ahead[number]
    for end in (0, 1):
        behind = np.flatnonzero(ahead[:, end] < NEAR_M)
        if len(behind):
            this, other = kept[behind, end], kept[behind, 1 - end]
            part = (NEAR_M - this[:, 1]) / (other[:, 1] - this[:, 1])
            kept[behind, end] = this + part[:, np.newaxis] * (other - this)
    return kept, number


def guarded(lines: Floats, guard: float = GUARD) -> tuple[Floats, Ints]:
    """Cut flat lines to the square [-guard, guard]. Shape: (N, 2, 2) to (M, 2, 2) and (M,).

    Source: Liang and Barsky, "A new concept and method for line clipping", 1984.
    """
    if not len(lines) or bool((np.abs(lines) <= guard).all()):
        return lines, np.arange(len(lines))
    begin, way = lines[:, 0], lines[:, 1] - lines[:, 0]
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        one, other = (-guard - begin) / way, (guard - begin) / way
    enters, leaves = np.fmin(one, other), np.fmax(one, other)
    # along an edge: all of it or nothing
    level, inside = way == 0, np.abs(begin) <= guard
    enters = np.where(level, np.where(inside, -np.inf, np.inf), enters)
    leaves = np.where(level, np.where(inside, np.inf, -np.inf), leaves)
    first, last = np.maximum(0, enters.max(axis=1)), np.minimum(1, leaves.min(axis=1))
    there = np.flatnonzero(first <= last)
    begin, way = begin[there], way[there]
    cut = np.empty((len(there), 2, 2))
    cut[:, 0], cut[:, 1] = begin + first[there, np.newaxis] * way, begin + last[there, np.newaxis] * way
    return cut, there


def framed(lens: Lens, aspect: Fraction | None) -> tuple[float, float]:
    """Return the half width and half height of the largest picture of this aspect on the sensor, as frame coordinates.

    Without an aspect it is the whole sensor.
    """
    if aspect is None:
        return 1.0, 1.0
    part = float(aspect) / lens.aspect
    return (1.0, 1 / part) if part >= 1 else (part, 1.0)


def horizon(pose: Pose, lens: Lens) -> Floats | None:
    """Return the two ends of the horizon's line across the guarded square, or None where it does not cross it.

    Shape: (2, 2).
    """
    across, up = lens.slopes
    right_z, ahead_z, up_z = pose.matrix[2]
    # frame coordinates x, y with x * a + y * b + c = 0: a direction of the view that is level
    a, b, c = right_z * across, up_z * up, ahead_z
    if math.hypot(a, b) < _LEVEL:
        return None
    nearest = -c * np.array([a, b]) / (a * a + b * b)
    along = np.array([b, -a]) / math.hypot(a, b) * (1 if b >= 0 else -1)
    if float(np.abs(nearest).max()) > 4 * GUARD:
        return None
    line, there = guarded(np.array([[nearest - along * 8 * GUARD, nearest + along * 8 * GUARD]]))
    return line[0] if len(there) else None


def focus_on_ground(pose: Pose, lens: Lens) -> Floats | None:
    """Return the line on which the plane in focus cuts the ground, as far as the frame is wide there, or None.

    Shape: (2, 3), in the world.
    """
    middle = pose.position + pose.forward * lens.focus_m
    right, up = pose.matrix[:, 0], pose.matrix[:, 2]
    way = np.array([-pose.forward[1], pose.forward[0], 0.0])  # in the plane, and level
    length = float(np.hypot(way[0], way[1]))
    fall = float(np.hypot(right[2], up[2]))
    if length < _LEVEL or fall < _LEVEL:
        return None
    down = (right * right[2] + up * up[2]) / (fall * fall)  # in the plane, one metre of height for each unit
    foot = middle - down * middle[2]
    reach = max(lens.slopes) * lens.focus_m * math.sqrt(2)
    return np.stack([foot + way / length * reach, foot - way / length * reach])


def height_px(height_m: float, distance_m: float, lens: Lens, width_px: float) -> float:
    """Return how tall a thing of this height stands in a frame of this width, `distance_m` ahead and across the view.

    The picture's pixels are square, so that its width and the sensor's tell the size of all.
    """
    return lens.focal_mm * height_m / (distance_m * lens.sensor_mm[0]) * width_px
