"""Where the camera and the middle of its view go over the move, and how fast the picture moves. It knows no Qt."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.shape import Shape
from sequencer.motion.standing import standing
from sequencer.rig.axis import Rig
from sequencer.rig.lens import GUARD, Lens
from sequencer.rig.pose import Pose, pose
from sequencer.rig.reading import NEAR_M

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
# between two ticks: a second, or more where the move lasts longer than so many of them
STEPS_S = (1, 2, 5, 10, 30, 60, 120, 300, 600, 1800, 3600, 7200)
_MOST_STEPS = 60
PAST, COMING = 3, 6  # ticks
_PARTS = 16  # of the way from tick to tick
_WHOLE = 600  # places of a whole course
# widths of the frame in a second: up to the first a thing takes seven seconds and more to cross the picture, which
# the eye follows with ease (common practice, no source); beyond the second it takes less than two
CALM, QUICK = 1 / 7, 1 / 2


@dataclass(frozen=True, slots=True, eq=False)
class Ribbon:
    """The way of the view's middle, before and after an instant, as short straight lines.

    Shape: `ways` (N, 2, 3), in the world; `speed` (N,), in widths of the frame a second; `past` (N,), whether it is
    over; `after` (N,), how many ticks from now it begins at, 0 where that is no tick.
    """

    ways: Floats
    speed: Floats
    past: NDArray[np.bool_]
    after: Ints


def tick_s(lasts_s: float) -> int:
    """Return how long it is from tick to tick for a move of this length."""
    return next((step for step in STEPS_S if lasts_s / step <= _MOST_STEPS), STEPS_S[-1])


def said(seconds: int) -> tuple[int, str]:
    """Return a length of time in the largest unit in which it is whole: `s`, `min` or `h`."""
    if seconds % 3600 == 0:
        return seconds // 3600, "h"
    return (seconds // 60, "min") if seconds % 60 == 0 else (seconds, "s")


def ends_s(shapes: Mapping[str, Shape]) -> tuple[float, float] | None:
    """Return when the first and the last key of all tracks stand, or None where there is none."""
    if not shapes:
        return None
    return min(float(one.at_s[0]) for one in shapes.values()), max(float(one.at_s[-1]) for one in shapes.values())


def course(rig: Rig, shapes: Mapping[str, Shape]) -> Pose | None:
    """Return where the camera is from the first key to the last, at many instants, or None without any key."""
    ends = ends_s(shapes)
    if ends is None:
        return None
    at_s = ends[0] + (ends[1] - ends[0]) * np.linspace(0.0, 1.0, _WHOLE).astype(np.float64)
    return pose(rig, standing(rig, shapes, at_s))


def middles(where: Pose, lens: Lens) -> Floats:
    """Return the points in focus in the middle of the view. Shape: (..., 3)."""
    return where.position + where.forward * lens.focus_m


def ribbon(rig: Rig, shapes: Mapping[str, Shape], now_s: float, speed: float, lens: Lens) -> Ribbon:
    """Return the ribbon about `now_s`, as far as there are keys.

    Unit: `now_s` seconds of the move as it is written, of which `speed` pass in one second.
    """
    ends = ends_s(shapes) or (0.0, 0.0)
    step_s = tick_s((ends[1] - ends[0]) / speed)
    number = np.arange(-PAST * _PARTS, COMING * _PARTS + 1)
    part_s = step_s / _PARTS
    at_s: Floats = now_s + number.astype(np.float64) * (part_s * speed)
    begin, end = at_s.searchsorted(ends[0], "left"), at_s.searchsorted(ends[1], "right")
    number, at_s = number[begin:end], at_s[begin:end]
    where = pose(rig, standing(rig, shapes, at_s))
    points = middles(where, lens)
    ways = np.empty((max(len(points) - 1, 0), 2, 3))
    ways[:, 0], ways[:, 1] = points[:-1], points[1:]
    number = number[:-1]
    after = np.where(number % _PARTS == 0, number // _PARTS, 0)
    return Ribbon(ways, travelled(where, ways, lens) / part_s, number < 0, after)


def travelled(where: Pose, ways: Floats, lens: Lens) -> Floats:
    """Return how far each way takes the middle of the view, as the camera sees it that sets out.

    Shape: `where` of N+1 instants, `ways` (N, 2, 3), to (N,). Unit: widths of the frame.
    """
    moved = np.einsum("ni,nij->nj", ways[:, 1] - ways[:, 0], where.matrix[:-1])
    ahead = np.maximum(lens.focus_m + moved[:, 1], NEAR_M)
    far: Floats = np.hypot(moved[:, 0], moved[:, 2]) / (ahead * 2 * lens.slopes[0])
    return np.minimum(far, GUARD)


def level(speed: Floats) -> NDArray[np.int64]:
    """Return how fast that is: 0 calm, 1 quick, 2 hasty. Unit: widths of the frame a second."""
    found: NDArray[np.int64] = np.digitize(speed, [CALM * (1 + 1e-9), QUICK * (1 + 1e-9)])
    return found


def width_of_picture_deg(lens: Lens, half: tuple[float, float]) -> tuple[float, float]:
    """Return the field of view of the picture inside the frame, across and up. Unit: degrees."""
    across, up = lens.slopes
    return math.degrees(2 * math.atan(across * half[0])), math.degrees(2 * math.atan(up * half[1]))
