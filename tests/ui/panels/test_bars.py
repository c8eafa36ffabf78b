"""The bars around the timeline: choices, proposals, what was said, and a wheel that changes nothing by chance."""

from fractions import Fraction

from PyQt6.QtCore import QPoint, QPointF, Qt
from PyQt6.QtGui import QWheelEvent
from PyQt6.QtWidgets import QApplication, QComboBox, QToolButton, QVBoxLayout, QWidget
from pytestqt.qtbot import QtBot

from sequencer.score.edits.offset import offset
from ui.desk import Desk
from ui.panels.bar import PARTS, Bar
from ui.panels.calm import CalmWheel
from ui.panels.next_line import NextLine
from ui.panels.proposal import ProposalBar


def test_choices_of_the_bar_reach_the_desk_by_keyboard(desk: Desk, qtbot: QtBot) -> None:
    bar = Bar(desk)
    qtbot.addWidget(bar)
    bar.show()
    qtbot.keyClick(bar.onto, Qt.Key.Key_Down)
    assert desk.snapping.onto == "beats"
    assert bar.part.isEnabled()
    qtbot.keyClick(bar.part, Qt.Key.Key_Down)
    assert desk.snapping.part == PARTS[1] == Fraction(1, 2)
    qtbot.keyClick(bar.counted, Qt.Key.Key_End)
    assert desk.counted == "bars"
    qtbot.keyClick(bar.run, Qt.Key.Key_Down)
    assert desk.run_name == "clean plate"


def test_zooming_keeps_the_playhead_where_it_is(desk: Desk, qtbot: QtBot) -> None:
    bar = Bar(desk)
    qtbot.addWidget(bar)
    before_s = desk.span_s
    for button in bar.findChildren(QToolButton):
        if button.text() == "+":
            qtbot.mouseClick(button, Qt.MouseButton.LeftButton)
    begin_s, end_s = desk.span_s
    assert end_s - begin_s < before_s[1] - before_s[0]
    share = (desk.playhead_s - before_s[0]) / (before_s[1] - before_s[0])
    assert abs((desk.playhead_s - begin_s) / (end_s - begin_s) - share) < 1e-9


def test_a_proposal_is_taken_by_a_click_and_then_the_bar_goes(desk: Desk, qtbot: QtBot) -> None:
    bar = ProposalBar(desk)
    qtbot.addWidget(bar)
    assert not bar.isVisibleTo(None)
    first = desk.project
    desk.propose(offset(first.move, {"tilt": {1}}, value=1.0), "raise tilt", ("tilt 1", "tilt 2", "tilt 3", "tilt 4"))
    assert bar.isVisible()
    qtbot.mouseClick(bar.leave, Qt.MouseButton.LeftButton)
    assert not bar.isVisible()
    assert desk.project is first
    desk.propose(offset(first.move, {"tilt": {1}}, value=1.0), "raise tilt")
    qtbot.mouseClick(bar.take, Qt.MouseButton.LeftButton)
    assert not bar.isVisible()
    assert desk.history.past[-1].words == "raise tilt"


def test_a_refusal_is_said_as_one_and_the_next_press_is_named(desk: Desk, qtbot: QtBot) -> None:
    line = NextLine(desk)
    qtbot.addWidget(line)
    desk.note("no key there", "refused")
    assert line.note.text() == "Refused: no key there"
    assert desk.theme.over in line.note.styleSheet()
    desk.edit("raise tilt", offset(desk.project.move, {"tilt": {1}}, value=1.0))
    assert "raise tilt" in line.next.text()
    assert line.note.text() == ""  # what was refused is past


def wheel(widget: QWidget) -> QWheelEvent:
    at = QPointF(widget.rect().center())
    turned = QPoint(0, -120)
    none = Qt.KeyboardModifier.NoModifier
    return QWheelEvent(at, at, QPoint(), turned, Qt.MouseButton.NoButton, none, Qt.ScrollPhase.NoScrollPhase, False)


def test_the_wheel_changes_only_a_field_that_has_the_keyboard(qtbot: QtBot) -> None:
    app = QApplication.instance()
    assert app is not None
    guard = CalmWheel()
    app.installEventFilter(guard)
    try:
        window = QWidget()
        qtbot.addWidget(window)
        layout = QVBoxLayout(window)
        one, other = QComboBox(), QComboBox()
        for box in (one, other):
            box.addItems(["a", "b", "c"])
            layout.addWidget(box)
        window.show()
        window.activateWindow()
        other.setFocus()
        qtbot.waitUntil(other.hasFocus)
        QApplication.sendEvent(one, wheel(one))
        assert one.currentIndex() == 0
        QApplication.sendEvent(other, wheel(other))
        assert other.currentIndex() == 1
    finally:
        app.removeEventFilter(guard)
