"""Where a camera found in a file is not one shot: it jumps, or stands for a frame or two in the middle of a move.

A jump is what no camera on a rig can do and what its neighbours do not do either. Frames that are held are a move that
was animated at fewer frames, or a tracker that lost its points.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sequencer.export.found import Floats, FoundCamera

# more than any rig that carries a camera does: some 4 g, and from rest to 360 deg/s within a twelfth of a second
_HARDEST = (40.0, 4000.0, 40.0)  # m/s2, deg/s2, and of the focal length's logarithm
# less than this from frame to frame is a camera that creeps, and may well stand
_CREEPS = (0.0005, 0.05, 0.001)  # m, deg, and of the focal length's logarithm
_ALONE = 6.0  # as many times as its neighbours
_BESIDE = 3  # steps on each side that a step is compared with
_LONGEST_HOLD = 3  # frames; what stands longer may stand because it was meant to
_ABRUPT = 0.6  # of the speed one step earlier: whoever slows down evenly has a third of it in the last step
_MOST_NAMED = 5


def cut_frames(found: FoundCamera) -> tuple[float, ...]:
    """Return the frames at which another shot begins: the first after a jump, and the first of frames that are held."""
    if len(found.frames) < 3:
        return ()
    speeds = [steps / np.diff(found.frames) for steps in _steps(found)]
    jumps = np.zeros(len(found.frames) - 1, dtype=bool)
    for speed, hardest in zip(speeds, _HARDEST, strict=True):
        # what can be gained from rest within one frame is the shortest step that can be a jump
        least = hardest / float(found.rate.fraction) ** 2
        jumps |= (speed > least) & (speed > _ALONE * _beside(speed))
    return tuple(found.frames[1:][jumps | _held(speeds)].tolist())


def with_cuts(found: FoundCamera) -> FoundCamera:
    """Return the camera with a remark that names its cuts, where it has some."""
    words = cut_words(found)
    return replace(found, remarks=(*found.remarks, words)) if words else found


def cut_words(found: FoundCamera) -> str:
    """Say where the camera is cut; empty where it is not."""
    frames = cut_frames(found)
    if not frames:
        return ""
    named = ", ".join(f"{frame:g}" for frame in frames[:_MOST_NAMED])
    more = f" and {len(frames) - _MOST_NAMED} more" if len(frames) > _MOST_NAMED else ""
    return (
        f"{found.name}: it is not one shot: at frame {named}{more} it jumps, or is held in the middle of a move, which "
        "no camera does; export the shots one by one, or at every frame"
    )


def _steps(found: FoundCamera) -> tuple[Floats, Floats, Floats]:
    """Return how far the camera goes between samples: in metres, in degrees, and by how much it zooms."""
    turned = np.linalg.norm(np.diff(found.matrix, axis=0), axis=(1, 2)) / np.sqrt(8)
    zoomed = np.abs(np.diff(np.log(found.focal_mm)))
    return (
        np.linalg.norm(np.diff(found.position_m, axis=0), axis=1),
        2 * np.degrees(np.arcsin(np.clip(turned, 0, 1))),
        np.where(np.isfinite(zoomed), zoomed, 0.0),
    )


def _beside(speed: Floats) -> Floats:
    """Return the median of the speeds of the three steps before and after each step; at the ends there are fewer."""
    padded = np.concatenate([np.full(_BESIDE, np.nan), speed, np.full(_BESIDE, np.nan)])
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * _BESIDE + 1)
    around: Floats = np.delete(windows, _BESIDE, axis=1)
    # one neighbour is known at least, since there are two steps or more
    return np.nanmedian(around, axis=1)


def _held(speeds: Sequence[Floats]) -> NDArray[np.bool_]:
    """Return the first steps of short rests that begin and end without slowing down."""
    still = np.all([speed < 1e-9 for speed in speeds], axis=0)
    first = np.zeros(len(still), dtype=bool)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], still, [False]]).astype(np.int8)))
    for begin, end in edges.reshape(-1, 2).tolist():
        inside = begin > 0 and end < len(still)
        if inside and end - begin <= _LONGEST_HOLD and _abrupt(speeds, begin - 1, -1) and _abrupt(speeds, end, 1):
            first[begin] = True
    return first


def _abrupt(speeds: Sequence[Floats], step: int, away: int) -> bool:
    """Whether the camera runs in this step about as fast as in the one farther `away` from the rest."""
    beyond = step + away
    for speed, creeps in zip(speeds, _CREEPS, strict=True):
        farther = speed[beyond] if 0 <= beyond < len(speed) else 0.0
        if speed[step] > creeps and speed[step] > _ABRUPT * farther:
            return True
    return False
