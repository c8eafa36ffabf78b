"""A crew whose part a test plays, and the clock that it lives by: what takes minutes on a set takes no time here."""

from collections.abc import Callable
from dataclasses import dataclass, field

from msgspec.structs import replace

from sequencer.shell.messages import Command, Opened, Report, Status

QUIET = Status(
    at_ns=0,
    phase="idle",
    cause="",
    source="",
    lost=0,
    lock="",
    timeline_s=0.0,
    speed=0.0,
    uncertainty_s=0.0,
    asked=(),
    actual=(),
    ticks=0,
    skipped=0,
    late_ns=0,
)


@dataclass
class Clock:
    """Stands in for the module `time`: it goes on only where somebody waits."""

    now_s: float = 5000.0
    ahead_s: float = 1_790_000_000.0  # the system's clock of the monotonic one

    def monotonic(self) -> float:
        return self.now_s

    def monotonic_ns(self) -> int:
        return round(self.now_s * 1e9)

    def time(self) -> float:
        return self.now_s + self.ahead_s

    def sleep(self, for_s: float) -> None:
        self.now_s += for_s


@dataclass
class Acted:
    """One that says what a test has it say; `answers` is what it says to a command, besides."""

    clock: Clock = field(default_factory=Clock)
    says: Status = QUIET
    reports: list[Report] = field(default_factory=list)
    told: list[Command] = field(default_factory=list)
    answers: Callable[[Command], None] = lambda _: None

    def tell(self, command: Command) -> None:
        self.told.append(command)
        self.answers(command)

    def hear(self, wait_s: float = 0.05) -> list[Report]:
        self.clock.sleep(wait_s)
        reports, self.reports = self.reports, []
        return reports

    def status(self) -> Status | None:
        return replace(self.says, at_ns=self.clock.monotonic_ns())

    def wait_opened(self) -> dict[str, Opened]:
        return {role: Opened(role) for role in ("engine", "io")}
