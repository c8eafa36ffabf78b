"""The way of the zoom motor that keeps a focal length: in millimetres, or by the lens's own table.

It refuses focal lengths that the motor or the table does not reach, in words with what it does reach.
"""

import numpy as np
from numpy.typing import NDArray

from sequencer.live.focused import Focused
from sequencer.rig.axis import Axis, Camera, Rig
from sequencer.rig.reading import sensor_from

Floats = NDArray[np.float64]

_LOOKED = 20_001
_ROUNDS = 5  # a lens breathes by a few percent, and by far less with those
_SLACK = 1e-9  # of the focal length: what rounding takes it beyond the end of a scale


def zoomed(rig: Rig, focal_mm: Floats, ahead_m: Floats, near: float) -> Focused | str:
    """Return the zoom for true focal lengths; in words, why there is none; empty without the axis.

    `near` is how far off the focal length may be, as a part of it. Shape: `focal_mm`, and `ahead_m`, the distance in
    focus, NaN where nobody says, (T,).
    """
    axis = next((axis for axis in rig.axes if axis.kind == "zoom"), None)
    if axis is None:
        return ""
    camera = rig.camera
    marked_mm = focal_mm if camera is None else _marked(camera, focal_mm, ahead_m)
    if camera is not None and camera.zoom_table is not None:
        table = camera.zoom_table
        # read at many places at once, since finding one at a time takes a thousand times as long
        at = np.union1d(np.linspace(*table.ends, _LOOKED), [row.at for row in table.rows])
        logs = np.log(table.focal_mm(at))
        if logs[0] > logs[-1]:
            at, logs = at[::-1], logs[::-1]
        wanted = np.log(marked_mm)
        if wanted.max() > logs[-1] + _SLACK or wanted.min() < logs[0] - _SLACK:
            asked, ends = (f"{low:.4g} to {high:.4g} mm" for low, high in (_ends(marked_mm), np.exp(logs[[0, -1]])))
            return f"the focal length is {asked}, and the zoom's scale goes from {ends}; zoom is left as it was"
        steps = np.abs(np.interp(wanted + near, logs, at) - np.interp(wanted - near, logs, at)) / 2
        found: Floats = np.interp(wanted, logs, at)
        return _inside(axis, found, float(steps.min()))
    if axis.unit != "mm":
        return f"{axis.name} counts {axis.unit}, and the camera has no zoom_table; zoom is left as it was"
    return _inside(axis, marked_mm, float(marked_mm.min()) * near)


def _marked(camera: Camera, focal_mm: Floats, ahead_m: Floats) -> Floats:
    """Return what the lens is marked with where it truly has a focal length, as it breathes."""
    breathing = camera.breathing
    if breathing is None:
        return focal_mm
    far_m = np.where(np.isnan(ahead_m), camera.subject_m, ahead_m)
    marked = focal_mm
    for _ in range(_ROUNDS):
        sensor_m = far_m if camera.pupil is None else sensor_from(camera.pupil, marked, far_m)
        marked = focal_mm / breathing.at(marked, sensor_m)
    return marked


def _ends(values: Floats) -> tuple[float, float]:
    return float(values.min()), float(values.max())


def _inside(axis: Axis, at: Floats, within: float) -> Focused | str:
    low, high = axis.travel or (-np.inf, np.inf)
    if at.min() < low or at.max() > high:
        asks = f"{axis.name} would have to go from {at.min():.4g} to {at.max():.4g}"
        return f"{asks}, and goes from {low:.4g} to {high:.4g}; zoom is left as it was"
    return Focused(axis.name, at, within)
