"""Opens and closes the processes of a run in threads of their own, so that the editor's window never waits for them.

It passes on what went wrong and decides nothing.
"""

import contextlib
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any, Protocol

from PyQt6.QtCore import QObject

from sequencer.project.document import Project
from sequencer.project.files import RIG
from sequencer.rig.axis import Rig
from sequencer.shell import shoot
from sequencer.shell.crew import crew
from sequencer.shell.messages import Command, Opened, Report, Status
from sequencer.shell.outlets import Part, parts
from ui.beside import Inbox
from ui.link.choice import Choice, setup_of

_SEED = 1


class Talk(Protocol):
    """What the link needs of a crew."""

    def opened(self) -> dict[str, Opened] | None: ...
    def hear(self, wait_s: float = ...) -> list[Report]: ...
    def status(self) -> Status | None: ...
    def tell(self, command: Command) -> None: ...
    def stop_now(self) -> None: ...


@dataclass(slots=True)
class Simulated:
    """The simulated rig that stands beside the runs: where it listens, what rig it is, and what ends it."""

    output: str
    rig: Rig
    end: Callable[[], None]


@dataclass(slots=True)
class Company:
    """The processes of one run, and what ends them; the outputs that it has."""

    crew: Talk
    end: Callable[[], None]
    simulated: Simulated | None = None
    served: tuple[Part, ...] = ()

    def end_but(self, kept: Simulated | None) -> None:
        """End them, and the simulated rig unless it is `kept`."""
        self.end()
        if self.simulated is not None and self.simulated is not kept:
            self.simulated.end()


Then = Callable[[Any], object] | None
Gather = Callable[[Choice, Path, Rig, Simulated | None], Company]


@dataclass(frozen=True, slots=True)
class Load:
    """What an engine is started with: it reads `project` from `folder`. `rig` is what a simulated rig is made like.

    `prepare` is done once nothing runs that sends setpoints, just before the start; it gets the rig's outputs as a run
    has them written, None where there is no rig any more.
    """

    project: Project
    choice: Choice
    folder: Path
    rig: Rig
    prepare: Callable[[str | None], object] = lambda _: None


# from the document as it was just saved, what was chosen, and where it lies
Make = Callable[[Project, Choice, Path], Load]


def own(project: Project, choice: Choice, folder: Path) -> Load:
    """Return what an engine for the document itself is started with."""
    return Load(project, choice, folder, project.rig)


def gather(choice: Choice, folder: Path, rig: Rig, simulated: Simulated | None) -> Company:
    """Start what a run needs; a simulated rig that is there already stays where it stands.

    Error: LinkError, and ProjectError for outputs that cannot be, before anything is started.
    """
    with contextlib.ExitStack() as undo:
        if choice.real:
            simulated, output = None, choice.rig
        else:
            if simulated is None:
                simulated = _simulate(folder, rig)
                undo.callback(simulated.end)
            output = simulated.output
        served = parts(output, rig, folder)
        ends = ExitStack()
        running = ends.enter_context(crew(setup_of(choice, folder, output)))
        undo.pop_all()
    return Company(running, ends.close, simulated, served)


class Aside:
    """Does what blocks, one after another, in a thread; brings each outcome back into the thread of whoever asked."""

    def __init__(self, parent: QObject | None = None) -> None:
        self._thread = ThreadPoolExecutor(1, "aside")
        self._outcomes: Inbox[tuple[Then, object]] = Inbox(self._deliver, parent)
        self._due = 0

    def do(self, work: Callable[[], object], then: Then = None) -> None:
        """Do `work`; then hand what it returned, or the exception that it raised, to `then`."""
        self._due += 1
        self._outcomes.open()
        self._thread.submit(_work, work, then, self._outcomes.put)

    def wait(self) -> None:
        """Wait until all of it is done, as the editor's last act."""
        self._thread.shutdown()

    def _deliver(self, outcome: tuple[Then, object]) -> None:
        self._due -= 1
        if not self._due:
            self._outcomes.close()
        then, what = outcome
        if then is not None:
            then(what)


def _work(work: Callable[[], object], then: Then, say: Callable[[tuple[Then, object]], None]) -> None:
    try:
        outcome = work()
    # a fault of any kind must reach the operator's eyes, and this thread has none
    except Exception as fault:
        say((then, fault))
    else:
        say((then, outcome))


class Crews:
    """The processes of one rig at a time, and the simulated rig beside them; changed one after another in a thread."""

    def __init__(self, gather: Gather, aside: Aside, taken: Callable[[Company], None]) -> None:
        self.company: Company | None = None
        self._simulated: Simulated | None = None
        self._gather, self._aside, self._taken = gather, aside, taken

    def replace(self, load: Load, wanted: Callable[[], bool], then: Then) -> None:
        """End what runs, and start others; and end these too, where nobody wants them any more by then."""
        before, stood = self.company, self._simulated
        self.company, self._simulated = None, _serving(stood, load.choice, load.rig)
        ends = [one.end for one in (before, stood) if one is not None and one is not self._simulated]
        self._aside.do(partial(_replaced, ends, load, self._gather, self._simulated, wanted), then)

    def take(self, company: Company) -> None:
        """Have the processes that were started be the ones."""
        self.company, self._simulated = company, company.simulated
        self._taken(company)

    def drop(self, company: Company) -> None:
        """End processes that came too late."""
        self._aside.do(partial(company.end_but, self._simulated))

    def end_run(self, then: Then) -> None:
        """End the processes of the run; the simulated rig stays."""
        if self.company is not None:
            self._aside.do(self.company.end, then)

    def end_all(self, then: Then) -> None:
        """End everything; whatever moves is stopped in a controlled way before."""
        ends = [one.end for one in (self.company, self._simulated) if one is not None]
        self._simulated = None
        self._aside.do(lambda: [end() for end in ends], then)

    def wait(self) -> None:
        """Wait until all of it is done, as the editor's last act."""
        self._aside.wait()


def _replaced(
    ends: list[Callable[[], None]],
    load: Load,
    gather: Gather,
    simulated: Simulated | None,
    wanted: Callable[[], bool],
) -> Company:
    for end in ends:
        end()
    load.prepare(load.choice.rig if load.choice.real else None if simulated is None else simulated.output)
    company = gather(load.choice, load.folder, load.rig, simulated)
    if not wanted():
        company.end_but(simulated)
    return company


def _serving(simulated: Simulated | None, choice: Choice, rig: Rig) -> Simulated | None:
    """Return the simulated rig that stands there already, where it serves the choice and is still that rig."""
    if simulated is None or choice.real:
        return None
    # by which outputs the real one is reached is nothing to it
    return simulated if replace(simulated.rig, outlets=()) == replace(rig, outlets=()) else None


def _simulate(folder: Path, rig: Rig) -> Simulated:
    ends = ExitStack()
    _, output = ends.enter_context(shoot.simulated_rig(folder / RIG, _SEED))
    return Simulated(output, rig, ends.close)
