"""`twintake capture`: what hands performed in a take, as few keys in the project.

The JSON document: `project`, `take`, the name of the project that it was `recorded_in`; `axes`, for each axis its name
`axis`, `unit`, `tolerance`, where it is taken `from` and `to`, its `keys`, `samples` and `percent`, the most by which
it is off, `furthest` and `furthest_px` (null: it moves no picture), `at`, the most by which it is elsewhere than before
outside of that, `beside`, and `added`, keys beside it that lead an axis in motion there or away; `gaps` of the clock,
in words; `check` of the move then, with `ok`, `reserve_percent`, `legs_over`, `combined_over`; `written`.
"""

import json as plain_json
from pathlib import Path
from typing import Annotated, Any

import numpy as np
import typer
from rich import box
from rich.table import Table

from sequencer.cli.exits import FOUND, console, exits
from sequencer.cli.options import Folder, Json, Write, instant, number
from sequencer.cli.verdict import finite, kept, verdict, worst
from sequencer.errors import ProjectError, TakeError
from sequencer.live.capture import Captured
from sequencer.motion.check import Check, check
from sequencer.project.document import Project
from sequencer.project.performance import Kept, performance, tolerance_of
from sequencer.project.store import dump, load, save
from sequencer.project.takefile import read
from sequencer.rig.axis import Axis
from sequencer.shell.kinds import laws
from sequencer.takes.pixels import moves_picture, pixels
from sequencer.takes.take import Take
from sequencer.timebase.instants import labelled


def capture(
    project: Folder,
    take: Annotated[Path, typer.Argument(help="The take file in which it was performed.")],
    axis: Annotated[
        list[str] | None,
        typer.Option("--axis", metavar="NAME", help="Only this axis; may be repeated. Else all that hands had."),
    ] = None,
    tolerance: Annotated[
        float | None,
        typer.Option(parser=number, metavar="VALUE", help="How far off an axis may be, in its own unit."),
    ] = None,
    moved_px: Annotated[
        float | None,
        typer.Option("--pixels", parser=number, metavar="PIXELS", help="Or by how many the picture may shift for it."),
    ] = None,
    start: Annotated[str | None, typer.Option("--from", metavar="TIMECODE", help="Only from here on.")] = None,
    end: Annotated[str | None, typer.Option("--to", metavar="TIMECODE", help="Only up to here.")] = None,
    coasts: Annotated[
        bool, typer.Option("--over-dropouts", help="Also where timecode was missing and the clock was carried on.")
    ] = False,
    write: Write = False,
    json: Json = False,
) -> None:
    """Make keys of a performance: the fewest through which a smooth run stays within a tolerance of it everywhere.

    Ends with status 1 where the move is then over a limit.
    """
    with exits():
        opened = load(project, laws())
        recorded = read(take)
        within = _within(opened, axis or _by_hand(recorded), tolerance, moved_px)
        label = opened.timebase.label
        try:
            done = performance(
                opened,
                laws(),
                recorded,
                within,
                start=None if start is None else instant("--from", start, opened.timebase),
                end=None if end is None else instant("--to", end, opened.timebase),
                coasts=coasts,
            )
        except TakeError as fault:
            raise TakeError(labelled(str(fault), label)) from fault
        except ProjectError as fault:
            fault.what = labelled(fault.what, label)
            raise
        dump(done.project)
        judged = check(opened.rig, done.project.move, opened.timebase.rate, laws(), opened.run(None).speed)
        written = write and done.project != opened
        if written:
            save(project, done.project, laws())
        if json:
            facts = _facts(project, take, recorded.project, done, within, judged) | {"written": written}
            print(plain_json.dumps(facts, indent=2, allow_nan=False, ensure_ascii=False))
        else:
            _show(recorded, done, within, judged, written)
        raise typer.Exit(0 if judged.ok else FOUND)


def _by_hand(take: Take) -> list[str]:
    if not take.by_hand:
        mend = f"name axes with --axis; it has {', '.join(take.axes)}"
        raise TakeError(f"{take.name}: it does not say which axes were performed by hand; {mend}")
    return list(take.by_hand)


def _within(project: Project, names: list[str], tolerance: float | None, moved_px: float | None) -> dict[str, float]:
    """Return the tolerance of each axis. Error: ProjectError."""
    if (tolerance is None) == (moved_px is None):
        what = "say how near the keys are to be to what was performed"
        raise ProjectError("--tolerance, --pixels", what, "give one of the two", file="command line")
    for option, given in (("--tolerance", tolerance), ("--pixels", moved_px)):
        if given is not None and given <= 0:
            raise ProjectError(option, f"it is {given:g}", "give a number above zero", file="command line")
    axes = []
    for name in dict.fromkeys(names):
        if name not in project.rig.names:
            mend = f"its axes are {', '.join(project.rig.names)}"
            raise ProjectError("--axis", f"the rig has no axis {name!r}", mend, file="command line")
        axes.append(project.rig.axes[project.rig.index(name)])
    if moved_px is not None:
        return {axis.name: tolerance_of(project.rig, axis, moved_px) for axis in axes}
    assert tolerance is not None
    for axis in axes:
        if axis.unit != axes[0].unit:
            both = f"{axes[0].name} in {axes[0].unit}, {axis.name} in {axis.unit}"
            mend = "capture axes of one unit at a time, or give --pixels"
            raise ProjectError("--tolerance", f"one number cannot be for {both}", mend, file="command line")
    return {axis.name: tolerance for axis in axes}


def _pixels(project: Project, axis: Axis, off: float) -> float | None:
    """Return how far the picture is off for it, None where that is not known."""
    camera = project.rig.camera
    if camera is None or not moves_picture(axis.kind, axis.unit):
        return None
    return float(pixels(np.array(off), axis.kind, axis.unit, camera))


def _show(take: Take, done: Kept, within: dict[str, float], judged: Check, written: bool) -> None:
    def say(line: str) -> None:
        console.print(line, markup=False, highlight=False, soft_wrap=True)

    label = done.project.timebase.label
    if take.fault:
        say(f"{take.name}: {take.fault}")
    if take.project != done.project.name:
        say(f"{take.name}: it was recorded in the project {take.project!r}; this one is {done.project.name!r}")
    for gap in done.gaps:
        say(f"gap:    {labelled(gap.words(done.project.timebase.rate), label)}")
    table = Table(box=box.SIMPLE_HEAD, padding=0, pad_edge=False, show_edge=False)
    table.add_column("axis", no_wrap=True)
    for name in ("from", "to"):
        table.add_column(name, no_wrap=True)
    for name in ("keys", "of all\nsamples", "off", "pixels"):
        table.add_column(name, justify="right")
    table.add_column("at", no_wrap=True)
    for one in done.captured:
        axis = done.project.rig.axes[done.project.rig.index(one.axis)]
        moved_px = _pixels(done.project, axis, one.furthest)
        table.add_row(
            f"{one.axis} ({axis.unit})",
            *(str(label(at)) for at in (one.start, one.end)),
            str(one.keys),
            f"{100 * one.keys / one.samples:.2f} %",
            f"{one.furthest:.3g}",
            "-" if moved_px is None else f"{moved_px:.2f}",
            str(label(round(one.at))),
        )
    console.print(table)
    for one in done.captured:
        if one.added:
            keys = ", ".join(str(label(at)) for at in one.added)
            say(f"{one.axis}: in motion where it begins or ends, so keys lead there and on: {keys}")
        if one.beside > within[one.axis]:
            say(f"{one.axis}: beside the performance it is up to {one.beside:.3g} from where it was before")
    say(f"then:   {verdict(judged)}")
    if not judged.ok:
        say(f"worst:  {worst(judged, done.project.timebase)}")
    say(kept(written))


def _facts(
    folder: Path, take: Path, recorded_in: str, done: Kept, within: dict[str, float], judged: Check
) -> dict[str, Any]:
    label = done.project.timebase.label

    def axis(one: Captured) -> dict[str, Any]:
        own = done.project.rig.axes[done.project.rig.index(one.axis)]
        return {
            "axis": one.axis,
            "unit": own.unit,
            "tolerance": within[one.axis],
            "from": str(label(one.start)),
            "to": str(label(one.end)),
            "keys": one.keys,
            "samples": one.samples,
            "percent": 100 * one.keys / one.samples,
            "furthest": one.furthest,
            "furthest_px": _pixels(done.project, own, one.furthest),
            "at": str(label(round(one.at))),
            "beside": one.beside,
            "added": [str(label(at)) for at in one.added],
        }

    return {
        "project": str(folder),
        "take": str(take),
        "recorded_in": recorded_in,
        "axes": [axis(one) for one in done.captured],
        "gaps": [labelled(gap.words(done.project.timebase.rate), label) for gap in done.gaps],
        "check": {
            "ok": judged.ok,
            "reserve_percent": finite(100 * judged.reserve),
            "legs_over": len(judged.over()),
            "combined_over": len(judged.combined_over()),
        },
    }
