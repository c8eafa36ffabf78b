"""Values of lens motors as an operator types them: in the axis's unit, as a distance, or as a focal length."""

import math
import re

from sequencer.errors import ProjectError
from sequencer.project.files import RIG
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.distance import EXAMPLES, is_distance, metres

_FOCAL = re.compile(r"\s*(\d{1,5}(?:[.,]\d{1,6})?)\s*mm\s*", re.ASCII | re.IGNORECASE)


def distance(option: str, given: str) -> float:
    """Return the distance that `option` gives. Unit: metres. Error: ProjectError that names the option."""
    try:
        return metres(given)
    except ValueError as fault:
        raise ProjectError(option, str(fault), file="command line") from fault


def position(rig: Rig, name: str, given: str, option: str = "--value") -> float:
    """Return the position of the axis `name` that is typed.

    It is a number in the axis's own unit; of a focus that has a table also a distance, of a zoom that has one also a
    focal length. Error: ProjectError that names the option, or the table that is missing.
    """
    try:
        axis = rig.axes[rig.index(name)]
    except ValueError as fault:
        raise ProjectError("--axis", str(fault), file="command line") from fault
    try:
        if math.isfinite(value := float(given)):
            return value
    except ValueError:
        pass
    try:
        return _measured(rig, axis, given, option)
    except ValueError as fault:
        raise ProjectError(option, str(fault), file="command line") from fault


def _measured(rig: Rig, axis: Axis, given: str, option: str) -> float:
    camera, focal = rig.camera, _FOCAL.fullmatch(given)
    if axis.kind == "zoom" and focal is not None:
        if camera is None or camera.zoom_table is None:
            raise _untold(axis, "camera.zoom_table", "focal lengths")
        return camera.zoom_table.position(float(focal[1].replace(",", ".")))
    if axis.kind == "focus" and is_distance(given):
        if camera is None or camera.focus_table is None:
            raise _untold(axis, "camera.focus_table", "distances")
        return camera.focus_table.position(metres(given))
    more = {"focus": f", or a distance like {EXAMPLES}", "zoom": ', or a focal length like "50 mm"'}.get(axis.kind, "")
    unit = "from 0 to 1" if axis.unit == "part" else f"in {axis.unit}"
    raise ValueError(f"{given!r} is no value of {axis.name}; write a number {unit}{more}")


def _untold(axis: Axis, table: str, what: str) -> ProjectError:
    mend = f"write the lens's scale there, or a value in {axis.name}'s own unit"
    return ProjectError(table, f"there is no table of {what} for {axis.name}", mend, RIG)
