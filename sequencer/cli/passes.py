"""`twintake passes`: all passes of a cue, checked against the motors, in the order that spares work on the set.

The JSON document: `ok`, whether all can be armed; `rule` of the order, in words; `passes`, in that order. Of each:
`cue`, `pass`, `note`; `prepare`, what is done on the set before it, in words; `from` and `to` in timecode, as written;
`lasts_s` as it is run; `speed`, camera `rate` and `step`, exact: how many frames of the move go by from one frame shot
to the next; `frames`, how many are shot; `reversed`; `offset` by axis; `scale`, null or its `factor`, `about` and
`time`; `time_off_percent`, by how much faster it is than the square root of the scale asks (null: nothing is asked);
`ok`; `problems`, why it cannot be armed, in words; `reserve_percent`, what is left of the limits where least is (null:
not known, or without end); `fits_speed` and `fits_rate`, the fastest speed that keeps every limit, and the camera's
rate that shows the same frames at it (null: it fits as it is, or no speed does).
"""

import json as plain_json
import shlex
from collections.abc import Iterator
from itertools import pairwise
from typing import Annotated, Any

import typer
from rich import box
from rich.table import Table

from sequencer.cli.check_table import percent
from sequencer.cli.exits import FOUND, console, exits
from sequencer.cli.options import Folder, Json
from sequencer.cli.verdict import finite
from sequencer.errors import ProjectError
from sequencer.playback.pass_check import PassCheck, checked
from sequencer.project.document import Project
from sequencer.project.pass_words import problems, rate_at, readable
from sequencer.project.store import load
from sequencer.score.move import Cue, Pass
from sequencer.score.pace import missed, step
from sequencer.score.passes import LENGTHS
from sequencer.shell.kinds import laws

RULE = (
    "what takes longest to change is changed least often: scale (the rig goes to another set), then the note (light, "
    "people, props), camera rate, cue, offset, speed and direction; what is alike keeps the order of the project"
)

_HARDLY = 5e-5  # part of the time: less is not worth a word; the JSON document has it


def passes(
    project: Folder,
    cue: Annotated[str | None, typer.Argument(help="Only the passes of this cue; else those of all.")] = None,
    json: Json = False,
) -> None:
    """List the passes in the order to shoot them, each checked against the motors. Ends with status 1 if one is over.

    It moves nothing: shoot with twintake play or twintake takes and --pass.
    """
    with exits():
        opened = load(project, laws())
        done = checked(opened.rig, opened.move, opened.timebase.rate, laws(), _cues(opened, cue))
        ok = all(one.ok for one in done)
        if json:
            print(plain_json.dumps(found(opened, done), indent=2, allow_nan=False, ensure_ascii=False))
        else:
            _show(opened, done, str(project))
        raise typer.Exit(0 if ok else FOUND)


def _cues(project: Project, name: str | None) -> tuple[Cue, ...]:
    """Return the cues that are asked for. Error: ProjectError that lists those there are, also where there is none."""
    try:
        chosen = project.cue(name)
    except ValueError as fault:
        mend = "" if project.move.cues else "passes are of cues: write one into the project"
        raise ProjectError("cues", str(fault), mend) from fault
    return project.move.cues if name is None else (chosen,)


def found(project: Project, done: tuple[PassCheck, ...]) -> dict[str, Any]:
    """Return the JSON document."""
    before = (None, *done)
    return {
        "ok": all(one.ok for one in done),
        "rule": RULE,
        "passes": [_facts(project, one, last) for last, one in zip(before, done, strict=False)],
    }


def _facts(project: Project, one: PassCheck, before: PassCheck | None) -> dict[str, Any]:
    run, cue, rate = one.run, one.cue, project.timebase.rate
    off, lasts_s = missed(run), rate.seconds(cue.end - cue.start) / run.speed
    scale = run.scale
    return {
        "cue": cue.name,
        "pass": run.name,
        "note": run.note,
        "prepare": list(_prepare(project, run, None if before is None else before.run)),
        "from": str(project.timebase.label(cue.start)),
        "to": str(project.timebase.label(cue.end)),
        "lasts_s": float(lasts_s),
        "speed": str(run.speed),
        "rate": str(run.rate or rate.fraction),
        "step": str(step(rate, run)),
        "frames": float(lasts_s * (run.rate or rate.fraction)),
        "reversed": run.reversed,
        "offset": dict(run.offset),
        "scale": None
        if scale is None
        else {"factor": str(scale.factor), "about": dict(scale.about), "time": scale.time},
        "time_off_percent": None if off is None else 100 * off,
        "ok": one.ok,
        "problems": list(problems(project, one)),
        "reserve_percent": None if one.reserve is None else finite(100 * one.reserve),
        "fits_speed": None if one.fits is None else str(one.fits),
        "fits_rate": None if one.fits is None else str(rate_at(project, run, one.fits)),
    }


def _prepare(project: Project, run: Pass, before: Pass | None) -> Iterator[str]:
    """Yield what is done on the set between two passes; before the first, from the project as it is written."""
    last = before or Pass("")
    if run.scale != last.scale and (run.scale is None or last.scale is None or _set(run) != _set(last)):
        if run.scale is None:
            yield "rig to the set as it is written"
        else:
            about = ", ".join(f"{name} {value:g}" for name, value in run.scale.about)
            yield f"rig to the set at scale {run.scale.factor}{f', about {about}' if about else ''}"
            if any(axis.kind == "focus" for axis in project.rig.axes):
                yield "distances are scaled and the focus motor is not: pull focus anew"
    if run.rate != last.rate:
        yield f"camera to {readable(run.rate or project.timebase.rate.fraction)} fps"
    if run.note != last.note:
        yield run.note or f"no longer: {last.note}"


def _set(run: Pass) -> object:
    return run.scale and (run.scale.factor, run.scale.about)


def _how(project: Project, run: Pass) -> Iterator[str]:
    """Yield what a pass makes of the move."""
    if run.scale is not None:
        lengths = [axis.name for axis in project.rig.axes if axis.kind in LENGTHS]
        yield f"{' and '.join(lengths) or 'nothing'} scaled by {run.scale.factor}"
    for name, value in run.offset:
        yield f"{name} {value:+g}"
    if run.reversed:
        yield "backward"
    yield f"speed {readable(run.speed)}"
    between = step(project.timebase.rate, run)
    if run.rate is not None:
        yield f"at {readable(run.rate)} fps"
    if between == 1:
        yield "frame for frame"
    elif between.numerator == 1:
        yield f"every {_nth(between.denominator)} frame shot is a frame of the move"
    elif between.denominator == 1:
        yield f"shoots every {_nth(between.numerator)} frame of the move"
    else:
        yield f"frame {between.denominator} shot is frame {between.numerator} of the move, and so on"
    off = missed(run)
    if off is not None and abs(off) < _HARDLY:
        yield "by the square root of the scale"
    elif off is not None:
        yield f"{abs(off):.2%} {'faster' if off > 0 else 'slower'} than the square root of the scale asks"


def _nth(number: int) -> str:
    endings = {1: "st", 2: "nd", 3: "rd"}
    return f"{number}{'th' if number % 100 in (11, 12, 13) else endings.get(number % 10, 'th')}"


def _show(project: Project, done: tuple[PassCheck, ...], folder: str) -> None:
    def say(line: str) -> None:
        console.print(line, markup=False, highlight=False, soft_wrap=True)

    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1), pad_edge=False, show_edge=False)
    table.add_column("", justify="right")
    for name in ("cue", "pass", "before it", "how"):
        table.add_column(name, overflow="fold")
    table.add_column("then", no_wrap=True)
    for number, (before, one) in enumerate(pairwise((None, *done)), 1):
        assert one is not None
        prepare = "; ".join(_prepare(project, one.run, None if before is None else before.run))
        how = ", ".join(_how(project, one.run))
        then = f"fits, reserve {percent(max(one.reserve or 0.0, 0.0))}" if one.ok else "does not fit"
        table.add_row(str(number), one.cue.name, one.run.name, prepare or "-", how, then)
    console.print(table)
    for one in done:
        for line in problems(project, one):
            say(f"{one.cue.name}, {one.run.name}: {line}")
    say(f"order: {RULE}")
    say(f"shoot one with: twintake play {shlex.quote(folder)} --cue CUE --pass PASS")
