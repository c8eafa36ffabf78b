"""`twintake rig`: describe the axes of a rig, and measure what they can really do, with the rig itself.

Each axis is armed by itself, and its trials grow from careful ones until it follows badly. What is measured is written
to rig.json with the day and the evidence; what of it becomes a limit is the operator's choice.

The JSON document: `project`, `rig`, `written`, and `axes`, each with its `axis`, `unit`, where it `stands`, `travel`,
`home`, `positive`; `measured` with the day `on` and the figures, each with its `value`, `spread`, `trials` and
`at_least`; `limits`, each with its `field`, `now`, `new`, `why` and whether it was `taken_over`; the `trials`, each
with its `step`, what was `asked` and `reached`, `held` and `words`; `trouble`; `written`. With --homing or --here it is
that of cli/rig_home.py.
"""

import json as plain_json
import tempfile
from dataclasses import replace
from datetime import date
from pathlib import Path

import typer

from sequencer.cli import rig_options as how
from sequencer.cli.exits import FOUND, console, errors, exits
from sequencer.cli.options import Folder, Json, Out, outputs
from sequencer.cli.play import CAUTION
from sequencer.cli.rig_home import Homer, homed, homings
from sequencer.cli.rig_shown import Walked, show_rig
from sequencer.cli.rig_walk import Walk, foreseen, walked
from sequencer.errors import ProjectError
from sequencer.project.document import Project
from sequencer.project.files import RIG
from sequencer.project.store import load, save
from sequencer.rig.axis import Axis
from sequencer.shell import trials
from sequencer.shell.kinds import laws


def rig(
    project: Folder,
    out: Out = None,
    axis: how.Only = None,
    travel: how.Travel = None,
    home: how.Home = None,
    positive: how.Positive = None,
    most: how.MostTried = None,
    begin: how.Begin = "1/10",
    measure: how.Measure = True,
    arm: how.AtOnce = False,
    yes: how.Yes = False,
    homing: how.HomeFirst = None,
    here: how.Here = None,
    keep_takes: how.KeepTakes = None,
    json: Json = False,
) -> None:
    """Walk through the axes of a rig, and measure what each can really do, from where it says it stands."""
    with exits():
        opened = load(project, laws())
        given = how.given(opened.rig, travel, home, positive, most)
        axes = how.axes_of(opened.rig, axis)
        how.check_walked(given, axes)
        wishes = homings(opened.rig, homing, here)
        if wishes and (axis or travel or home or positive or most or keep_takes):
            mend = "home the rig first, then walk through its axes"
            raise ProjectError("--homing, --here", "homing does nothing else", mend, "command line")
        if json and not (arm and yes):
            mend = "add --arm and --yes, with people clear"
            raise ProjectError("--json", "nobody can be asked while it prints one document", mend, "command line")
        said = errors if json else console
        said.print(CAUTION, style="bold", highlight=False)
        if not arm and not typer.confirm("Go on?"):
            raise typer.Exit(0)
        if wishes:
            homed(Homer(said=said, asks=not yes, armed=arm), opened, project, outputs(out), wishes, json)
            return
        walk = Walk(
            given=given,
            on=date.today().isoformat(),
            begin=begin,
            measure=measure,
            asks=not yes,
            armed=arm,
            said=said,
        )
        came = _walk_all(walk, opened, project, outputs(out), axes, keep_takes)
        if json:
            print(plain_json.dumps(_facts(opened, project, came), indent=2, allow_nan=False))
        if any(one.trouble for one in came):
            raise typer.Exit(FOUND)


def _walk_all(
    walk: Walk, project: Project, folder: Path, out: str, axes: tuple[Axis, ...], kept: Path | None
) -> list[Walked]:
    """Walk through the axes, one by one; each is written before the next begins. Trouble with one ends the walk."""
    came: list[Walked] = []
    with tempfile.TemporaryDirectory(prefix="twintake-trials-") as temporary:
        takes = Path(temporary) / "takes" if kept is None else kept
        ground = trials.Ground(project=project, output=out, folder=Path(temporary) / "project", takes=takes)
        stands = trials.stands(ground)
        show_rig(walk.said, project.rig, stands)
        foreseen(walk, project, axes, stands)
        for axis in axes:
            changed, one = walked(walk, ground, axis, stands[axis.name])
            if changed != project:
                changed = _written(folder, project, changed)
                one.written = True
                walk.said.print("  written to rig.json; the file before is rig.json.bak", highlight=False)
            project, ground = changed, replace(ground, project=changed)
            came.append(one)
            if one.trouble:
                left = [other.name for other in axes[len(came) :]]
                mend = f"Mend it, then: twintake rig {folder} --axis {axis.name}"
                rest = f"; not tried: {', '.join(left)}" if left else ""
                walk.said.print(f"  {mend}{rest}", highlight=False, markup=False, soft_wrap=True)
                break
    if any(one.written for one in came):
        walk.said.print(f"\nSee what it means for the move: twintake check {folder}", highlight=False, soft_wrap=True)
    return came


def _written(folder: Path, before: Project, changed: Project) -> Project:
    """Write the rig beside whatever else is in the folder by now; a walk lasts long. Error: ProjectError."""
    there = load(folder, laws())
    if there.rig != before.rig:
        what = "it was changed by somebody else since the walk began, and is left as it is"
        raise ProjectError("", what, "begin again; what was found stands above", file=RIG)
    there = replace(there, rig=changed.rig)
    save(folder, there, laws())
    return there


def _facts(project: Project, folder: Path, came: list[Walked]) -> dict[str, object]:
    return {
        "project": str(folder),
        "rig": project.rig.name,
        "axes": [one.facts for one in came],
        "written": any(one.written for one in came),
    }
