"""`twintake camera`: what the camera does along the move, and a test of its trigger."""

import json as plain_json
import time
from fractions import Fraction
from typing import Annotated, get_args

import typer

from sequencer.cli.exits import LINK, console, exits
from sequencer.cli.options import Folder, Json, Out, outputs
from sequencer.errors import ProjectError
from sequencer.project.document import Project
from sequencer.project.store import load
from sequencer.rig.signals import TRIGGER_NAMES, TriggerName
from sequencer.score.camera import CameraCue
from sequencer.shell.crew import crew
from sequencer.shell.kinds import laws
from sequencer.shell.messages import Fire, Said, Setup

_ANSWER_S = 2.0


def camera(
    project: Folder,
    test: Annotated[
        str | None,
        typer.Option(metavar="|".join(get_args(TriggerName)), help="Have the camera do this once, now; nothing moves."),
    ] = None,
    out: Out = None,
    json: Json = False,
) -> None:
    """List what the camera does along the move; with --test, have it do something now."""
    with exits():
        opened = load(project, laws())
        if test is None:
            _list(opened, json)
            return
        went = _fire(opened, str(project), test, outputs(out))
        if json:
            print(plain_json.dumps({"fired": went.code == "fired", "said": went.text}, indent=2))
        else:
            console.print(f"{went.code}: {went.text}", markup=False, highlight=False)
        if went.code != "fired":
            raise typer.Exit(LINK)


def _list(project: Project, json: bool) -> None:
    if json:
        cues = [
            {"do": one.do, "at": _where(one, project), "after_s": one.after_s, "lead_s": one.lead_s}
            for one in project.camera
        ]
        print(plain_json.dumps({"camera": cues}, indent=2))
        return
    for one in project.camera:
        how = f"{abs(one.after_s):g} s {'after' if one.after_s > 0 else 'before'} " if one.after_s else "at "
        lead = f", ordered {one.lead_s * 1e3:.0f} ms earlier" if one.lead_s else ""
        console.print(f"{one.do} {how}{_where(one, project)}{lead}", markup=False, highlight=False)
    if not project.camera:
        console.print('nothing; write it into project.json under "camera"', markup=False, highlight=False)


def _where(cue: CameraCue, project: Project) -> str:
    return str(project.timebase.label(cue.at)) if isinstance(cue.at, Fraction) else cue.at


def _fire(project: Project, folder: str, test: str, out: str) -> Said:
    """Have the camera do it, by an engine that moves nothing; return what came of it. Error: ProjectError."""
    name = next((one for one in TRIGGER_NAMES if one == test), None)
    if name is None:
        mend = f"name one of {', '.join(TRIGGER_NAMES)}"
        raise ProjectError("--test", f"no camera does {test!r}", mend, "command line")
    setup = Setup(project=folder, run=None, output=out, sync="internal", answers_needed=False)
    with crew(setup) as running:
        running.wait_opened()
        running.tell(Fire(name))
        deadline = time.monotonic() + _ANSWER_S
        while time.monotonic() < deadline:
            for report in running.hear(0.02):
                if isinstance(report, Said) and report.code in ("fired", "not fired"):
                    time.sleep(0.1)  # what waits in a line goes out
                    return report
    return Said(time.monotonic_ns(), "not fired", f"the engine said nothing for {_ANSWER_S:g} s; try again")
