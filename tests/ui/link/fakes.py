"""A crew that only writes down what it is told, and a clock that goes when a test says so."""

from collections.abc import Callable
from pathlib import Path

import msgspec

from sequencer.rig.axis import Rig
from sequencer.shell.messages import Command, Opened, Report, Said, Status
from sequencer.shell.outlets import parts
from tests.shell.acted import QUIET
from ui.desk import Desk
from ui.link.choice import Choice
from ui.link.company import Aside, Company, Simulated, Then
from ui.link.link import Link

STATUS = msgspec.structs.replace(QUIET, source="its own clock", lock="located", speed=1.0)


class Time:
    """Monotonic nanoseconds that stand still between the steps of a test."""

    def __init__(self) -> None:
        self.ns = 10_000_000_000

    def __call__(self) -> int:
        return self.ns

    def go(self, s: float) -> None:
        self.ns += round(s * 1e9)


class Straight(Aside):
    """Does at once what is otherwise done in a thread."""

    def do(self, work: Callable[[], object], then: Then = None) -> None:
        try:
            outcome = work()
        except Exception as fault:
            outcome = fault
        if then is not None:
            then(outcome)


class FakeCrew:
    """Answers as an engine would at once, but moves only when a test says which phase it is in."""

    def __init__(self, clock: Time) -> None:
        self.clock = clock
        self.told: list[Command] = []
        self.stops = 0
        self.ended = 0
        self.says: list[Report] = []
        self.fault: Exception | None = None
        self.now = STATUS
        self.silent = False
        self.ready = True

    def opened(self) -> dict[str, Opened] | None:
        return {"engine": Opened("engine"), "io": Opened("io")} if self.ready else None

    def hear(self, wait_s: float = 0.0) -> list[Report]:
        assert wait_s == 0.0, "the editor never waits"
        if self.fault is not None:
            raise self.fault
        said, self.says = self.says, []
        return said

    def status(self) -> Status | None:
        if not self.silent:
            self.now = msgspec.structs.replace(self.now, at_ns=self.clock.ns)
        return self.now

    def tell(self, command: Command) -> None:
        self.told.append(command)

    def stop_now(self) -> None:
        self.stops += 1

    def end(self) -> None:
        self.ended += 1


class Bench:
    """A link with fake crews: the newest of them, all of them, and what was said."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.clock = Time()
        self.crews: list[FakeCrew] = []
        self.choices: list[Choice] = []
        self.rigs_ended = 0
        self.saves = 0
        self.slow = False  # saving ends when a test says so
        self.held: list[tuple[Callable[[], None], Callable[[], None]]] = []  # as the saving ends, or fails
        self.said: list[Said] = []
        self.link = Link(desk, self.save, gather=self.gather, aside=Straight(), now_ns=self.clock)
        self.link.said.connect(self.said.append)

    def save(self, then: Callable[[], None], otherwise: Callable[[], None]) -> None:
        self.saves += 1
        self.held.append((then, otherwise))
        if not self.slow:
            self.held.pop()[0]()

    def gather(self, choice: Choice, folder: Path, rig: Rig, simulated: Simulated | None) -> Company:
        one = FakeCrew(self.clock)
        self.crews.append(one)
        self.choices.append(choice)
        if simulated is None and not choice.real:
            simulated = Simulated("osc://127.0.0.1:1", rig, self._end_rig)
        output = choice.rig if simulated is None else simulated.output
        return Company(one, one.end, simulated, parts(output, rig))

    def _end_rig(self) -> None:
        self.rigs_ended += 1

    @property
    def crew(self) -> FakeCrew:
        return self.crews[-1]

    def go(self, s: float = 0.03) -> None:
        """Let time pass, and the link look."""
        self.clock.go(s)
        self.link.poll()

    def phase(self, phase: str, **more: object) -> None:
        """Have the engine be in a phase."""
        self.crew.now = msgspec.structs.replace(self.crew.now, phase=phase, **more)
        self.go()

    def connect(self) -> None:
        self.link.open()
        self.go()
        assert self.link.now.state == "idle"

    def ready(self) -> None:
        """Be connected, armed, and at the start of the cue."""
        self.connect()
        self.link.arm()
        self.phase("locating")
        self.phase("ready")
        assert self.link.now.state == "armed"

    def words(self) -> str:
        return " | ".join(one.text for one in self.said)
