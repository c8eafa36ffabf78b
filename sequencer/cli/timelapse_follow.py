"""Makes keys of pan and tilt that follow sun, moon or stars through a timelapse's cue.

The JSON document: `project`, `cue`, `follows`, `begins`; `keys`, how many of each axis; `cannot`, where the head cannot
follow, in words (null: it can everywhere); `written`.
"""

import json as plain_json
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import typer

from sequencer.cli.exits import FOUND, console
from sequencer.cli.verdict import kept
from sequencer.errors import ProjectError
from sequencer.motion.compile import compile_move
from sequencer.motion.sky import BODIES, Where, of_body, of_stars
from sequencer.motion.sky_head import following, tracks, words
from sequencer.project.document import Project
from sequencer.project.store import save
from sequencer.rig.axis import Rig
from sequencer.score.move import Cue, Move, Track
from sequencer.score.timelapse import Place, Timelapse
from sequencer.shell.kinds import laws
from sequencer.shell.machine_zone import now
from sequencer.shell.spread import begins


def follow(folder: Path, project: Project, what: str, write: bool, json: bool) -> None:
    """Follow `what` from the timelapse's start through its cue, whose time is then the event's. Error: ProjectError."""
    timelapse = project.timelapse or Timelapse()
    start, place = timelapse.start, timelapse.start.place
    if place is None:
        what_missing = "the sky is followed from a place"
        raise ProjectError("timelapse.start.place", what_missing, "write latitude_deg and longitude_deg")
    try:
        cue = project.cue(timelapse.cue or None)
        at = begins(start, now())
        course = following(_where(project, cue, what, place, at), project.rig, start.facing_deg, _lasts_s(project, cue))
    except ValueError as fault:
        raise ProjectError("timelapse", str(fault)) from fault
    cannot = words(course) if course.cannot else ""
    new, count = project, 0
    if not cannot:
        made = tracks(course, cue.start, project.timebase.rate)
        new, count = _with(project, made), len(made[0].keys)
        if write:
            save(folder, new, laws())
    if json:
        tree = {"project": str(folder), "cue": cue.name, "follows": what, "begins": at.isoformat(timespec="seconds")}
        found = {"keys": count, "cannot": cannot or None, "written": write and not cannot}
        print(plain_json.dumps(tree | found, indent=2, ensure_ascii=False))
    elif cannot:
        _say(cannot)
    else:
        _say(
            f"{count} keys each of {course.axes[0]} and {course.axes[1]} follow the {what} from {at:%Y-%m-%d %H:%M:%S}"
        )
        _say("poses_by should be time, and the event as long as the cue")
        _say(kept(write))
    if cannot:
        raise typer.Exit(FOUND)


def _say(line: str) -> None:
    console.print(line, markup=False, highlight=False, soft_wrap=True)


def _lasts_s(project: Project, cue: Cue) -> float:
    return float(project.timebase.rate.seconds(cue.end - cue.start))


def _where(project: Project, cue: Cue, what: str, place: Place, at: datetime) -> Where:
    """Return where it is; stars are those at which the head looks when the cue begins."""
    for body in BODIES:
        if what == body:
            return of_body(body, place, at)
    rig, rate = project.rig, project.timebase.rate
    move = compile_move(rig, project.move, rate, laws())
    there = dict(zip(rig.names, move.sample(np.array([float(rate.seconds(cue.start))]))[0].tolist(), strict=True))
    pan, tilt = (_turned(rig, there, kind) for kind in ("pan", "tilt"))
    start = project.timelapse.start if project.timelapse is not None else Timelapse().start
    return of_stars(start.facing_deg - pan, tilt, place)


def _turned(rig: Rig, there: dict[str, float], kind: str) -> float:
    return sum(rig.geometry.sign(axis.name, kind) * there[axis.name] for axis in rig.axes if axis.kind == kind)


def _with(project: Project, made: tuple[Track, Track]) -> Project:
    """Return the project whose tracks of these axes are these."""
    own = {track.axis: track for track in made}
    old = [own.pop(track.axis, track) for track in project.move.tracks]
    move: Move = replace(project.move, tracks=(*old, *own.values()))
    return replace(project, move=move)
