"""The whole window with unsaved edits: it asks before it closes, and saves while the rig is armed."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from PyQt6.QtCore import Qt
from pytestqt.qtbot import QtBot

from sequencer.project.recovery import recover
from sequencer.project.store import load
from sequencer.score.edits.offset import offset
from sequencer.shell.kinds import laws
from tests.ui.conftest import LANTERNS
from ui.app import compose
from ui.window import Window

LEFT = Qt.MouseButton.LeftButton


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(LANTERNS, tmp_path / "lanterns"))


@pytest.fixture
def window(folder: Path, qtbot: QtBot, tmp_path: Path) -> Iterator[Window]:
    """The window on a copy of the harbour project, with one unsaved edit."""
    made = compose(folder, root=tmp_path / "state")
    qtbot.addWidget(made)
    made.resize(1280, 720)
    with qtbot.waitActive(made):
        made.show()
        made.activateWindow()
    qtbot.waitUntil(lambda: made.desk.folder == folder, timeout=10_000)
    made.desk.edit("raise", offset(made.desk.project.move, {"tilt": {1}}, value=1.0))
    yield made
    made.link.end()
    made.files.end()


def answer(window: Window, words: str, qtbot: QtBot) -> None:
    button = next(one for one in window.questions.buttons if words in one.text())
    assert window.rect().contains(button.mapTo(window, button.rect().bottomRight()))
    qtbot.mouseClick(button, LEFT)


def test_closing_asks_and_the_harmless_answer_stays(window: Window, folder: Path, qtbot: QtBot) -> None:
    mine, first = window.desk.project, load(folder, laws())
    window.close()
    assert window.isVisible()
    assert "has edits that are not saved" in window.questions.words.text()
    answer(window, "Stay here", qtbot)
    assert window.isVisible()
    assert window.desk.project is mine
    window.close()
    answer(window, "Throw them away", qtbot)
    assert not window.isVisible()
    assert load(folder, laws()) == first


def test_saving_then_closing_leaves_nothing_to_recover(
    window: Window, folder: Path, tmp_path: Path, qtbot: QtBot
) -> None:
    mine = window.desk.project
    window.close()
    answer(window, "Save them", qtbot)
    qtbot.waitUntil(lambda: not window.isVisible(), timeout=10_000)
    assert load(folder, laws()) == mine
    assert recover(folder, laws(), tmp_path / "state") is None


def test_while_the_rig_is_armed_it_is_saved_and_not_edited(window: Window, folder: Path, qtbot: QtBot) -> None:
    mine = window.desk.project
    window.desk.lock("the rig is armed")
    window.desk.undo()
    assert window.desk.project is mine
    qtbot.keyClick(window, Qt.Key.Key_S, Qt.KeyboardModifier.ControlModifier)
    qtbot.waitUntil(lambda: not window.desk.dirty, timeout=10_000)
    assert load(folder, laws()) == mine
