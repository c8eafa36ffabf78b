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
from sequencer.shell.crew import Crew, crew
from sequencer.shell.kinds import laws
from sequencer.shell.messages import Fire, Said, Setup
from sequencer.shell.outlets import parts

_ANSWER_S = 2.0
_AGAIN_S = 3.0  # a device that has just been opened takes orders once its clock is known


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
    demand_camera(out, project, name)
    setup = Setup(project=folder, run=None, output=out, sync="internal", answers_needed=False)
    with crew(setup) as running:
        running.wait_opened()
        until = time.monotonic() + _AGAIN_S
        while (said := _ordered(running, name)).code == "not fired" and time.monotonic() < until:
            pass  # nothing went out, so it may be ordered again
        time.sleep(0.1)  # what waits in a line goes out
        return said


def _ordered(running: Crew, name: TriggerName) -> Said:
    running.tell(Fire(name))
    deadline = time.monotonic() + _ANSWER_S
    while time.monotonic() < deadline:
        for report in running.hear(0.02):
            if isinstance(report, Said) and report.code in ("fired", "not fired", "perhaps fired"):
                return report
    words = f"{name}: the engine said nothing for {_ANSWER_S:g} s; look whether the camera did it, and try again"
    return Said(time.monotonic_ns(), "perhaps fired", words)


def demand_camera(out: str, project: Project, name: TriggerName) -> None:
    """Have an output that carries this to a camera. Error: ProjectError where none does, with what is there."""
    served = parts(out, project.rig)
    able = {trigger for part in served if part.kind.camera for trigger in part.carries.triggers}
    if name in able:
        return
    there = ", ".join(f"{part.outlet.address} ({', '.join(part.carries.triggers) or 'no camera'})" for part in served)
    mend = f"give one a way for it, or add one that has the camera: --out 'gpio:/dev/gpiochip0?{name}=17'"
    raise ProjectError("outputs", f"none carries {name} to a camera: {there}", mend, "command line")
