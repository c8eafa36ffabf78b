"""From where the axes stood to where the camera was, and what its lens drew: the last step of every path.

It hides no guess: what the rig does not say is said in the path's remarks. An instant at which any axis is NaN is NaN
as a whole.
"""

import math
from collections.abc import Iterator
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from sequencer.errors import ExportError
from sequencer.export.delivery import CameraPath, Floats
from sequencer.export.opening import Opening
from sequencer.rig.axis import Axis, AxisKind, Camera, Rig
from sequencer.rig.pose import pose, unread
from sequencer.rig.reading import Reading, reading

MOST_INSTANTS = 5_000_000


def path_of(  # the frames, what stands where at them, and what is known already
    rig: Rig, values: Floats, first: int, origin: Fraction, step: Fraction, opening: Opening, remarks: tuple[str, ...]
) -> CameraPath:
    """Return the path of a rig whose axes stand at `values` (F, S, A), S being the parts of the opening.

    A rig without a camera has no lens: its focal length and focus are NaN.
    """
    known = np.asarray(np.isfinite(values).all(axis=-1), dtype=np.bool_)
    stood = values[known]
    at, (focal_mm, focus_m, guessed) = pose(rig, stood), _lens(rig, stood)
    return CameraPath(
        first=first,
        origin=origin,
        step=step,
        parts=opening.parts,
        shutter=opening.span,
        position_m=_spread(at.position, known),
        angles_deg=_spread(at.angles_deg, known),
        focal_mm=_spread(focal_mm, known),
        focus_m=_spread(focus_m, known),
        values=_spread(stood, known),
        remarks=(*remarks, *_guesses(rig), *guessed),
    )


def instants(first: int, step: Fraction, count: int, parts: tuple[Fraction, ...], start: Fraction) -> Floats:
    """Return `start + (first - start + f + parts[s]) * step` for F frames and S parts, each the nearest float.

    Shape: (F, S). Error: ExportError for more than can be handed over.
    """
    if count * len(parts) > MOST_INSTANTS:
        raise ExportError(
            f"{count} frames of {len(parts)} instants each are more than {MOST_INSTANTS}; name a shorter cue, fewer "
            "samples, or a pass that runs faster"
        )
    begins = [start + (first - start + part) * step for part in parts]
    below = math.lcm(step.denominator, *(begin.denominator for begin in begins))
    if max(abs(begins[0]), abs(begins[-1] + count * step)) * below >= 2**53:
        rough: Floats = np.array([float(begin) for begin in begins]) + np.arange(count)[:, np.newaxis] * float(step)
        return rough
    whole = np.array([int(begin * below) for begin in begins]) + np.arange(count)[:, np.newaxis] * int(step * below)
    return np.asarray(whole / below, dtype=np.float64)


def _spread(found: Floats, known: NDArray[np.bool_]) -> Floats:
    """Return what was found where it is known, NaN elsewhere. Shape: (N, ...) to (F, S, ...)."""
    out = np.full((*known.shape, *found.shape[1:]), np.nan)
    out[known] = found
    return out


def _of_kind(rig: Rig, kind: AxisKind) -> Axis | None:
    return next((axis for axis in rig.axes if axis.kind == kind), None)


def _focused(rig: Rig, camera: Camera, stood: Floats, lens: Reading) -> Floats:
    """Return the distances in focus, NaN where a motor moves it that nobody can read. Shape: (N,)."""
    ahead_m = np.asarray(lens.ahead_m, dtype=np.float64)
    motor = _of_kind(rig, "focus")
    if motor is None or camera.focus_table is not None:
        return ahead_m
    read = stood[:, rig.index(motor.name)] > 0 if motor.unit == "mm" else np.zeros(len(stood), dtype=np.bool_)
    return np.where(read, ahead_m, np.nan)


def _lens(rig: Rig, stood: Floats) -> tuple[Floats, Floats, tuple[str, ...]]:
    """Return the focal lengths and the distances in focus, and in words what of them is guessed. Shape: (N,) each."""
    if rig.camera is None:
        unknown = np.full(len(stood), np.nan)
        return unknown, unknown, ("the rig has no camera: there is no lens (camera in rig.json)",)
    lens = reading(rig.camera, rig, stood)
    return lens.focal_mm, _focused(rig, rig.camera, stood, lens), tuple(_lens_guesses(rig, rig.camera, stood, lens))


def _guesses(rig: Rig) -> Iterator[str]:
    """Yield in words what the rig does not say of the camera's place."""
    for name, has, wants in unread(rig):
        yield f"{name} counts in {has} and is read in {wants} only: it is taken to stand at zero"
    if rig.geometry.pupil_mm is None and rig.geometry.sensor_plane_mm is None:
        tabled = rig.camera is not None and rig.camera.pupil is not None
        what, field = ("sensor plane", "sensor_plane_mm") if tabled else ("entrance pupil", "pupil_mm")
        yield (
            f"nobody said where the {what} lies: it is taken to be where pan, tilt and roll meet ({field} of geometry "
            "in rig.json)"
        )


def _lens_guesses(rig: Rig, camera: Camera, stood: Floats, lens: Reading) -> Iterator[str]:
    """Yield in words what the rig does not say of its lens."""
    focal = f"{camera.focal_mm:g} mm"
    if "zoom" in lens.guessed and camera.zoom_table is None:
        yield f"nobody said what the zoom's positions mean: {focal} where they cannot be read (zoom_table in rig.json)"
    elif "zoom" in lens.guessed:
        yield "the zoom runs beyond its zoom_table: there the focal length of the table's end is given"
    if "focus" in lens.guessed and camera.focus_table is None:
        yield (
            "nobody said what the focus's positions mean: no distance in focus where they cannot be read (focus_table "
            "in rig.json)"
        )
    elif "focus" in lens.guessed:
        yield "the focus runs beyond its focus_table: there the distance of the table's end is given"
    elif _of_kind(rig, "focus") is None:
        yield f"there is no focus motor: in focus at {camera.subject_m:g} m throughout (subject_m in rig.json)"
    iris = _of_kind(rig, "iris")
    if iris is not None and camera.f_number is not None and len(stood) and np.ptp(stood[:, rig.index(iris.name)]) > 0:
        yield f"the iris moves, and nobody can say what its positions mean: f/{camera.f_number:g} throughout (f_number)"
