"""A timeline with hands, on a real widget, and where its keys are."""

from collections.abc import Callable

import pytest
from PyQt6.QtCore import QPoint
from pytestqt.qtbot import QtBot

from ui.desk import Desk
from ui.timeline.hands import Hands
from ui.timeline.view import Timeline

Spot = Callable[[str, int], QPoint]


@pytest.fixture
def timeline(desk: Desk, qtbot: QtBot) -> Timeline:
    """The timeline of the harbour project, with the keyboard in it."""
    widget = Timeline(desk)
    widget.hands = Hands(desk, widget)
    qtbot.addWidget(widget)
    widget.resize(1200, 640)
    widget.show()
    qtbot.waitExposed(widget)
    widget.activateWindow()
    widget.setFocus()
    return widget


@pytest.fixture
def spot(desk: Desk, timeline: Timeline) -> Spot:
    """Return where a key is drawn now."""

    def where(axis: str, number: int) -> QPoint:
        layout, shape = timeline.layout_now(), desk.shapes[axis]
        lane = layout.lane(axis)
        return QPoint(round(layout.x(float(shape.at_s[number]))), round(lane.y(float(shape.value[number]))))

    return where
