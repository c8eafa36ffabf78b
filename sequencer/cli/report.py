"""`twintake report`: the shoot report of a project's takes as PDF or HTML, or its numbers as JSON.

The JSON document: `project`, `rig`, `report` (the file, null where none was asked for), `takes`, and `groups`, one for
each cue and pass. Of a take: `name`, `cue` and `pass` (null where it cannot be read), `started`, `standing` (whole,
stopped, broken off, cannot be used), `fault`, `circled`, `note`, `bytes`, and `measured`, null where it cannot be read:
`frames`, `unanswered`, `tick_s`, `skipped`, `longest_s`, `gaps`, `gap_s`, `messages`, `scatter_ms`, `ahead_ms` [mean,
SD], `ppm`, and `axes`: `axis`, `unit`, `limits`, `sent` and `actual` [speed, acceleration, jerk], `error_rms`,
`error_peak`, `error_at`. Of a group:
`cue`, `pass`, `takes` by name, `planned` for each axis [speed, acceleration, jerk] (null in it: a jump), `compared` in
words, and `comparison` as `twintake compare` gives it, or null.
"""

import json as plain_json
from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any

import typer

from sequencer.cli.documents import Force, Out, suffix
from sequencer.cli.exits import console, exits, say
from sequencer.cli.options import Folder, Json, Within
from sequencer.cli.verdict import finite
from sequencer.export.documents import keep
from sequencer.export.shoot import Group, Listed, Shoot
from sequencer.shell.shot_report import gather
from sequencer.takes.facts import facts


def report(
    project: Folder,
    takes: Annotated[
        list[str] | None, typer.Argument(help="Takes by name, number or file; all if none is named.")
    ] = None,
    out: Out = None,
    cue: Annotated[str | None, typer.Option(help="The takes of this cue alone.")] = None,
    run: Annotated[str | None, typer.Option("--pass", help="The takes of this pass alone.")] = None,
    within: Within = None,
    force: Force = False,
    json: Json = False,
) -> None:
    """Report a shoot: its takes, limits used, faults, gaps, how well the rig followed and how well takes match."""
    with exits():
        kind = suffix(out, json)
        with console.status("") as shown:

            def tell(done: int, whole: int) -> None:
                shown.update(f"take {done + 1} of {whole}")

            quiet = json or not console.is_terminal
            shoot = gather(project, takes or (), cue, run, within, (lambda _done, _all: None) if quiet else tell)
        if out is not None:
            # what draws takes seconds to load, and only a document has it
            from sequencer.export.shoot_report import shoot_report

            keep(out, kind, shoot_report(shoot), force)
        if json:
            print(plain_json.dumps(found(shoot, out), indent=2, allow_nan=False))
            return
        _show(shoot, out)


def found(shoot: Shoot, out: Path | None) -> dict[str, Any]:
    """Return the JSON document."""
    return {
        "project": shoot.project,
        "rig": shoot.rig,
        "report": None if out is None else str(out),
        "takes": [_take(one) for one in shoot.takes],
        "groups": [_group(one) for one in shoot.groups],
    }


def _take(one: Listed) -> dict[str, Any]:
    measured = None
    if (told := one.measured) is not None:
        names = ("frames", "unanswered", "tick_s", "skipped", "longest_s", "gaps", "gap_s", "messages", "scatter_ms")
        measured = {name: getattr(told, name) for name in (*names, "ahead_ms", "ppm")}
        measured["axes"] = [asdict(use) for use in told.uses]
    return {
        "name": one.name,
        "cue": one.cue or None,
        "pass": one.run or None,
        "started": one.started,
        "standing": one.standing,
        "fault": one.fault,
        "circled": one.circled,
        "note": one.note,
        "bytes": one.size,
        "measured": measured,
    }


def _group(one: Group) -> dict[str, Any]:
    plans = one.planned
    return {
        "cue": one.cue,
        "pass": one.run,
        "takes": [take.name for take in one.takes],
        "planned": None if plans is None else {use.axis: [finite(peak) for peak in use.peaks] for use in plans},
        "compared": one.compared,
        "comparison": None if one.comparison is None else facts(one.comparison),
    }


def _show(shoot: Shoot, out: Path | None) -> None:
    whole = sum(one.whole for one in shoot.takes)
    many = "1 take" if len(shoot.takes) == 1 else f"{len(shoot.takes)} takes"
    say(f"{shoot.project}: {many}, {whole} of them whole")
    for group in shoot.groups:
        words = group.comparison.words if group.comparison is not None else group.compared
        say(f"{group.cue}, {group.run}, {len(group.takes)}: {words}")
    for one in shoot.takes:
        if not one.whole:
            say(f"{one.name}, {one.standing}: {one.fault}")
    say(f"written: {out}")
