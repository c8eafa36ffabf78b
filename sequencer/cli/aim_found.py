"""`twintake aim --find`: a point from stored marks that look at it, with how sure it is."""

import math
from dataclasses import dataclass, replace

import numpy as np

from sequencer.errors import ProjectError
from sequencer.motion.aim import head
from sequencer.motion.triangulate import Found, baseline_for, triangulated
from sequencer.project.document import Project
from sequencer.project.performance import tolerance_of
from sequencer.rig.axis import Rig
from sequencer.rig.pose import READ_AS, pose
from sequencer.score.edits.marks import numbered
from sequencer.score.points import Point, with_point

_BY_EYE_PX = 2.0  # how near an operator brings a point to the middle of the picture; our choice
_BY_EYE_DEG = 0.05  # where no camera is described
_USUAL_M = 3.0  # how far a point may be, where no camera is described
_DECIMALS = 4  # metres


@dataclass(frozen=True, slots=True, eq=False)
class Sight:
    """The project with the point that was found, and how. `need_m`: the baseline that knows its distance to a tenth."""

    project: Project
    name: str
    marks: tuple[str, ...]
    found: Found
    need_m: float


def found(opened: Project, name: str, marks: list[str], sigma_deg: float | None) -> Sight:
    """Return the project with the point at which all marks look.

    Error: ProjectError for a mark that does not say where the camera is; ValueError as in `triangulated`.
    """
    rig = opened.rig
    head(rig)
    where = pose(rig, np.array([_stands(opened, mark) for mark in marks]))
    far_m = rig.camera.subject_m if rig.camera is not None else _USUAL_M
    sigma = sigma_of(rig) if sigma_deg is None else sigma_deg
    point = triangulated(where.position, where.forward, sigma, far_m)
    at_m = np.round(point.at_m, _DECIMALS).tolist()
    new = Point(name, (at_m[0], at_m[1], at_m[2]), round(point.sigma_m, _DECIMALS + 2) or None)
    need_m = baseline_for(float(point.far_m.max()), point.sigma_deg)
    return Sight(replace(opened, points=with_point(opened.points, new)), name, tuple(marks), point, need_m)


def sigma_of(rig: Rig) -> float:
    """Return by how much an aim of this rig may be off: the gear's play, its steps, and what the eye brings it to.

    Play and a step are spread evenly, of which the standard deviation is a root of twelfth. Unit: degrees.
    Source: GUM (JCGM 100:2008), 4.3.7: rectangular distribution.
    """
    own = head(rig)
    parts = []
    for number in (own.pan, own.tilt):
        axis = rig.axes[number]
        eye = _BY_EYE_DEG if rig.camera is None else tolerance_of(rig, axis, _BY_EYE_PX)
        parts.append((axis.backlash**2 + axis.resolution**2) / 12 + eye**2)
    return math.sqrt(sum(parts) / len(parts))


def _stands(opened: Project, name: str) -> list[float]:
    """Return where all axes stand at a mark. Error: ProjectError where it does not say so of one that places it."""
    mark = opened.marks[numbered(opened.marks, name)]
    there = dict(mark.position)
    for axis in opened.rig.axes:
        if READ_AS.get(axis.kind) == axis.unit and axis.name not in there:
            what = f"the mark {name} does not say where {axis.name} stands"
            raise ProjectError(
                "--marks", what, "store it anew with all axes that place the camera", file="command line"
            )
    return [there.get(axis.name, axis.home) for axis in opened.rig.axes]
