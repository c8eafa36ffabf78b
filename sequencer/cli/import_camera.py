"""What `twintake previz` makes of a camera: keys of the rig's axes, few of them, checked against the motors.

The JSON document: `project`, `camera`, `samples`, `frames` [first, last] as the file numbers them; `from`, `to`, the
`cue` and whether it is `new`; `axes`, for each axis its name `axis`, `unit`, `tolerance`, `keys`, `percent` of all
samples, the most by which the compiled move is `off` at any sample, and `at`, how many keys it `replaced`, and `added`,
keys beside it that lead an axis in motion there or away; `off_px`, by how many pixels the picture is off at most (null:
the rig's camera is not described); `left_mm`, `left_deg`, what the rig cannot do of the camera's place and view, each
with `at`; `remarks`; `check` of the project then, with `ok`, `reserve_percent`; `over`, what asks too much of the
motors here, in words; `time_scale`, at which it was found to fit (null: at none); `written`.
"""

import json as plain_json
import shlex
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from rich import box
from rich.table import Table

from sequencer.cli.check_table import moment
from sequencer.cli.exits import FOUND, console
from sequencer.cli.options import instant
from sequencer.cli.verdict import finite, kept, verdict
from sequencer.errors import ImportFault, ProjectError
from sequencer.export.cuts import cut_frames, cut_words
from sequencer.export.found import FoundCamera
from sequencer.motion.check import LegCheck
from sequencer.motion.peaks import Asked as Most
from sequencer.motion.peaks import unit_of
from sequencer.project.document import Project
from sequencer.project.previz import Asked, Near, TakenIn, slower, taken_in
from sequencer.project.store import dump, save
from sequencer.shell.import_file import bytes_of, kind_of
from sequencer.shell.kinds import laws
from sequencer.timebase.rate import Rate

_MOST_ROWS = 6
_LITTLE_MM, _LITTLE_DEG = 0.01, 0.001  # less is said as nothing left over


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What the command is told beside what is asked of the camera: which one, and what to do with the answer."""

    folder: Path
    camera: str | None
    write: bool
    anyway: bool
    json: bool


def run(project: Project, cameras: tuple[FoundCamera, ...], file: str, asked: Asked, told: Told) -> int:
    """Take one camera of a file into the project, show what became of it, and return the exit status.

    Nothing is written where the motors cannot do it, unless told so. Error: ImportFault, ProjectError.
    """
    camera = chosen(cameras, told.camera, file)
    cuts = tuple(cut_frames(camera))
    done = taken_in(project, laws(), camera, asked, cuts)
    dump(done.project)
    scale = None if done.ok else slower(project, laws(), camera, asked, done, cuts)
    written = told.write and (done.ok or told.anyway)
    if written:
        save(told.folder, done.project, laws())
    # what was taken has no cut in it, so those elsewhere are no matter
    remarks = (*(one for one in camera.remarks if one != cut_words(camera)), *done.remarks)
    if told.json:
        facts = _facts(done, remarks, scale, told) | {"written": written}
        print(plain_json.dumps(facts, indent=2, allow_nan=False, ensure_ascii=False))
    else:
        _show(done, remarks, scale, told, written)
    return 0 if done.ok else FOUND


def plainly(
    folder: Path,
    project: Project,
    cameras: tuple[FoundCamera, ...],
    file: str,
    when: tuple[str | None, bool],
    does: tuple[bool, bool],
) -> int:
    """Take a camera as `run` does, with no more asked than a timecode, and whether it keeps its time; else refuse.

    `when`: the timecode, and the time; `does`: write, and answer in JSON. Error: ImportFault, ProjectError.
    """
    asked = Asked(
        at=None if when[0] is None else instant("--at", when[0], project.timebase),
        convert="time" if when[1] else None,
    )
    try:
        return run(
            project, cameras, file, asked, Told(folder=folder, camera=None, write=does[0], anyway=False, json=does[1])
        )
    except (ImportFault, ProjectError) as fault:
        more = f"a camera has choices of its own: twintake previz {shlex.quote(str(folder))} {shlex.quote(file)}"
        raise ImportFault(f"{fault}; {more}") from fault


def cameras_of(file: Path, form: str | None, rate: Rate | None) -> tuple[FoundCamera, ...]:
    """Return the cameras of a file. Error: ImportFault."""
    kind = kind_of(file, form)
    if kind.camera is None:
        raise ImportFault(f"{file.name}: {kind.title} has no camera; take what it has with: twintake import")
    return kind.camera(bytes_of(file, kind), file.name, rate)


def chosen(cameras: tuple[FoundCamera, ...], name: str | None, file: str) -> FoundCamera:
    """Return the camera of that name, or the only one. Error: ImportFault that lists them."""
    there = ", ".join(one.name for one in cameras) or "none"
    if name is None and len(cameras) == 1:
        return cameras[0]
    named = [one for one in cameras if one.name == name]
    if len(named) == 1:
        return named[0]
    if name is None:
        raise ImportFault(f"{file}: it has {len(cameras)} cameras; name one with --camera: {there}")
    if named:
        raise ImportFault(f"{file}: {len(named)} cameras are called {name!r}; give each its own name, and export again")
    raise ImportFault(f"{file}: no camera is called {name!r}; it has: {there}")


def _over(done: TakenIn) -> list[str]:
    """Say what asks too much: the worst first."""
    timebase, units = done.project.timebase, {axis.name: axis.unit for axis in done.project.rig.axes}

    def most(one: Most, unit: str) -> str:
        asked, limit = one.numbers() if finite(one.value) is not None else ("a jump", f"{one.limit:g}")
        return f"{one.of} {asked} at {moment(one.at_s, timebase)}, limit {limit} {unit}".rstrip()

    def leg(one: LegCheck) -> str:
        ends = " to ".join(str(timebase.label_at(at_s)) for at_s in (one.from_s, one.to_s))
        return f"{one.axis} from {ends}: {most(one.worst, unit_of(units[one.axis], one.worst.of))}"

    legs = [leg(one) for one in done.over]
    return [*legs, *(f"{name}: {most(one, '')}" for name, one in done.together)]


def _percent(done: TakenIn, one: Near) -> float:
    return 100 * one.fitted.captured.keys / len(done.film.frames)


def _show(done: TakenIn, remarks: tuple[str, ...], scale: Fraction | None, told: Told, written: bool) -> None:
    def say(line: str) -> None:
        console.print(line, markup=False, highlight=False, soft_wrap=True)

    label, film = done.project.timebase.label, done.film
    ends = f"frames {film.frames[0]:g} to {film.frames[-1]:g} at {film.rate}"
    say(f"{film.name}: {len(film.frames)} samples, {ends}")
    cue = f"{'the new cue' if done.made else 'the cue'} {done.cue.name}"
    ends_s = (float(done.project.timebase.rate.seconds(at)) for at in done.span)
    say(f"goes:   from {' to '.join(str(done.project.timebase.label_at(at_s)) for at_s in ends_s)}, in {cue}")
    table = Table(box=box.SIMPLE_HEAD, padding=0, pad_edge=False, show_edge=False)
    table.add_column("axis", no_wrap=True)
    for name in ("keys", "of all\nsamples", "allowed", "off", "replaced"):
        table.add_column(name, justify="right")
    table.add_column("at", no_wrap=True)
    for one in done.axes:
        own = one.fitted.captured
        unit = done.project.rig.axes[done.project.rig.index(own.axis)].unit
        cells = (str(own.keys), f"{_percent(done, one):.2f} %", f"{one.fitted.within:.3g}", f"{one.off:.3g}")
        table.add_row(f"{own.axis} ({unit})", *cells, str(one.fitted.replaced), str(label(round(one.at))))
    console.print(table)
    if done.off_px is not None:
        say(f"off:    by {done.off_px[0]:.2f} pixels of the picture at most, at {label(round(done.off_px[1]))}")
    for (most, at), least, unit, what in (
        (done.left_mm, _LITTLE_MM, "mm", "of the camera's place"),
        (done.left_deg, _LITTLE_DEG, "degrees", "of its view"),
    ):
        if most > least:
            say(f"left:   {most:.4g} {unit} {what} are beyond what the rig can do, at {label(round(at))}")
    for one in done.axes:
        if one.fitted.captured.added:
            keys = ", ".join(str(label(at)) for at in one.fitted.captured.added)
            say(f"{one.fitted.captured.axis}: in motion where it begins or ends, so keys lead there and on: {keys}")
    for line in remarks:
        say(f"note:   {line}")
    over = _over(done)
    say(f"then:   {verdict(done.check)}")
    for line in over[:_MOST_ROWS]:
        say(f"over:   {line}")
    if len(over) > _MOST_ROWS:
        say(f"over:   {len(over) - _MOST_ROWS} more")
    if over:
        say(f"mend:   {_mend(scale, told)}")
    say(kept(written) if done.ok or written else "nothing written: the motors cannot do it")


def _mend(scale: Fraction | None, told: Told) -> str:
    slow = f"--time-scale {float(scale):g} was tried and fits; or " if scale is not None else ""
    write = "" if told.anyway else "keep it with --write --anyway, then "
    return f"{slow}{write}choose a repair with: twintake fit {shlex.quote(str(told.folder))}"


def _facts(done: TakenIn, remarks: tuple[str, ...], scale: Fraction | None, told: Told) -> dict[str, Any]:
    label, rig = done.project.timebase.label, done.project.rig

    def axis(one: Near) -> dict[str, Any]:
        own = one.fitted.captured
        return {
            "axis": own.axis,
            "unit": rig.axes[rig.index(own.axis)].unit,
            "tolerance": one.fitted.within,
            "keys": own.keys,
            "percent": _percent(done, one),
            "off": one.off,
            "at": str(label(round(one.at))),
            "replaced": one.fitted.replaced,
            "added": [str(label(at)) for at in own.added],
        }

    def most(found: tuple[float, Fraction]) -> dict[str, Any]:
        return {"most": finite(found[0]), "at": str(label(round(found[1])))}

    return {
        "project": str(told.folder),
        "camera": done.film.name,
        "samples": len(done.film.frames),
        "frames": [float(done.film.frames[0]), float(done.film.frames[-1])],
        "from": str(label(done.span[0])),
        "to": str(label(done.span[1])),
        "cue": done.cue.name,
        "new": done.made,
        "axes": [axis(one) for one in done.axes],
        "off_px": None if done.off_px is None else most(done.off_px),
        "left_mm": most(done.left_mm),
        "left_deg": most(done.left_deg),
        "remarks": list(remarks),
        "check": {"ok": done.check.ok, "reserve_percent": finite(100 * done.check.reserve)},
        "over": _over(done),
        "time_scale": None if scale is None else float(scale),
    }
