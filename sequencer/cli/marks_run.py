"""How every operation of `twintake marks` runs, and how marks are shown. It refuses an edit that could not be written.

The JSON document: `project`; what was `done`, in words, empty for a list; the `marks`, in their order, each with its
`name`, its `position` by axis, its `leg` as in project.json (null: as fast as its axes may), `takes_s`, how long that
leg takes from the last one before it to which the rig can go (null: none), and `fault`, why it cannot be gone, in words
(null: it can); `written`.
"""

import json as plain_json
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from msgspec import UNSET, to_builtins
from rich import box
from rich.table import Table
from rich.text import Text

from sequencer.cli.exits import console, exits
from sequencer.cli.verdict import kept
from sequencer.errors import ProjectError
from sequencer.motion.to_mark import Takes, takes
from sequencer.project.build_marks import plain_marks
from sequencer.project.document import Project
from sequencer.project.store import dump, load, save
from sequencer.score.marks import AtSpeed, Lasting, Marks, Pace
from sequencer.shell.kinds import laws

# from a project to its marks as they are then, and what was done in words
Edit = Callable[[Project], tuple[Marks, str]]


@dataclass(frozen=True, slots=True)
class Told:
    """What every operation is told: of which project, and what to do with the result."""

    folder: Path
    write: bool
    json: bool


def run(told: Told, edit: Edit) -> None:
    """Edit the marks, keep them where that is wanted, and show or print them."""
    with exits():
        old = load(told.folder, laws())
        try:
            marks, words = edit(old)
        except ValueError as fault:
            raise ProjectError("", str(fault), file="command line") from fault
        new = replace(old, marks=marks)
        dump(new)
        if told.write and new != old:
            save(told.folder, new, laws())
        show(told, old, new, words)


def show(told: Told, old: Project, new: Project, words: str) -> None:
    """Print the marks of `new`, and say whether they were written."""
    times = takes(new.rig, new.marks)
    if told.json:
        found = _facts(told, new, times) | {"done": words, "written": told.write and new != old}
        print(plain_json.dumps(found, indent=2, allow_nan=False, ensure_ascii=False))
        return
    if words:
        _say(words)
    if not new.marks:
        _say("no marks")
    else:
        console.print(_table(new, times))
    for mark, one in zip(new.marks, times, strict=True):
        if one.why:
            _say(f"{mark.name}: {one.why}")
    if new != old:
        _say(kept(told.write))


def words_of(leg: Pace) -> str:
    """Say how the rig goes to a mark, in a few words."""
    match leg:
        case Lasting(lasts_s=lasts_s):
            return f"{float(lasts_s):.9g} s"
        case AtSpeed(part=part):
            return f"{part} of speed"
    return "fastest"


def _say(line: str) -> None:
    console.print(line, markup=False, highlight=False, soft_wrap=True)


def _table(project: Project, times: tuple[Takes, ...]) -> Table:
    """Return the marks, one a line; the axes that the rig has, and those that it had."""
    axes = dict.fromkeys(project.rig.names)
    axes |= dict.fromkeys(axis for mark in project.marks for axis in mark.axes)
    named = [axis for axis in axes if any(axis in mark.axes for mark in project.marks)]
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False, show_edge=False)
    table.add_column("mark", overflow="fold")
    for axis in named:
        table.add_column(axis, justify="right", overflow="fold")
    table.add_column("leg")
    table.add_column("takes", justify="right")
    for mark, one in zip(project.marks, times, strict=True):
        there = dict(mark.position)
        values = [f"{there[axis]:.6g}" if axis in there else "-" for axis in named]
        lasts = "no" if one.why else "" if one.lasts_s is None else f"{one.lasts_s:.2f} s"
        table.add_row(Text(mark.name), *values, words_of(mark.leg), lasts)
    return table


def _facts(told: Told, project: Project, times: tuple[Takes, ...]) -> dict[str, Any]:
    marks = [
        {
            "name": written.name,
            "position": written.position,
            "leg": None if written.leg is UNSET else to_builtins(written.leg),
            "takes_s": one.lasts_s,
            "fault": one.why or None,
        }
        for written, one in zip(plain_marks(project.marks), times, strict=True)
    ]
    return {"project": str(told.folder), "marks": marks}
