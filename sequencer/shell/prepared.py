"""What a prep sheet is made of, gathered from a project's folder: the planned move in its passes, and the set."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sequencer.errors import ProjectError
from sequencer.export.prep import Place, Prep, PrepAxis, Stand, Top
from sequencer.motion.camera_speed import Fastest, camera_speed
from sequencer.motion.check import Check, check
from sequencer.motion.extremes import Extremes
from sequencer.motion.stopping import reached, stopping
from sequencer.motion.swept import Zone, endless, heights_m, travels, zone
from sequencer.motion.trajectory import Trajectory
from sequencer.project.document import Project
from sequencer.project.passed import in_pass
from sequencer.project.stage import Box, Stage
from sequencer.project.store import load
from sequencer.rig.axis import Rig
from sequencer.rig.pose import pose, stood, unread
from sequencer.score.move import Cue, Pass
from sequencer.shell.kinds import laws
from sequencer.shell.made import made

Floats = NDArray[np.float64]

SHOULDER = 0.125  # half of how wide a person is, as a part of the height; the views draw them so too
FARTHEST_M = 100.0  # that a rig on a stand reaches
_A_SECOND, _FEWEST, _MOST = 100, 400, 6000  # instants that are looked at


@dataclass(frozen=True, slots=True, eq=False)
class _Run:
    """One pass of the move: what it asks, and when it is looked at. Shape: `at_s` (T,), as the move is written."""

    project: Project
    own: Pass
    done: Check
    at_s: Floats
    way: Trajectory

    @property
    def speed(self) -> float:
        return float(self.own.speed)


def gather(
    folder: Path | Project,
    cue: str | None = None,
    run: str | None = None,
    reach_m: float | None = None,
    margin_m: float = 0.0,
    whole_travel: bool = False,
) -> Prep:
    """Return what a prep sheet says of a project's move: of all of it or one cue, in all its passes or one.

    `folder` is the project's, or the project itself where its files are not up to date.
    Error: ProjectError for what is not there, or a move that cannot be compiled; ValueError for a reach or margin that
    no rig has.
    """
    if reach_m is not None and not 0 < reach_m <= FARTHEST_M:
        raise ValueError(f"{reach_m:g} m is no reach; it is above 0 and up to {FARTHEST_M:g} m")
    if not 0 <= margin_m <= FARTHEST_M:
        raise ValueError(f"{margin_m:g} m is no margin; it is from 0 to {FARTHEST_M:g} m")
    project = folder if isinstance(folder, Project) else load(folder, laws())
    span = _cue(project, cue)
    runs = [_run(project, span, name) for name in _names(project, cue, run)]
    rig = project.rig
    moved = np.stack([reached(one.done.trajectory, rig, one.at_s, one.speed) for one in runs])
    ends = np.stack([moved[..., 0].min(axis=0), moved[..., 1].max(axis=0)], axis=1)
    # a stop may lead beyond the travel, which holds for the whole travel too
    wide = ends if not whole_travel else _wider(travels(rig, ends), ends)
    swept = zone(rig, wide, 0.0 if reach_m is None else reach_m + margin_m)
    poses = [pose(rig, one.done.trajectory.sample(one.at_s)) for one in runs]
    up = np.concatenate([each.position[:, 2] for each in poses])
    speeds = [camera_speed(one.done.trajectory, rig, one.at_s, one.speed, reach_m) for one in runs]
    heights = heights_m(rig, wide)
    pivots = [stood(rig, one.done.trajectory.sample(one.at_s))[0] for one in runs]
    # the lens is as far from the pivot whichever way it looks, if not however it zooms and focuses
    off_m = max(float(np.linalg.norm(each.position - at, axis=1).max()) for each, at in zip(poses, pivots, strict=True))
    return Prep(
        project=project.name,
        rig=rig.name,
        made=made(),
        stretch=_stretch(project, span, runs[0]),
        passes=tuple(one.own.name for one in runs),
        whole_travel=whole_travel,
        reach_m=reach_m,
        margin_m=margin_m,
        swept=swept,
        paths=tuple(each[:, :2] for each in pivots),
        start=_stand(rig, runs[0], 0),
        end=_stand(rig, runs[-1], -1),
        places=_places(project.stage, swept, reach_m is not None),
        axes=_axes(runs, ends),
        pupil=_top(runs, [one.pupil for one in speeds]),
        turn=_top(runs, [one.turn for one in speeds]),
        part=_top(runs, [one.part for one in speeds if one.part is not None]) if reach_m is not None else None,
        heights_m=heights,
        lens_m=(heights[0] - off_m, heights[1] + off_m) if whole_travel else (float(up.min()), float(up.max())),
        fits=_fits(runs),
        remarks=tuple(_remarks(project, whole_travel)),
    )


def _cue(project: Project, name: str | None) -> Cue | None:
    try:
        return None if name is None else project.cue(name)
    except ValueError as fault:
        raise ProjectError("", str(fault)) from fault


def _names(project: Project, cue: str | None, run: str | None) -> list[str | None]:
    """Return the passes that are meant. Error: ProjectError where a pass is of another cue."""
    passes = project.move.passes
    if run is not None:
        found = next((one for one in passes if one.name == run), None)
        if found is not None and cue is not None and found.of not in (None, cue):
            what = f"the pass {run} belongs to the cue {found.of}, not to {cue}"
            raise ProjectError("", what, "choose that cue, or another pass")
        return [run]
    return [one.name for one in passes if cue is None or one.of in (None, cue)] or [None]


def _run(project: Project, cue: Cue | None, name: str | None) -> _Run:
    passed, own = in_pass(project, name, laws())
    done = check(passed.rig, passed.move, passed.timebase.rate, laws(), own.speed)
    way = done.trajectory
    start_s, end_s = way.start_s, way.end_s
    if cue is not None:
        start_s, end_s = (float(passed.timebase.rate.seconds(at)) for at in (cue.start, cue.end))
    count = int(np.clip((end_s - start_s) * _A_SECOND, _FEWEST, _MOST))
    joints = way.from_s[(way.from_s > start_s) & (way.from_s < end_s)]
    at_s = np.unique(np.concatenate((np.linspace(start_s, end_s, count), joints)))
    return _Run(passed, own, done, at_s, way.between(start_s, end_s) if start_s < end_s else way)


def _wider(one: Floats, other: Floats) -> Floats:
    return np.stack([np.minimum(one[:, 0], other[:, 0]), np.maximum(one[:, 1], other[:, 1])], axis=1)


def _stretch(project: Project, cue: Cue | None, first: _Run) -> str:
    label = project.timebase.label
    if cue is not None:
        return f"cue {cue.name}, {label(cue.start)} to {label(cue.end)}"
    start, end = (_label(first, float(at_s)) for at_s in first.at_s[[0, -1]])
    return f"all of it, {start} to {end}"


def _label(run: _Run, at_s: float) -> str:
    return str(run.project.timebase.label_at(at_s)).partition(".")[0]


def _stand(rig: Rig, run: _Run, place: int) -> Stand:
    position = run.done.trajectory.sample(run.at_s[[place]])
    pivot, _ = stood(rig, position)
    return Stand(at=pivot[0, :2], forward=pose(rig, position).forward[0, :2])


def _places(stage: Stage, swept: Zone, known: bool) -> tuple[Place, ...]:
    shapes = [(one.name, True, np.array([[one.x_m, one.y_m]]), SHOULDER * one.height_m) for one in stage.people]
    shapes += [(one.name, False, _ground(one), 0.0) for one in stage.boxes]
    return tuple(
        Place(
            name=name,
            person=person,
            outline=outline,
            radius_m=radius_m,
            clear_m=swept.clear_m(outline, radius_m) if known else None,
        )
        for name, person, outline, radius_m in shapes
    )


def _ground(box: Box) -> Floats:
    """Return a box's outline on the ground. Shape: (4, 2)."""
    across, along = box.size_m[0] / 2, box.size_m[1] / 2
    turn = math.radians(box.heading_deg)
    matrix = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    flat = np.array([[-across, -along], [across, -along], [across, along], [-across, along]])
    return np.asarray(flat @ matrix.T + np.array(box.centre_m[:2]), dtype=np.float64)


def _axes(runs: Sequence[_Run], ends: Floats) -> tuple[PrepAxis, ...]:
    fastest = [_fastest(one) for one in runs]
    found = []
    for number, axis in enumerate(runs[0].project.rig.axes):
        top = _top(runs, [each[number] for each in fastest])
        found.append(
            PrepAxis(
                name=axis.name,
                unit=axis.unit,
                top=top,
                limit=axis.speed,
                stop=stopping(axis, top.value),
                stop_most=stopping(axis, axis.speed),
                span=(float(ends[number, 0]), float(ends[number, 1])),
                travel=axis.travel,
            )
        )
    return tuple(found)


def _fastest(run: _Run) -> list[Fastest]:
    """Return the largest speed of each axis within the stretch, exact."""
    way = run.way
    lasts_s = np.diff(way.from_s, append=0.0)
    lasts_s[way.first[:-1]] = lasts_s[way.first[1:] - 1] = 0.0
    found = Extremes.of(way.from_s, lasts_s, way.coeffs, way.first)
    pairs = zip(found.peak[0] * run.speed, found.peak_at[0], strict=True)
    return [Fastest(float(value), float(at_s)) for value, at_s in pairs]


def _top(runs: Sequence[_Run], each: Sequence[Fastest]) -> Top:
    """Return the largest of one value in each pass, the first of equal ones."""
    place = max(range(len(each)), key=lambda number: (each[number].value, -number))
    if each[place].value == 0:
        return Top(0.0, "", "")
    return Top(each[place].value, _label(runs[place], each[place].at_s), runs[place].own.name)


def _fits(runs: Sequence[_Run]) -> str:
    over = [one.own.name for one in runs if not one.done.ok]
    if over:
        return f"the motors cannot do it as it is ({', '.join(over)}): see twintake check"
    return "the motors can do it, by their limits in rig.json"


def _remarks(project: Project, whole_travel: bool) -> list[str]:
    found = [
        f"{name} counts in {unit}, not in {needed}, so where it carries or turns the camera is not known here: the "
        "area leaves it out."
        for name, unit, needed in unread(project.rig)
    ]
    if whole_travel and (names := endless(project.rig)):
        verb = "has" if len(names) == 1 else "have"
        found.append(f"{', '.join(names)} {verb} no ends in rig.json: of it the area holds the planned move alone.")
    if project.timelapse is not None:
        found.append(
            "This project is a timelapse: between two frames axes may go as fast as their limits allow, far above the "
            "top speeds of the move."
        )
    return found
