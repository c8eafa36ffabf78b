"""`twintake takes`: shoot takes of a cue against timecode with the simulated rig, and say how well they match."""

from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from sequencer.cli.compare import conclude
from sequencer.cli.exits import console, errors, exits
from sequencer.cli.options import PassName, TickHz, Within
from sequencer.cli.shown import Shown
from sequencer.project.store import load
from sequencer.shell import shoot
from sequencer.shell.crew import crew
from sequencer.shell.kinds import laws
from sequencer.shell.messages import Setup


def takes(
    project: Annotated[Path, typer.Argument(help="A project folder.")],
    takes: Annotated[int, typer.Option(min=1, help="How many takes to shoot.")] = 3,
    cue: Annotated[str | None, typer.Option(help="The cue; the first one if not said.")] = None,
    run: PassName = None,
    preroll_s: Annotated[float, typer.Option("--preroll", min=1.0, help="Seconds of timecode before the cue.")] = 3.0,
    through: Annotated[
        str, typer.Option(help="How timecode comes in: auto, pipe, or the address of a source (virtual:NAME).")
    ] = "auto",
    seed: Annotated[int, typer.Option(help="Seed of the simulated rig's noise; each take goes on from it.")] = 1,
    tick_hz: TickHz = 250,
    out: Annotated[
        Path | None, typer.Option(help="Folder for take files and report; PROJECT/takes if not said.")
    ] = None,
    within: Within = None,
    json: Annotated[bool, typer.Option("--json", help="Print one JSON document, and nothing else.")] = False,
) -> None:
    """Shoot takes in real time: timecode in, setpoints to a simulated rig, each take recorded and compared."""
    with exits():
        opened = load(project, laws())
        plan = shoot.plan(opened, cue, run, out if out is not None else project / "takes", of=project)
        source = shoot.wire() if through == "auto" else "pipe:0" if through == "pipe" else through
        with shoot.simulated_rig(project / "rig.json", seed) as (_, output):
            setup = Setup(
                project=str(project), run=plan.run.name, output=output, sync="mtc", sources=(source,), tick_hz=tick_hz
            )
            paths = _shoot(plan, setup, takes, preroll_s, errors if json else console)
        if len(paths) < 2:
            console.print(f"kept {paths[0]}; shoot another to compare", highlight=False, soft_wrap=True)
            return
        last = paths[-1].stem.rpartition("_")[2]
        raise typer.Exit(conclude(paths, paths[0].with_name(f"{paths[0].stem}-{last}.html"), within, json))


def _shoot(plan: shoot.Plan, setup: Setup, number: int, preroll_s: float, on: Console) -> list[Path]:
    paths = []
    with (
        Shown(on, plan.project.timebase, plan.span_s) as shown,
        crew(setup) as running,
    ):
        watch = shoot.Watch(running, shown.look)
        opened = running.wait_opened()
        on.print(f"{plan.project.name}, cue {plan.cue.name}, {plan.run.name}; {opened['engine'].timing}")
        with shoot.timecode_sender(opened, plan.project) as sender:
            for one in range(1, number + 1):
                shown.begin(f"take {one} of {number}")
                try:
                    paths.append(shoot.take(watch, plan, sender, preroll_s))
                except KeyboardInterrupt:
                    watch.stop()
                    raise
    return paths
