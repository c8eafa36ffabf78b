"""`twintake drive`: hands on the rig, and marks from the pads' buttons."""

import time
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from sequencer.cli.exits import console, errors, exits
from sequencer.cli.link_shown import LinkShown
from sequencer.cli.options import Folder, Out, TickHz, outputs
from sequencer.cli.play import CAUTION, demand_pads
from sequencer.cli.play_options import AtOnce, Pads, Precise
from sequencer.cli.shown import position_words
from sequencer.errors import ProjectError
from sequencer.live.handling import Deed
from sequencer.playback.state import MOVING, Phase
from sequencer.project.document import Project
from sequencer.project.store import load, save
from sequencer.rig.axis import Rig
from sequencer.score.edits.marks import numbered, stored
from sequencer.shell import shoot
from sequencer.shell.crew import Crew, crew
from sequencer.shell.kinds import laws
from sequencer.shell.messages import Pressed, Reset, Said, Setup, Status, TakeHands
from sequencer.shell.tour import Tour, new_mark
from sequencer.shell.words import visible

_RESET_S = 2.0  # for the engine's next tick, with room


def drive(
    project: Folder,
    out: Out = None,
    pads: Pads = "pads:",
    to: Annotated[str | None, typer.Option("--to", help="Go to this mark first.")] = None,
    tick_hz: TickHz = 250,
    precise: Precise = False,
    arm: AtOnce = False,
) -> None:
    """Drive the rig with game controllers; store marks and step through them with their buttons. Ctrl-C ends it."""
    with exits():
        opened = load(project, laws())
        setup = Setup(
            project=str(project),
            run=None,
            output=outputs(out),
            sync="internal",
            controllers=pads,
            tick_hz=tick_hz,
            precise=precise,
            answers_needed=False,
        )
        with crew(setup) as running:
            _Driver(running, setup, opened.rig, to).drive(arm)


class _Driver:
    """One operator with the pads in hand."""

    def __init__(self, running: Crew, setup: Setup, rig: Rig, first: str | None) -> None:
        self._crew, self._setup, self._rig, self._first = running, setup, rig, first
        self._folder = Path(setup.project)
        self._tour = Tour()
        self._watch = shoot.Watch(running, self._tell, act=self._obey)
        self._watch.been_ready = True  # what is refused here ends nothing
        self._link = LinkShown(console)
        self._stood = True

    def drive(self, asked: bool) -> None:
        opened = self._crew.wait_opened()
        self._watch.look()
        demand_pads(opened, self._setup)
        console.print(opened["engine"].timing, highlight=False)
        console.print(CAUTION, style="bold")
        then = f", and go to {self._first} at once" if self._first is not None else ""
        if not asked and not typer.confirm(f"Take the game controllers in hand{then}?"):
            raise typer.Exit(0)
        try:
            self._crew.tell(TakeHands(on=True))
            while True:
                self._look()
        except KeyboardInterrupt:
            self._watch.stop()
            raise

    def _look(self) -> None:
        status = self._watch.look()
        if status is None:
            return
        if status.phase == Phase.STOPPED:
            self._ask_on(status)
            return
        if self._first is not None and status.phase == Phase.IDLE:
            name, self._first = self._first, None
            self._to_first(name)
        stands = status.phase not in {phase.value for phase in MOVING}
        if stands and not self._stood:
            console.print(position_words(self._rig, status), markup=False, highlight=False)
        self._stood = stands

    def _obey(self, pressed: Pressed) -> None:
        """Do what a button asks for; what cannot be done is told, and ends nothing."""
        try:
            self._do(Deed(pressed.deed))
        except (ValueError, ProjectError) as fault:
            errors.print(str(fault), markup=False, highlight=False)

    def _do(self, deed: Deed) -> None:
        project, status = self._project(), self._crew.status()
        match deed:
            case Deed.STORE if status is not None:
                mark = new_mark(project.marks, project.rig, status)
                save(self._folder, replace(project, marks=stored(project.marks, mark)), laws())
                self._tour.stored(mark.name)
                console.print(f"stored {mark.name}", markup=False, highlight=False)
            case Deed.NEXT | Deed.PREVIOUS:
                self._crew.tell(self._tour.step(project.marks, 1 if deed is Deed.NEXT else -1))
            case Deed.ORIGIN:
                self._crew.tell(self._tour.home(project.rig))
            case _:
                console.print(f"{deed.value} has no meaning here; it is for play --by-hand", highlight=False)

    def _project(self) -> Project:
        """Return the project as it is now: another program may have changed the marks. Error: ProjectError."""
        project = load(self._folder, laws())
        if project.rig != self._rig:
            what = "the rig was changed while it is driven; what it says of axes is not what moves"
            raise ProjectError("", what, "end this with Ctrl-C and start it again", file="rig.json")
        return project

    def _to_first(self, name: str) -> None:
        marks = self._project().marks
        try:
            self._crew.tell(self._tour.to(marks[numbered(marks, name)]))
        except ValueError as fault:
            raise ProjectError("--to", str(fault), "name one of them", "command line") from fault

    def _ask_on(self, status: Status) -> None:
        """Have the operator say that it may go on after a stop; the pads must be taken in hand anew.

        A rig that dropped must be back first. Where it drops again meanwhile it stays stopped, and this is asked again.
        """
        while status.link == "down":
            status = self._watch.look() or status
        console.print(CAUTION, style="bold")
        if not typer.confirm(f"Stopped: {visible(status.cause)}. Reset, and take the game controllers in hand again?"):
            raise typer.Exit(3)
        self._crew.tell(Reset())
        until_s = time.monotonic() + _RESET_S
        while time.monotonic() < until_s:
            now = self._watch.look()
            if now is not None and now.phase == Phase.IDLE:
                self._crew.tell(TakeHands(on=True))
                return

    def _tell(self, status: Status | None, said: list[Said]) -> None:
        for one in said:
            if one.code == "at mark":
                self._tour.arrived(one.at_ns)
            console.print(one.text, markup=False, highlight=False)
        self._tour.look(status)
        self._link.look(status)
