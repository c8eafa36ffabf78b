"""What the tests of the page *Hand over* share: a project of one's own on a desk, and what was picked and said."""

import shutil
from pathlib import Path

from PyQt6.QtWidgets import QComboBox, QLineEdit, QWidget
from pytestqt.qtbot import QtBot

from sequencer.project.store import load
from sequencer.shell.kinds import laws
from tests.ui.conftest import LANTERNS
from ui.acts.asking import Pick
from ui.desk import Desk, Note


class Quay:
    """The harbour project, copied into a folder of its own and opened; `picks` and `notes` are what came up."""

    def __init__(self, tmp_path: Path, qtbot: QtBot) -> None:
        self.folder = Path(shutil.copytree(LANTERNS, tmp_path / "lanterns"))
        self.desk = Desk(load(self.folder, laws()), laws(), self.folder)
        self.qtbot = qtbot
        self.picks: list[Pick] = []
        self.notes: list[Note] = []
        self.desk.noted.connect(self.notes.append)

    def show(self, page: QWidget) -> None:
        self.qtbot.addWidget(page)
        page.resize(900, 500)
        page.show()


def typed(line: QLineEdit, text: str) -> None:
    """Type a text in the place of what is there, and mean it."""
    line.setFocus()
    line.selectAll()
    if text:
        QtBot.keyClicks(line, text)
    else:
        line.clear()
        line.setModified(True)
    line.editingFinished.emit()


def choose(box: QComboBox, part: str) -> None:
    """Choose the one entry in which these words are."""
    places = [place for place in range(box.count()) if part in box.itemText(place)]
    assert len(places) == 1, (part, [box.itemText(place) for place in range(box.count())])
    box.setCurrentIndex(places[0])
    box.activated.emit(places[0])
