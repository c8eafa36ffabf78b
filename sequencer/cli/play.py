"""`twintake play`: follow a clock with a real output."""

import time
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Literal

import typer

from sequencer.cli.exits import console, errors, exits
from sequencer.errors import ProjectError
from sequencer.playback.state import Phase
from sequencer.project.document import Project
from sequencer.project.store import load
from sequencer.shell.crew import Crew, CrewFailed, crew
from sequencer.shell.kinds import laws
from sequencer.shell.messages import Arm, Said, Setup, Start, Status
from sequencer.shell.shoot import Plan, Watch

CAUTION = (
    "The rig will move. Are people clear, and is a hard-wired emergency stop that cuts motor power in reach of a "
    "person who watches the rig? This program is not a safety device."
)


def play(
    project: Annotated[Path, typer.Argument(help="A project folder.")],
    sync: Annotated[Literal["internal", "mtc"], typer.Option(help="What clocks the move.")] = "internal",
    midi_in: Annotated[
        str, typer.Option(help="Where timecode comes in: a port's name, virtual:NAME, or pipe:PORT.")
    ] = "virtual:twintake",
    out: Annotated[str, typer.Option(help="The rig, as osc://HOST:PORT.")] = "osc://127.0.0.1:9000",
    run: Annotated[str | None, typer.Option("--pass", help="The pass; the first one if not said.")] = None,
    cue: Annotated[str | None, typer.Option(help="Play this cue only; else from first key to last.")] = None,
    until: Annotated[str | None, typer.Option(help="End at this timecode.")] = None,
    preroll_s: Annotated[
        float, typer.Option("--preroll", min=0.0, help="Internal clock: seconds before the start.")
    ] = 3.0,
    freewheel_s: Annotated[float, typer.Option("--freewheel", min=0.0, max=10.0)] = 2.0,
    tick_hz: Annotated[int, typer.Option("--tick-hz", min=50, max=1000)] = 250,
    precise: Annotated[bool, typer.Option("--precise", help="Spin before each tick: more punctual, more CPU.")] = False,
    arm: Annotated[bool, typer.Option("--arm", help="Arm at once; else the operator is asked.")] = False,
    record: Annotated[bool, typer.Option("--record", help="Keep a take file (needs --cue).")] = False,
) -> None:
    """Move to the start, say so, and follow the clock to the end of the move."""
    with exits():
        opened = load(project, laws())
        source = "" if sync == "internal" else midi_in if ":" in midi_in else f"midi:{midi_in}"
        setup = Setup(
            project=str(project),
            run=opened.run(run).name,
            output=out,
            sync=sync,
            source=source,
            tick_hz=tick_hz,
            precise=precise,
            freewheel_s=freewheel_s,
            answers_needed=False,
        )
        order = _order(opened, project, cue, run, until, record)
        console.print(CAUTION, style="bold")
        if not arm and not typer.confirm("Arm and move to the start?"):
            raise typer.Exit(0)
        with crew(setup) as running:
            _play(running, order, opened, preroll_s if sync == "internal" else None)


def _order(project: Project, folder: Path, cue: str | None, run: str | None, until: str | None, record: bool) -> Arm:
    until_s = None
    if until is not None:
        try:
            until_s = float(project.timebase.rate.seconds(project.timebase.frames(until)))
        except ValueError as fault:
            raise ProjectError("--until", str(fault), file="command line") from fault
    if not record:
        return Arm(cue=project.cue(cue).name if cue is not None else None, until_s=until_s)
    plan = Plan(project=project, cue=project.cue(cue), run=project.run(run), folder=folder / "takes")
    path = plan.next_path()
    return Arm(cue=plan.cue.name, until_s=until_s, take=str(path), heading=plan.heading(path.stem))


def _teller(project: Project) -> Callable[[Status | None, list[Said]], None]:
    def tell(status: Status | None, said: list[Said]) -> None:
        for one in said:
            console.print(one.text, markup=False, highlight=False)

    return tell


def _play(running: Crew, order: Arm, project: Project, preroll_s: float | None) -> None:
    watch = Watch(running, _teller(project))
    for one in running.wait_opened().values():
        if one.source:
            console.print(f"timecode comes in at {one.source}", highlight=False)
        if one.timing:
            console.print(one.timing, highlight=False)
    try:
        running.tell(order)
        watch.until(Phase.READY, 120.0)
        if preroll_s is not None:
            running.tell(Start(preroll_s))
        _follow(watch)
        if order.take is not None:
            console.print(f"kept {watch.until_kept().path}", highlight=False)
    except KeyboardInterrupt:
        watch.stop("the operator pressed Ctrl-C")
        raise


def _follow(watch: Watch) -> None:
    """Watch until the move has ended. Error: CrewFailed when the rig was stopped."""
    shown = 0.0
    while True:
        status = watch.look()
        if status is None:
            continue
        if status.phase == Phase.FINISHED:
            return
        if status.phase == Phase.STOPPED:
            raise CrewFailed(f"stopped: {status.cause}")
        if time.monotonic() - shown > 5.0:
            shown = time.monotonic()
            errors.print(f"{status.phase}, clock {status.lock}", style="dim", highlight=False)
