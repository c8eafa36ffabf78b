"""`twintake drive` and `twintake play`, with a crew that only this process plays. The crew itself: tests/shell."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import ModuleType

import pytest
from msgspec.structs import replace
from typer.testing import CliRunner

from sequencer.cli import drive, play
from sequencer.cli.app import app
from sequencer.live.handling import Deed
from sequencer.shell.messages import Command, Opened, Pressed, Report, Setup, Status, TakeHands
from tests.cli.harbour import Tree, change, opened
from tests.cli.test_link_shown import UP

pytestmark = pytest.mark.usefixtures("terminal")


class Crew:
    """Processes that stand ready and say what they are given to say; then the operator presses Ctrl-C."""

    def __init__(
        self, sources: dict[int, str], *says: list[Report], meanwhile: Callable[[], None] = lambda: None
    ) -> None:
        self.told: list[Command] = []
        self.stopped = False
        self._sources, self._says, self._meanwhile = sources, list(says), meanwhile

    def wait_opened(self) -> dict[str, Opened]:
        self._meanwhile()
        return {"engine": Opened("engine", timing="punctual"), "io": Opened("io", sources=self._sources)}

    def hear(self, wait_s: float) -> list[Report]:
        if not self._says and not self.stopped:
            raise KeyboardInterrupt
        return self._says.pop(0) if self._says else []

    def status(self) -> Status:
        return replace(UP, phase="stopped") if self.stopped else UP

    def tell(self, command: Command) -> None:
        self.told.append(command)

    def stop_now(self) -> None:
        self.stopped = True


def started(crew: Crew, command: ModuleType, patch: pytest.MonkeyPatch) -> None:
    """Have `command` meet this crew in place of starting processes."""

    @contextmanager
    def meets(setup: Setup) -> Iterator[Crew]:
        yield crew

    patch.setattr(command, "crew", meets)


def test_nothing_is_stored_once_the_rig_was_changed_by_another_program(
    harbour: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def faster(tree: Tree) -> None:
        tree["axes"][0]["speed"] *= 2

    pads = Setup(project="", run=None, output="", sync="internal").pads_port
    says: list[list[Report]] = [[], [Pressed(Deed.STORE, 0)], [Pressed(Deed.ORIGIN, 0)]]
    crew = Crew({pads: "pads:"}, *says, meanwhile=lambda: change(harbour, "rig.json", faster))
    started(crew, drive, monkeypatch)
    before = opened(harbour).marks
    done = CliRunner().invoke(app, ["drive", str(harbour), "--arm"])
    words = "rig.json: the rig was changed while it is driven; what it says of axes is not what moves; "
    assert done.output.count(f"{words}end this with Ctrl-C and start it again\n") == 2, done.output
    assert (crew.told, crew.stopped) == ([TakeHands(on=True)], True), "it was sent nowhere"
    assert done.exit_code == 130
    assert opened(harbour).marks == before


@pytest.mark.parametrize("command", [drive, play])
def test_nothing_moves_by_hand_without_game_controllers(
    command: ModuleType, harbour: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    crew = Crew({}, [])
    started(crew, command, monkeypatch)
    options = ["drive", str(harbour)] if command is drive else ["play", str(harbour), "--by-hand", "pan"]
    done = CliRunner().invoke(app, [*options, "--arm"])
    assert done.exit_code == 3
    words = "no game controllers were opened, and nothing moves by hand without them; mend that first"
    assert f"twintake: {words}\n" in done.stderr
    assert crew.told == []
