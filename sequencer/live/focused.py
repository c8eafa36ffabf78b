"""The way of the focus motor that keeps a distance sharp: in millimetres, or by the lens's own table.

It refuses distances that the motor or the table does not reach, in words with what it does reach.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.rig.axis import Axis, Rig
from sequencer.rig.distance import distance_text
from sequencer.rig.lens_table import FocusTable
from sequencer.rig.reading import reading

Floats = NDArray[np.float64]

_SHARP = 1 / 500  # of the distance: how near a focus is to keep to it
_LOOKED = 20_001


@dataclass(frozen=True, slots=True, eq=False)
class Focused:
    """Where the focus motor stands at each sample, and how near it is to keep to that. Unit: the axis's own."""

    axis: str
    position: Floats
    within: float


def focused(rig: Rig, positions: Floats, sensor_m: Floats) -> Focused | str:
    """Return the focus for distances ahead of the sensor plane; in words, why there is none; empty without the axis.

    Shape: `positions` (T, A), `sensor_m` (T,).
    """
    axis = next((axis for axis in rig.axes if axis.kind == "focus"), None)
    if axis is None:
        return ""
    camera = rig.camera
    if camera is not None and camera.focus_table is not None:
        return _by_table(axis, camera.focus_table, sensor_m)
    if axis.unit != "mm":
        return f"{axis.name} counts {axis.unit}, and the camera has no focus_table; focus is left as it was"
    ahead_m = sensor_m
    if camera is not None and camera.pupil is not None:
        ahead_m = sensor_m - camera.pupil.at(reading(camera, rig, positions).marked_mm, sensor_m) / 1000
    return _inside(axis, ahead_m * 1000, float(ahead_m.min()) * 1000 * _SHARP, ahead_m)


def _by_table(axis: Axis, table: FocusTable, far_m: Floats) -> Focused | str:
    # the table is read at many places at once, since finding one at a time takes a thousand times as long
    at = np.union1d(np.linspace(*table.ends, _LOOKED), [row.at for row in table.rows])
    near = 1 / table.distance_m(at)
    if near[0] > near[-1]:
        at, near = at[::-1], near[::-1]
    wanted = 1 / far_m
    if wanted.max() > near[-1] or wanted.min() < near[0]:
        with np.errstate(divide="ignore"):
            there, ends = (
                f"{distance_text(float(1 / low), table.scale)} to {distance_text(float(1 / high), table.scale)}"
                for low, high in ((wanted.max(), wanted.min()), (near[-1], near[0]))
            )
        return f"the point is {there} from the sensor, and the lens's scale goes from {ends}; focus is left as it was"
    found: Floats = np.interp(wanted, near, at)
    steps = np.abs(np.interp(wanted * (1 - _SHARP), near, at) - np.interp(wanted * (1 + _SHARP), near, at)) / 2
    return _inside(axis, found, float(steps.min()), far_m)


def _inside(axis: Axis, at: Floats, within: float, far_m: Floats) -> Focused | str:
    """Return the focus, where the motor goes there."""
    low, high = axis.travel or (-np.inf, np.inf)
    if at.min() < low or at.max() > high:
        far = f"{far_m.min():.4g} to {far_m.max():.4g} m away"
        asks = (
            f"{axis.name} would have to go from {at.min():.4g} to {at.max():.4g}, and goes from {low:.4g} to {high:.4g}"
        )
        return f"the point is {far}: {asks}; focus is left as it was"
    return Focused(axis.name, at, within)
