"""What the lens is where the rig's axes stand: focal length, distance in focus, and where its entrance pupil lies.

The camera's tables come first (`rig.lens_table`). It guesses nothing without saying so.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sequencer.rig.axis import Camera, Rig
from sequencer.rig.lens_table import LensTable

Floats = NDArray[np.float64]
NEAR_M = 0.01
_ROUNDS = 5  # a pupil moves by millimetres with focus, and by far less with those millimetres

Guess = Literal["zoom", "focus"]


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """What the lens is at positions of the rig, and what of it the rig moves without saying how far.

    Shape: `...` of the positions. `marked_mm` is the focal length that the lens is marked with, `focal_mm` the true
    one at this focus; `distance_m` counts from the sensor plane and may be infinite, `ahead_m` from the entrance pupil,
    which lies `pupil_mm` ahead of that plane: zero where nobody says.
    """

    marked_mm: Floats
    focal_mm: Floats
    distance_m: Floats
    ahead_m: Floats
    pupil_mm: Floats
    guessed: tuple[Guess, ...]


def reading(camera: Camera, rig: Rig, positions: ArrayLike, focused_m: float | None = None) -> Reading:
    """Return what the lens is where the axes stand at `positions`. Shape: (..., A), in the order of the rig's axes.

    The camera's tables come first. Without one, a zoom in mm is the focal length, a focus in mm the distance ahead of
    the lens; one that counts parts is not known, and the camera's own values hold. Nor is it known beyond a table.
    With `focused_m` it is as if it were focused there, from the sensor plane, whatever the axes say.
    """
    at = np.asarray(positions, dtype=np.float64)
    marked, ahead = np.full(at.shape[:-1], camera.focal_mm), np.full(at.shape[:-1], camera.subject_m)
    from_sensor: Floats | None = None
    guessed: list[Guess] = []
    for number, axis in enumerate(rig.axes):
        if axis.kind not in ("zoom", "focus"):
            continue
        value = at[..., number][()]  # of one instant it is a number, which is many times as fast as an array of none
        if axis.kind == "zoom" and camera.zoom_table is not None:
            marked = camera.zoom_table.focal_mm(value)
            guessed += [] if _covered(value, camera.zoom_table.ends) else ["zoom"]
        elif axis.kind == "focus" and camera.focus_table is not None:
            from_sensor = camera.focus_table.distance_m(value)
            guessed += [] if _covered(value, camera.focus_table.ends) else ["focus"]
        elif axis.unit != "mm" or not bool((known := value > 0).any()):
            guessed.append(axis.kind)
        else:
            every = bool(known.all())
            if axis.kind == "zoom":
                marked = value if every else np.where(known, value, marked)
            else:
                ahead = value / 1000 if every else np.where(known, value / 1000, ahead)
            guessed += [] if every else [axis.kind]
    if focused_m is not None:
        from_sensor = np.full_like(ahead, focused_m)
        guessed = [one for one in guessed if one != "focus"]
    if from_sensor is None:
        from_sensor = ahead if camera.pupil is None else sensor_from(camera.pupil, marked, ahead)
    pupil = np.zeros_like(from_sensor) if camera.pupil is None else camera.pupil.at(marked, from_sensor)
    breathing = 1.0 if camera.breathing is None else camera.breathing.at(marked, from_sensor)
    ahead = np.maximum(from_sensor - pupil / 1000, NEAR_M)
    return Reading(marked, marked * breathing, from_sensor, ahead, pupil, tuple(guessed))


def sensor_from(pupil: LensTable, marked_mm: Floats, ahead_m: Floats) -> Floats:
    """Return distances from the sensor plane of what lies ahead of the pupil, whose place they decide themselves."""
    from_sensor = ahead_m
    for _ in range(_ROUNDS):
        from_sensor = ahead_m + pupil.at(marked_mm, from_sensor) / 1000
    return from_sensor


def _covered(value: Floats, ends: tuple[float, float]) -> bool:
    if not value.ndim:
        return bool(ends[0] <= value <= ends[1])
    return bool(((value >= ends[0]) & (value <= ends[1])).all())
