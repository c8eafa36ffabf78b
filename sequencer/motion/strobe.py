"""Where a move shifts the picture so fast from frame to frame that it may strobe. It is advice: no motor knows of it.

A thing should take seven seconds or more to cross the width of the picture, at 24 frames a second and a shutter of 180
degrees (trade rule, common practice, from memory). What the eye sees then are the gaps between one frame's blur and the
next one's: at that speed 1/168 of the width from frame to frame, half of it blurred, half a gap. The rule is carried
over by that gap (our own reading, no source): half the frames a second, or less of each exposed, ask for a slower
pan; a shutter open for more than 270 degrees counts as 270, since then blur is what is seen, and not gaps.

The picture's shift is that of a still thing in the middle of the frame, at the distance in focus; and about that middle
the shift of the frame's corner, where the camera rolls, goes in or out, or zooms: all of these turn or stretch the
picture. Who follows a moving thing keeps that one still, and may pan faster.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Camera, Rig
from sequencer.rig.lens import FAR_M
from sequencer.rig.pose import pose
from sequencer.rig.reading import NEAR_M, reading
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]
CROSSING_S = 7.0  # at 24 frames a second and 180 degrees
SHUTTER_DEG = 180.0
WHIP_S = 0.5  # a pan that crosses the picture faster is meant as a blur. Common practice, no source
_WIDEST_DEG = 270.0
_APART_S = 0.5  # stretches that are nearer to each other are one
_BLOCK = 16_384  # frames that are worked on at once
_TOLERANCE = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Strobe:
    """A stretch that may strobe, and its worst frame, `at_s`. Instants are those of the move as it is written.

    `axis` shifts the picture most there, at `speed`; at `gentle_speed`, all axes slowed alike, it would not strobe.
    Unit: `crossing_s` is how long a thing takes to cross the picture's width on the screen, 0 where it jumps out of
    it; the speeds are the axis's unit in a second of the run.
    """

    from_s: float
    to_s: float
    at_s: float
    axis: str
    speed: float
    gentle_speed: float
    crossing_s: float

    @property
    def whip(self) -> bool:
        """Whether it is so fast that it looks like one blur."""
        return self.crossing_s < WHIP_S


def allowed_shift(shutter_deg: float = SHUTTER_DEG) -> float:
    """Return how far the picture may shift from frame to frame, as a part of its width."""
    gap = 1 - min(shutter_deg, _WIDEST_DEG) / 360
    return (1 - SHUTTER_DEG / 360) / (CROSSING_S * 24) / gap


def least_crossing_s(rate: Rate, shutter_deg: float = SHUTTER_DEG) -> float:
    """Return how long a thing should take to cross the picture's width, at least."""
    return float(1 / rate.fraction) / allowed_shift(shutter_deg)


def strobes(
    rig: Rig,
    trajectory: Trajectory,
    rate: Rate,
    speed: float = 1.0,
    camera_hz: float | None = None,
    shutter_deg: float | None = None,
) -> tuple[Strobe, ...]:
    """Return the stretches that may strobe where the trajectory is run at `speed`, in order; none without a camera.

    `rate` is that at which it is shown. `camera_hz` is how many frames a second are taken, where it is another: fewer
    for a timelapse, more for slow motion; `shutter_deg` the shutter, where it is not the camera's own, 0 for frames
    that are taken at rest. Unit: the trajectory's own seconds, of which `speed` pass in one second.
    """
    camera = rig.camera
    if camera is None:
        return ()
    allowed = allowed_shift(camera.shutter_deg or SHUTTER_DEG if shutter_deg is None else shutter_deg)
    taken_hz = float(rate.fraction) if camera_hz is None else camera_hz
    step_s = speed / taken_hz
    first = math.floor(trajectory.start_s / step_s)
    frames = math.ceil(trajectory.end_s / step_s) - first
    found, shifted = [], []
    for begin in range(0, frames, _BLOCK):
        at_s = (first + begin + np.arange(min(_BLOCK, frames - begin) + 1, dtype=np.float64)) * step_s
        shift = shifts(rig, camera, trajectory.sample(at_s))
        there = np.flatnonzero(shift > allowed * (1 + _TOLERANCE))
        found.append(there + begin)
        shifted.append(shift[there])
    fast, shift = np.concatenate(found or [np.arange(0)]), np.concatenate(shifted or [np.zeros(0)])
    apart = max(int(_APART_S * float(rate.fraction)), 1)
    stretches = []
    for span in _stretches(fast, apart):
        worst = span.start + int(shift[span].argmax())
        at_s = np.array([first + fast[worst], first + fast[worst] + 1]) * step_s
        axis, moved = _leader(rig, camera, trajectory.sample(at_s))
        most = float(shift[worst])
        stretches.append(
            Strobe(
                from_s=float((first + fast[span.start]) * step_s),
                to_s=float((first + fast[span.stop - 1] + 1) * step_s),
                at_s=float(at_s[0]),
                axis=axis,
                speed=abs(moved) * taken_hz,
                gentle_speed=abs(moved) * taken_hz * allowed / most,
                crossing_s=float(1 / rate.fraction) / most,
            )
        )
    return tuple(stretches)


def shifts(rig: Rig, camera: Camera, positions: Floats) -> Floats:
    """Return how far the picture shifts from each frame to the next, as parts of its width; infinite out of sight.

    Shape: `positions` (T+1, A) of the frames, to (T,).
    """
    where, what = pose(rig, positions), reading(camera, rig, positions)
    ahead_m = np.minimum(what.ahead_m[:-1, np.newaxis], FAR_M)
    points = where.position[:-1] + ahead_m * where.forward[:-1]
    seen = np.einsum("ni,nij->nj", points - where.position[1:], where.matrix[1:])
    focal = what.focal_mm[1:] / camera.sensor_mm[0]
    off = np.hypot(seen[:, 0], seen[:, 2])
    with np.errstate(divide="ignore"):
        middle = np.where(seen[:, 1] > NEAR_M, focal * off / np.maximum(seen[:, 1], NEAR_M), np.inf)
    turn = np.einsum("nij,nik->njk", where.matrix[:-1], where.matrix[1:])
    rolled = np.arctan2(turn[:, 0, 2] - turn[:, 2, 0], turn[:, 0, 0] + turn[:, 2, 2])
    far_m = np.maximum(np.linalg.norm(seen, axis=1), NEAR_M)
    grown = what.focal_mm[1:] / what.focal_mm[:-1] * ahead_m[:, 0] / far_m
    corner = math.hypot(*camera.sensor_mm) / 2 / camera.sensor_mm[0]
    # how far a point at distance one from the middle goes when it is turned about it and grows away from it
    shift: Floats = middle + np.abs(grown * np.exp(1j * rolled) - 1) * corner
    return shift


def _stretches(frames: NDArray[np.int64], apart: int) -> Iterator[slice]:
    """Yield spans of the frames' list in which no two neighbours are further apart than that."""
    edges = [0, *(np.flatnonzero(np.diff(frames) > apart) + 1).tolist(), len(frames)]
    for begin, end in pairwise(edges):
        if end > begin:
            yield slice(begin, end)


def _leader(rig: Rig, camera: Camera, positions: Floats) -> tuple[str, float]:
    """Return the axis that alone would shift the picture most from one frame to the next, and how far it goes."""
    most, name, moved = -1.0, "", 0.0
    for number, axis in enumerate(rig.axes):
        alone = positions[[0, 0]].copy()
        alone[1, number] = positions[1, number]
        shift = float(shifts(rig, camera, alone)[0])
        if shift > most:
            most, name, moved = shift, axis.name, float(positions[1, number] - positions[0, number])
    return name, moved
