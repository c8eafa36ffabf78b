"""What tests of the way to the disk share: files with a desk, and all that was asked, picked and said."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from sequencer.project.recovery import fingerprint
from sequencer.project.store import load
from sequencer.score.edits.offset import offset
from sequencer.shell.kinds import laws
from tests.ui.conftest import LANTERNS
from ui.acts.asking import Ask, Pick
from ui.acts.files import Files
from ui.desk import Desk, Note


class Office:
    """Files with a desk, and all that was asked, picked and said."""

    def __init__(self, folder: Path, root: Path, qtbot: QtBot) -> None:
        self.folder, self.root, self.qtbot = folder, root, qtbot
        self.desk = Desk(load(folder, laws()), laws(), folder)
        self.asks: list[Ask] = []
        self.picks: list[Pick] = []
        self.notes: list[Note] = []
        self.opened: list[Path] = []
        self.desk.noted.connect(self.notes.append)
        self.files = Files(self.desk, root)
        self.files.asked.connect(self.asks.append)
        self.files.picking.connect(self.picks.append)
        self.files.opened.connect(self.opened.append)
        self.files.begin(fingerprint(folder))
        self.rest()

    def rest(self) -> None:
        """Wait until the workers have nothing to do."""
        self.qtbot.waitUntil(lambda: not self.files._worker.at_work and not self.files.watch._worker.at_work)

    def ask(self) -> Ask:
        self.qtbot.waitUntil(lambda: bool(self.asks))
        return self.asks.pop()

    def answer(self, part: str) -> None:
        ask = self.ask()
        next(choice for choice in ask.choices if part in choice.label).do()
        self.rest()

    def said(self, part: str) -> None:
        self.qtbot.waitUntil(lambda: any(part in note.words for note in self.notes))

    def edit(self, value: float = 1.0) -> None:
        self.desk.edit("raise", offset(self.desk.project.move, {"tilt": {1}}, value=value))


@pytest.fixture
def office(tmp_path: Path, qtbot: QtBot) -> Iterator[Office]:
    folder = Path(shutil.copytree(LANTERNS, tmp_path / "lanterns"))
    made = Office(folder, tmp_path / "state", qtbot)
    yield made
    made.files.end()


@pytest.fixture
def other(tmp_path: Path) -> Path:
    return Path(shutil.copytree("projects/paper-boats", tmp_path / "boats"))
