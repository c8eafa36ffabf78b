"""Marks in the whole window: in both faces, by menu and pad, cleared only when that is said twice."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtGui import QAction
from PyQt6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from sequencer.shell.messages import Pressed
from tests.ui.conftest import LANTERNS
from ui.app import compose
from ui.panels.poses import PosesPanel
from ui.run.going import GoPanel
from ui.window import Window


@pytest.fixture
def window(qtbot: QtBot, tmp_path: Path) -> Iterator[Window]:
    """The whole window, with the harbour project opened from its folder."""
    made = compose(LANTERNS, root=tmp_path)
    qtbot.addWidget(made)
    made.resize(1280, 720)
    made.show()
    qtbot.waitUntil(lambda: made.desk.folder is not None, timeout=10_000)
    yield made
    made.link.end()
    made.files.end()


def names(window: Window) -> list[str]:
    return [mark.name for mark in window.desk.project.marks]


def test_marks_are_at_hand_in_both_faces_and_nothing_is_cut(window: Window) -> None:
    window.drawer.setCurrentWidget(window.marks)
    prepare = window.marks.page
    assert prepare.isVisible()
    window.desk.turn_to("run")
    window.run_page.setCurrentWidget(window.run_marks)
    QApplication.processEvents()
    shown = window.run_marks.page
    assert shown.isVisible()
    assert not prepare.isVisible()
    assert shown is not prepare
    (panel,), (going,) = shown.findChildren(PosesPanel), shown.findChildren(GoPanel)
    assert panel.model.rowCount() == len(names(window))
    for hold in (going.back, going.on, going.there, going.origin):
        corner = hold.mapTo(shown, hold.rect().bottomRight())
        assert shown.rect().contains(corner), hold.accessibleName()


def test_a_mark_is_stored_by_the_menu_in_any_face(window: Window) -> None:
    items = {action.objectName(): action for action in window.findChildren(QAction)}
    assert items["mark"].shortcut().toString() == "Ctrl+Alt+M"
    before = names(window)
    items["mark"].trigger()
    window.desk.turn_to("run")
    items["mark"].trigger()
    assert names(window) == [*before, "mark 1", "mark 2"]
    assert "stored mark 2" in window.next_line.note.text()


def test_one_press_on_a_pad_stores_one_mark_whatever_is_shown(window: Window) -> None:
    for page in (window.marks, window.run_marks):
        assert page.page is not None
    before = names(window)
    window.link.hands.pressed.emit(Pressed("store mark", 0))
    assert names(window) == [*before, "mark 1"]


def test_clearing_is_asked_twice_below_the_strip(window: Window, qtbot: QtBot) -> None:
    before = names(window)
    (panel,) = window.marks.page.findChildren(PosesPanel)
    panel.buttons["clear"].click()
    assert window.questions.words.text() == f"Delete all {len(before)} marks of Harbour lanterns?"
    qtbot.mouseClick(window.questions.buttons[0], Qt.MouseButton.LeftButton)
    assert names(window) == before
    assert "Really delete all" in window.questions.words.text()
    qtbot.mouseClick(window.questions.buttons[0], Qt.MouseButton.LeftButton)
    assert names(window) == []
    assert window.questions.isHidden()
    window.desk.undo()
    assert names(window) == before
