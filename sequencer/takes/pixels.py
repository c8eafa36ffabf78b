"""How far an axis's difference moves the picture on the sensor. It knows one lens, one sensor and one distance."""

import numpy as np
from numpy.typing import NDArray

from sequencer.rig.axis import Camera

Floats = NDArray[np.float64]

ACROSS = ("pan", "slide")
UPWARD = ("tilt", "lift")
_FARTHEST_DEG = 89.0
_UNITS = {"pan": "deg", "tilt": "deg", "roll": "deg", "slide": "mm", "lift": "mm"}


def moves_picture(kind: str, unit: str) -> bool:
    """Tell whether an axis of this kind and unit shifts the picture: lens motors and unknown kinds do not."""
    return _UNITS.get(kind) == unit


def pixels(difference: Floats, kind: str, unit: str, camera: Camera) -> Floats:
    """Return how far the picture moves on the sensor when an axis stands `difference` away, never negative.

    Pan and tilt: at the middle of the frame, f tan(difference); towards the edges it is more, by 1/cos² of the angle
    off the axis, and a pan with the head tilted is less. Roll: at the corner of the frame. Slide and lift: a point at
    the subject's distance, the axis taken to run across the view.
    Shape: any, kept. Unit: degrees or millimetres in; pixels out. Error: ValueError for an axis that moves no picture.
    Source: central projection (pinhole camera), any textbook of photogrammetry.
    """
    if not moves_picture(kind, unit):
        raise ValueError(f"an axis of kind {kind} in {unit} does not shift the picture; take one that does")
    pitch_mm = np.divide(camera.sensor_mm, camera.pixels)
    if kind == "roll":
        return _corner(np.radians(difference), np.asarray(camera.sensor_mm) / 2, pitch_mm)
    if unit == "deg":
        # a quarter turn away nothing of the picture is left: the number then only says that it is very far
        moved_mm = camera.focal_mm * np.tan(np.radians(np.minimum(np.abs(difference), _FARTHEST_DEG)))
    else:
        moved_mm = camera.focal_mm * np.abs(difference) / (camera.subject_m * 1000)
    return np.asarray(moved_mm / pitch_mm[0 if kind in ACROSS else 1], dtype=np.float64)


def worth(moved_px: float, kind: str, unit: str, camera: Camera) -> float:
    """Return how far an axis may be away for the picture to move by so many pixels: the inverse of `pixels`.

    Unit: pixels above zero in; degrees or millimetres out. Error: ValueError for an axis that moves no picture, and
    where no difference that is looked at moves it so far.
    """
    low, high = 0.0, _FARTHEST_DEG if unit == "deg" else camera.subject_m * 1e6
    if not moved_px < float(pixels(np.array(high), kind, unit, camera)):
        raise ValueError(f"no difference of {kind} moves the picture by {moved_px:g} pixels; give fewer")
    # it rises all the way; halving ends where no float is between
    while low < (middle := (low + high) / 2) < high:
        far = float(pixels(np.array(middle), kind, unit, camera)) > moved_px
        low, high = (low, middle) if far else (middle, high)
    return low


def _corner(angle: Floats, corner_mm: Floats, pitch_mm: Floats) -> Floats:
    """Return the pixels by which a corner is displaced; to first order all four are alike. Unit: radians in."""
    (x, y), less, sine = corner_mm, np.cos(angle) - 1, np.sin(angle)
    displaced = np.hypot((x * less - y * sine) / pitch_mm[0], (x * sine + y * less) / pitch_mm[1])
    return np.asarray(displaced, dtype=np.float64)


def picture_shift(differences: Floats, kinds: tuple[str, ...], units: tuple[str, ...], camera: Camera) -> Floats:
    """Return the most by which all axes together can shift the picture.

    Across, pan and slide are taken to add up, and upward, tilt and lift: which way each runs, the rig does not say.
    The two are at right angles; the corner's way by roll is added to their length. So the true shift of a point at the
    subject's distance near the middle of the frame is never more, and may be less.
    Shape: `differences` (..., A) to (...). NaN where an axis that counts is NaN. Unit: pixels.
    """
    across, upward, turned = (np.zeros(differences.shape[:-1]) for _ in range(3))
    for number, (kind, unit) in enumerate(zip(kinds, units, strict=True)):
        if not moves_picture(kind, unit):
            continue
        part = across if kind in ACROSS else upward if kind in UPWARD else turned
        part += pixels(differences[..., number], kind, unit, camera)
    return np.asarray(np.hypot(across, upward) + turned, dtype=np.float64)
