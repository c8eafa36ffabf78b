"""`twintake play`: follow a clock with a real output."""

import math
import time
from fractions import Fraction
from pathlib import Path
from typing import Annotated, Literal

import typer
from msgspec.structs import replace

from sequencer.cli.exits import console, errors, exits
from sequencer.cli.options import Folder, PassName, Speed, TickHz, instant
from sequencer.errors import ProjectError
from sequencer.playback.state import Phase
from sequencer.project.document import Project
from sequencer.project.store import load
from sequencer.shell import shoot
from sequencer.shell.crew import Crew, crew
from sequencer.shell.kinds import laws, source_address
from sequencer.shell.messages import Arm, Late, Said, Setup, Start, Status

_ARM_S = 10.0
CAUTION = (
    "The rig will move. Are people clear, and is a hard-wired emergency stop that cuts motor power in reach of a "
    "person who watches the rig? This program is not a safety device."
)


def play(
    project: Folder,
    sync: Annotated[Literal["internal", "mtc"], typer.Option(help="What clocks the move.")] = "internal",
    midi_in: Annotated[
        str, typer.Option(help="Where timecode comes in: a port's name, virtual:NAME, or pipe:PORT.")
    ] = "virtual:twintake",
    out: Annotated[str, typer.Option(help="The rig, as osc://HOST:PORT.")] = "osc://127.0.0.1:9000",
    run: PassName = None,
    cue: Annotated[str | None, typer.Option(help="Play this cue only; else all, from the first cue or key.")] = None,
    until: Annotated[str | None, typer.Option(help="End at this timecode, or where the move next rests.")] = None,
    speed: Speed = "1",
    late: Annotated[
        Late, typer.Option(help="Timecode that starts or jumps in mid-move: refuse it, or join the move there.")
    ] = "refuse",
    preroll_s: Annotated[
        float, typer.Option("--preroll", min=0.0, help="Internal clock: seconds before the start.")
    ] = 3.0,
    freewheel_s: Annotated[
        float, typer.Option("--freewheel", min=0.0, max=10.0, help="Seconds to go on when timecode stops coming.")
    ] = 2.0,
    tick_hz: TickHz = 250,
    precise: Annotated[bool, typer.Option("--precise", help="Spin before each tick: more punctual, more CPU.")] = False,
    arm: Annotated[bool, typer.Option("--arm", help="Arm at once; else the operator is asked.")] = False,
    record: Annotated[bool, typer.Option("--record", help="Keep a take file (needs --cue).")] = False,
) -> None:
    """Move to the start, say so, and follow the clock to the end of the move."""
    with exits():
        opened = load(project, laws())
        setup = Setup(
            project=str(project),
            run=shoot.pass_of(opened, run).name,
            output=out,
            sync=sync,
            source="" if sync == "internal" else source_address(midi_in),
            tick_hz=tick_hz,
            precise=precise,
            freewheel_s=freewheel_s,
            answers_needed=False,
        )
        order = Arm(until_s=_until_s(opened, until), speed=speed, late=late)
        if cue is not None or record:
            order = _of_cue(order, opened, project, cue, run, record)
        with crew(setup) as running:
            _play(running, order, preroll_s if sync == "internal" else None, arm)


def _until_s(project: Project, until: str | None) -> float | None:
    return None if until is None else float(project.timebase.rate.seconds(instant("--until", until, project.timebase)))


def _of_cue(order: Arm, project: Project, folder: Path, cue: str | None, run: str | None, record: bool) -> Arm:
    """Return the order to play one cue only, and where that is wanted to record a take of it."""
    if cue is None:
        raise ProjectError("--record", "a take is of a cue", "name it with --cue", file="command line")
    plan = shoot.plan(project, cue, run, folder / "takes", Fraction(order.speed))
    if not record:
        return replace(order, cue=cue)
    path = plan.next_path()
    return replace(order, cue=cue, take=str(path), heading=plan.heading(path.stem))


class _Teller:
    """Prints what happens, and now and then how it stands."""

    def __init__(self) -> None:
        self._shown_s = time.monotonic()

    def __call__(self, status: Status | None, said: list[Said]) -> None:
        for one in said:
            console.print(one.text, markup=False, highlight=False)
        if status is not None and time.monotonic() - self._shown_s > 5.0:
            self._shown_s = time.monotonic()
            errors.print(f"{status.phase}, clock {status.lock}", style="dim", highlight=False)


def _play(running: Crew, order: Arm, preroll_s: float | None, asked: bool) -> None:
    """Play what is ordered, once the operator has been told what is there and, unless `asked`, says so."""
    watch = shoot.Watch(running, _Teller())
    for one in running.wait_opened().values():
        if one.source:
            console.print(f"timecode comes in at {one.source}", highlight=False)
        if one.timing:
            console.print(one.timing, highlight=False)
    watch.look()
    console.print(CAUTION, style="bold")
    if not asked and not typer.confirm("Arm and move to the start?"):
        raise typer.Exit(0)
    try:
        watch.arm(order)
        watch.until(Phase.READY, _ARM_S)
        if preroll_s is not None:
            running.tell(Start(preroll_s))
        watch.until(Phase.FINISHED, math.inf)
        if order.take is not None:
            console.print(f"kept {watch.until_kept().path}", highlight=False, soft_wrap=True)
    except KeyboardInterrupt:
        watch.stop()
        raise
