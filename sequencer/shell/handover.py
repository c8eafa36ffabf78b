"""What is handed over, gathered from a project's folder or a take file, and written with the text and chart beside it.

The formats themselves are in `export.formats`; the command and the editor both come through here.
"""

import math
import re
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import numpy as np

from sequencer.errors import ExportError, ProjectError
from sequencer.export.chart import Chart, chart, picture
from sequencer.export.contract import ExportKind, Holds, Wanted
from sequencer.export.delivery import CameraPath, Delivery, Source, TakeMade
from sequencer.export.filmed import filmed
from sequencer.export.lensed import path_of
from sequencer.export.opening import NOBODY_SAID, Begins, Opening
from sequencer.export.sampled import cue_of, sampled, span_of, unanswered
from sequencer.export.sheet import labels, numbers, sheet
from sequencer.export.written import write
from sequencer.motion.compile import compile_move
from sequencer.project.checksum import checksum
from sequencer.project.document import Project
from sequencer.project.file_names import file_name
from sequencer.project.files import RIG
from sequencer.project.library import FOLDER, library
from sequencer.project.passed import in_pass
from sequencer.project.store import load
from sequencer.project.takefile import read
from sequencer.rig.axis import Rig
from sequencer.score.move import Cue, Marker
from sequencer.shell.kinds import laws
from sequencer.shell.made import made
from sequencer.shell.spread import spread
from sequencer.shell.taken import taken
from sequencer.takes.take import Take

_NO_NAME = re.compile(r'[<>:"/\\|?*\x00-\x1f]')  # what a name of a file cannot have on some system


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What somebody wants to have handed over: of a project's folder, a take file, or a take of a project.

    `angle_deg` None is the camera's own shutter; `source` None is `planned` of a project, `actual` of a take.
    `timelapse`: the frames that the project's timelapse exposes, in place of a cue in a pass. `edited` is the project
    where its files are not up to date, or are none yet.
    """

    project: Path | None = None
    edited: Project | None = None
    take: Path | None = None
    cue: str | None = None
    run: str | None = None
    source: Source | None = None
    angle_deg: Fraction | None = None
    begins: Begins = "centre"
    samples: int = 1
    timelapse: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Handed:
    """The files that were written, the first of which is the export itself, and what must be known of it."""

    files: tuple[Path, ...]
    chart: Chart | None
    remarks: tuple[str, ...]


def gather(asked: Asked, holds: Holds) -> tuple[Delivery, tuple[str, ...]]:
    """Return what was asked for, of which a format holds this, and what could not be had. Error: SequencerError."""
    project = asked.edited
    if project is None and asked.project is not None:
        project = load(asked.project, laws())
    if asked.take is not None and (asked.cue is not None or asked.run is not None or asked.timelapse):
        raise ExportError("a take says itself of which cue and pass it is; leave out --cue, --pass and --timelapse")
    if asked.take is not None:
        return _of_take(asked, read(asked.take), project, holds), ()
    if project is None:
        raise ExportError("name a project's folder, or a take file")
    if asked.source not in (None, "planned"):
        raise ExportError(f"what is {asked.source} is in a take; name its file (--take FILE)")
    unsaved = () if asked.edited is None else ("the project had edits that were not saved; they are in this file",)
    if asked.timelapse:
        return _of_timelapse(asked, project), unsaved
    delivery = _of_project(asked, project, holds)
    if holds != "takes" or asked.project is None:
        return delivery, unsaved
    found, remarks = taken(library(asked.project / FOLDER))
    return replace(delivery, takes=found), (*unsaved, *remarks)


def missing(delivery: Delivery) -> int:
    """Return how many frames of the cue are not known."""
    path, cue = delivery.path, delivery.cue
    if path is None or delivery.source == "planned":
        return 0
    origin = cue.start + (math.ceil(cue.start) - cue.start) * path.step
    whole = math.floor((cue.end - origin) / path.step) + 1
    return whole - path.frames + sum(last - first + 1 for first, last in unanswered(path))


def hand_over(
    delivery: Delivery, kind: ExportKind, wanted: Wanted, file: Path, force: bool = False, said: tuple[str, ...] = ()
) -> Handed:
    """Write a delivery in a format, with the text beside it, and the chart where it holds a camera.

    `said` is what could not be had of it, for the text. Error: ExportError; then nothing is written.
    """
    suffix = _suffix(kind, file)
    demand_camera(delivery, kind)
    try:
        data = kind.make(delivery, suffix, wanted)
    except ImportError as fault:
        extra = f"pip install 'twintake[{kind.extra}]'" if kind.extra else f"the Python package {fault.name}"
        raise ExportError(f"{kind.title} needs what is not installed here; {extra}") from fault
    remarks = (*said, *kind.remarks(delivery, wanted))
    beside = {file: data}
    found = None
    if kind.holds == "camera" and delivery.path is not None and delivery.rig.camera is not None:
        found = chart(delivery.path, delivery.rig.camera)
        drawn = picture(found, delivery, numbers(delivery.path, found, wanted), labels(delivery, delivery.path, found))
        beside[file.with_name(f"{file.name}.svg")] = drawn.encode()
    text = sheet(delivery, kind, wanted, file.name, found, remarks)
    beside[file.with_name(f"{file.name}.txt")] = text.encode()
    write(beside, force)
    own = delivery.path.remarks if delivery.path is not None and kind.holds == "camera" else ()
    return Handed(files=tuple(beside), chart=found, remarks=(*own, *remarks))


def demand_camera(delivery: Delivery, kind: ExportKind) -> None:
    """Error: ExportError where a format holds a camera with its lens, and the delivery has none."""
    if kind.holds != "camera" or (delivery.path is not None and (kind.bare or delivery.rig.camera is not None)):
        return
    raise ExportError(
        f"{kind.title} holds a camera, and the rig has none; write camera into {RIG}: sensor_mm, pixels, focal_mm and "
        "subject_m; the axes alone go into csv"
    )


def usual_name(delivery: Delivery, kind: ExportKind) -> str:
    """Return the name of a file that nobody named."""
    parts = [delivery.project]
    if kind.holds == "camera":
        parts += [delivery.cue.name, delivery.take or delivery.run, delivery.source]
    return file_name("_".join("-".join(_NO_NAME.sub(" ", part).split()) for part in parts), 200) + kind.suffixes[0]


def _suffix(kind: ExportKind, file: Path) -> str:
    found = next((one for one in kind.suffixes if file.name.lower().endswith(one)), None)
    if found is None:
        raise ExportError(f"{file.name}: {kind.title} goes into {' or '.join(kind.suffixes)}; name such a file")
    return found


def _of_project(asked: Asked, project: Project, holds: Holds) -> Delivery:
    passed, run = in_pass(project, asked.run, laws())
    if run.of is not None and asked.cue not in (None, run.of):
        what = f"the pass {run.name} belongs to the cue {run.of}, not to {asked.cue}"
        raise ProjectError("", what, "choose that cue, or another pass")
    cue = _cue(passed, asked.cue)
    path = None
    if holds == "camera":
        opening = _opening(asked, project.rig)
        path = filmed(project.rig, passed.move, cue, run, project.timebase, laws(), opening)
    return _delivery(asked, project, cue, run.name, path)


def _of_timelapse(asked: Asked, project: Project) -> Delivery:
    """Return the frames that a timelapse exposes. Error: ExportError, ProjectError."""
    if asked.cue is not None or asked.run is not None or asked.samples > 1:
        raise ExportError("a timelapse says itself of which cue it is; leave out --cue, --pass and --samples")
    found = spread(project, laws())
    first, span = math.ceil(found.cue.start), found.cue.end - found.cue.start
    step = span / (found.plan.frames - 1) if found.plan.frames > 1 else span
    remarks = [f"a timelapse: {found.plan.frames} frames, exposed over {float(found.plan.event_s):g} s of the event"]
    if found.timelapse.poses_by == "time":
        remarks.append("poses are those of each frame's own instant; between frames the move's way need not be even")
    if found.refused:
        remarks.append(f"it cannot be shot: {found.refused}")
    poses = found.poses[:, np.newaxis]
    path = path_of(project.rig, poses, first, found.cue.start, step, NOBODY_SAID, tuple(remarks))
    return _delivery(asked, project, found.cue, "timelapse", path)


def _delivery(asked: Asked, project: Project, cue: Cue, run: str, path: CameraPath | None) -> Delivery:
    return Delivery(
        project=project.name,
        timebase=project.timebase,
        rig=project.rig,
        cue=cue,
        run=run,
        source="planned",
        path=path,
        f_number=None if project.rig.camera is None else project.rig.camera.f_number,
        markers=project.move.markers,
        cues=project.move.cues,
        tempo=project.tempo,
        made=made(),
        document="" if asked.project is None or asked.edited is not None else _sum(checksum(asked.project)),
    )


def _of_take(asked: Asked, take: Take, project: Project | None, holds: Holds) -> Delivery:
    file = asked.take or Path(take.name)
    source = asked.source or "actual"
    if source == "planned":
        raise ExportError("a take holds what was asked of the rig and what it did; what is planned is in the project")
    rig = take.rig or (None if project is None else project.rig)
    if rig is None:
        raise ExportError(
            f"{file.name}: it does not say with which rig it was shot, as takes of earlier programs do not; "
            "name its project too (twintake export PROJECT --take FILE)"
        )
    path = _path_of_take(asked, take, source, rig, project) if holds == "camera" else None
    number = file.stem.rpartition("_")[2]
    one = TakeMade(
        name=take.name,
        cue=take.cue,
        run=take.run,
        number=int(number) if number.isdecimal() else 0,
        span=span_of(take.cue_s, take.timebase.rate),
        started=take.started,
        file=file.name,
    )
    return Delivery(
        project=take.project,
        timebase=take.timebase,
        rig=rig,
        cue=cue_of(take),
        run=take.run,
        source=source,
        take=take.name,
        path=path,
        f_number=None if rig.camera is None else rig.camera.f_number,
        markers=tuple(Marker(name, take.timebase.rate.frames(Fraction(at_s))) for name, at_s in take.markers),
        cues=() if project is None else project.move.cues,
        tempo=None if project is None else project.tempo,
        takes=(one,),
        made=made(),
        document=_sum(take.document),
    )


def _path_of_take(asked: Asked, take: Take, source: Source, rig: Rig, project: Project | None) -> CameraPath:
    camera = None
    if project is not None and take.shot_as is None:
        camera = next((run.rate for run in project.move.passes if run.name == take.run), None)
    path = sampled(take, source, rig, _opening(asked, rig), camera)
    remarks = [*path.remarks, *take.remarks]
    if take.rig is None and take.camera is not None and rig.camera is not None:
        was, now = ((one.sensor_mm, one.pixels, one.focal_mm, one.subject_m) for one in (take.camera, rig.camera))
        if was != now:
            remarks.append("the camera of the rig was changed since the take was shot; the one of today is in the file")
    return replace(path, remarks=tuple(remarks))


def _opening(asked: Asked, rig: Rig) -> Opening:
    angle = asked.angle_deg
    if angle is None and rig.camera is not None and rig.camera.shutter_deg is not None:
        angle = Fraction(rig.camera.shutter_deg).limit_denominator(10**6)
    return Opening(angle, asked.begins, asked.samples)


def _cue(project: Project, name: str | None) -> Cue:
    """Return the cue that is asked for; of a project without cues the whole move."""
    try:
        return project.cue(name)
    except ValueError as fault:
        if name is not None or project.move.cues:
            raise ProjectError("cues", str(fault)) from fault
    whole = compile_move(project.rig, project.move, project.timebase.rate, laws())
    rate = project.timebase.rate
    begin, end = (rate.frames(Fraction(at_s)).limit_denominator(10**6) for at_s in (whole.start_s, whole.end_s))
    return Cue("whole move", begin, end)


def _sum(document: str) -> str:
    return f"sha256:{document}" if document else ""
