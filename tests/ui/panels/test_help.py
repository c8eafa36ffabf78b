"""The help inside the window says every stroke of the timeline, and the cautions whole."""

import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QLabel
from pytestqt.qtbot import QtBot

from ui.acts.cautions import cautions
from ui.acts.strokes import groups
from ui.desk import Desk
from ui.panels.help import HelpPage, spoken
from ui.timeline.keyboard import ACTS


@pytest.fixture
def page(desk: Desk, qtbot: QtBot) -> HelpPage:
    widget = HelpPage(desk)
    qtbot.addWidget(widget)
    widget.resize(1000, 500)
    widget.show()
    return widget


def shown(page: HelpPage) -> list[str]:
    topic = page.topics.currentWidget()
    assert topic is not None
    return [label.text() for label in topic.findChildren(QLabel)]


def test_every_stroke_of_the_timeline_is_told_once(page: HelpPage) -> None:
    page.tell("keys")
    texts = shown(page)
    rows = [row for group in groups() for row in group.rows]
    assert sum(len(row.strokes) for row in rows) == len(ACTS)  # no stroke is there twice
    for row in rows:
        assert texts[texts.index(spoken(row)) + 1] == row.words
    assert "Ctrl+Left, Ctrl+Right" in texts


def test_the_cautions_are_told_whole(page: HelpPage) -> None:
    page.tell("cautions")
    assert cautions() in shown(page)
    assert "hard-wired emergency stop" in cautions()
    assert "licensed people" in cautions()


def test_it_is_left_by_its_button_by_escape_and_when_another_project_comes(
    desk: Desk, page: HelpPage, qtbot: QtBot
) -> None:
    active: list[bool] = []
    page.active.connect(active.append)
    page.tell("keys")
    qtbot.mouseClick(page.back, Qt.MouseButton.LeftButton)
    page.tell("cautions")
    qtbot.keyClick(page.topics.currentWidget(), Qt.Key.Key_Escape)
    page.tell("keys")
    desk.open(desk.project, None)
    assert active == [True, False, True, False, True, False]
