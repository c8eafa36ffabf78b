"""What `twintake play --remote` asks after a stop, without the processes."""

import io
import math
import re
from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import cast

import msgspec
import pytest
import typer

from sequencer.cli import play_remote
from sequencer.cli.play_remote import stay
from sequencer.shell.crew import CrewFailed
from sequencer.shell.messages import Arm, Command, Reset, Status
from sequencer.shell.shoot import Watch
from tests.cli.test_link_shown import UP

CAUSE = "the port [/pedal] of [bold]the desk[/bold] is gone"


@dataclass
class Crew:
    told: list[Command] = field(default_factory=list)

    def tell(self, command: Command) -> None:
        self.told.append(command)


@dataclass
class Busy:
    """A machine on which a second goes by at each look; the rig is in these phases, then always in the last one."""

    phases: list[str]
    crew: Crew = field(default_factory=Crew)
    been_ready: bool = False
    now_s: float = 0.0

    def arm(self, order: Arm) -> None:
        self.crew.tell(order)

    def look(self) -> Status:
        self.now_s += 1.0
        return msgspec.structs.replace(UP, phase=self.phases.pop(0) if self.phases[1:] else self.phases[0], cause=CAUSE)


@dataclass
class Stopped:
    """A rig that has come to a stop each time it was armed, and is idle once it was reset."""

    crew: Crew = field(default_factory=Crew)
    been_ready: bool = False

    def arm(self, order: Arm) -> None:
        self.crew.tell(order)

    def look(self) -> Status:
        idle = isinstance(self.crew.told[-1], Reset)
        return msgspec.structs.replace(UP, phase="idle" if idle else "stopped", cause="" if idle else CAUSE)


def test_it_asks_with_the_cause_as_it_was_said_and_arms_again_until_that_is_refused(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], terminal: None
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("y\nn\n"))
    rig, order = Stopped(), Arm(remote=True)
    with pytest.raises(typer.Exit) as ended:
        stay(cast(Watch, rig), order, math.inf, "Keep clear.")
    assert ended.value.exit_code == 3
    assert rig.crew.told == [order, Reset(), order]
    said = capsys.readouterr().out.replace("\n", " ")
    assert said.count("Keep clear.") == 2
    assert said.count(f"Stopped: {CAUSE}. Reset, arm again") == 2


def test_a_stop_stays_where_nobody_can_be_asked(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], terminal: None
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    rig, order = Stopped(), Arm(remote=True)
    why = "nobody can be asked here, and only an operator may reset it; start it again in a terminal"
    with pytest.raises(CrewFailed, match=f"^{re.escape(f'stopped: {CAUSE}. It stays stopped: {why}')}$") as refused:
        stay(cast(Watch, rig), order, math.inf, "Keep clear.")
    assert refused.value.exit_status == 3
    assert rig.crew.told == [order], "it is neither reset nor armed anew"


def test_an_engine_that_does_not_arm_is_waited_for_no_longer_than_that(monkeypatch: pytest.MonkeyPatch) -> None:
    rig = Busy(["idle"])
    monkeypatch.setattr(play_remote, "time", SimpleNamespace(monotonic=lambda: rig.now_s))
    words = r"^the engine has not armed within 10 s; is the machine very busy\?$"
    with pytest.raises(CrewFailed, match=words) as refused:
        stay(cast(Watch, rig), Arm(remote=True), 10.0, "Keep clear.")
    assert refused.value.exit_status == 3
    assert rig.now_s == 11.0


def test_a_rig_that_is_on_its_way_is_waited_for_as_long_as_it_takes(
    monkeypatch: pytest.MonkeyPatch, terminal: None
) -> None:
    rig = Busy(["idle", *["locating"] * 100, "stopped"])
    monkeypatch.setattr(play_remote, "time", SimpleNamespace(monotonic=lambda: rig.now_s))
    monkeypatch.setattr("sys.stdin", io.StringIO("n\n"))
    with pytest.raises(typer.Exit):
        stay(cast(Watch, rig), Arm(remote=True), 10.0, "Keep clear.")
    assert rig.now_s > 100.0
