"""What `twintake play --remote` asks after a stop, without the processes."""

import io
import math
from dataclasses import dataclass, field
from typing import cast

import msgspec
import pytest
import typer

from sequencer.cli.play_remote import stay
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
