"""What must be held: neither a click nor a key that leans does anything."""

import pytest
from PyQt6.QtCore import QEvent, QPoint, Qt
from PyQt6.QtGui import QFocusEvent, QKeyEvent
from PyQt6.QtWidgets import QApplication, QMenu
from pytestqt.qtbot import QtBot

from tests.ui.link.fakes import Time
from ui.desk import Desk
from ui.run.hold import HOLD_S, Hold


class Held:
    def __init__(self, desk: Desk, qtbot: QtBot) -> None:
        self.clock = Time()
        self.times = 0
        self.hold = Hold(desk, "Hold to ARM", now_ns=self.clock)
        self.hold.held.connect(self._held)
        qtbot.addWidget(self.hold)
        self.hold.show()

    def _held(self) -> None:
        self.times += 1

    def go(self, s: float) -> None:
        for _ in range(round(s / 0.05)):
            self.clock.go(0.05)
            self.hold.tick()


@pytest.fixture
def held(desk: Desk, qtbot: QtBot) -> Held:
    return Held(desk, qtbot)


def repeat(held: Held, key: Qt.Key) -> None:
    app = QApplication.instance()
    assert app is not None
    control = Qt.KeyboardModifier.ControlModifier
    for kind in (QEvent.Type.KeyRelease, QEvent.Type.KeyPress):
        app.sendEvent(held.hold, QKeyEvent(kind, key, control, "", True))


def test_it_acts_once_when_it_has_been_held_for_long_enough(held: Held, qtbot: QtBot) -> None:
    qtbot.mousePress(held.hold, Qt.MouseButton.LeftButton)
    held.go(HOLD_S - 0.1)
    assert held.times == 0
    assert 0.8 < held.hold.part < 1.0
    held.go(0.15)
    assert held.times == 1
    held.go(5.0)
    assert held.times == 1
    qtbot.mouseRelease(held.hold, Qt.MouseButton.LeftButton)
    assert held.hold.part == 0.0


def test_letting_go_or_leaving_begins_anew(held: Held, qtbot: QtBot) -> None:
    for _ in range(3):
        qtbot.mousePress(held.hold, Qt.MouseButton.LeftButton)
        held.go(HOLD_S - 0.1)
        qtbot.mouseRelease(held.hold, Qt.MouseButton.LeftButton)
    qtbot.mousePress(held.hold, Qt.MouseButton.LeftButton)
    held.go(0.7)
    qtbot.mouseMove(held.hold, QPoint(-30, -30))
    held.go(1.0)
    assert held.times == 0


def test_clicks_and_bare_keys_do_nothing(held: Held, qtbot: QtBot) -> None:
    qtbot.mouseClick(held.hold, Qt.MouseButton.LeftButton)
    qtbot.mouseDClick(held.hold, Qt.MouseButton.LeftButton)
    qtbot.mouseRelease(held.hold, Qt.MouseButton.LeftButton)
    qtbot.mousePress(held.hold, Qt.MouseButton.RightButton)
    for key in (Qt.Key.Key_Space, Qt.Key.Key_Return, Qt.Key.Key_Enter):
        qtbot.keyPress(held.hold, key)
        held.go(2.0)
        qtbot.keyRelease(held.hold, key)
    assert held.times == 0


def test_control_and_return_hold_it_too_and_repeats_are_one_press(held: Held, qtbot: QtBot) -> None:
    held.hold.setFocus()
    qtbot.keyPress(held.hold, Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    for _ in range(8):
        held.go(0.05)
        repeat(held, Qt.Key.Key_Return)
    assert held.times == 0
    held.go(0.5)
    assert held.times == 1
    qtbot.keyRelease(held.hold, Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    # a repeat without a press is nothing: the key was held somewhere else
    repeat(held, Qt.Key.Key_Return)
    held.go(2.0)
    assert held.times == 1


def test_losing_the_keyboard_or_being_disabled_lets_go(held: Held, qtbot: QtBot) -> None:
    qtbot.keyPress(held.hold, Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    held.go(0.7)
    held.hold.clearFocus()
    QApplication.sendEvent(held.hold, QFocusEvent(QEvent.Type.FocusOut))
    held.go(1.0)
    qtbot.mousePress(held.hold, Qt.MouseButton.LeftButton)
    held.go(0.7)
    held.hold.setEnabled(False)
    held.hold.setEnabled(True)
    held.go(1.0)
    assert held.times == 0


@pytest.mark.parametrize("kind", [QEvent.Type.WindowDeactivate, QEvent.Type.UngrabMouse, QEvent.Type.Hide])
def test_what_may_take_the_release_away_lets_go(held: Held, qtbot: QtBot, kind: QEvent.Type) -> None:
    qtbot.mousePress(held.hold, Qt.MouseButton.LeftButton)
    held.go(0.7)
    QApplication.sendEvent(held.hold, QEvent(kind))
    held.go(1.0)
    assert held.times == 0


def test_a_menu_that_opens_over_it_lets_go(held: Held, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> None:
    qtbot.mousePress(held.hold, Qt.MouseButton.LeftButton)
    held.go(0.5)
    # a menu takes the mouse; not on every screen does it take the window's activity too
    menu = QMenu(held.hold)
    monkeypatch.setattr("ui.run.hold.QApplication.activePopupWidget", lambda: menu)
    held.go(0.05)
    monkeypatch.undo()
    held.go(1.0)
    assert held.times == 0


def test_time_in_which_the_window_stood_still_is_not_held(held: Held, qtbot: QtBot) -> None:
    qtbot.mousePress(held.hold, Qt.MouseButton.LeftButton)
    held.clock.go(10.0)
    held.hold.tick()
    assert held.times == 0
