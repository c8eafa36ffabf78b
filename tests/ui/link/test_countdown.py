"""A counted start that anybody can call off."""

import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QLineEdit, QPushButton, QVBoxLayout, QWidget
from pytestqt.qtbot import QtBot

from tests.ui.link.fakes import Time
from ui.link.countdown import Countdown


class Counted:
    def __init__(self, qtbot: QtBot) -> None:
        self.qtbot = qtbot
        self.clock = Time()
        self.started = 0
        self.may = True
        self.down = Countdown(self._start, lambda: self.may, self.clock)
        self.window = QWidget()
        self.line, self.button = QLineEdit(), QPushButton("other")
        self.pressed = 0
        self.button.clicked.connect(self._press)
        whole = QVBoxLayout(self.window)
        whole.addWidget(self.line)
        whole.addWidget(self.button)
        qtbot.addWidget(self.window)
        self.window.show()

    def _start(self) -> None:
        self.started += 1

    def _press(self) -> None:
        self.pressed += 1

    def go(self, s: float) -> None:
        for _ in range(round(s / 0.1)):
            self.clock.go(0.1)
            self.down.tick()


@pytest.fixture
def counted(qtbot: QtBot) -> Counted:
    return Counted(qtbot)


def test_it_starts_after_three_seconds_and_once(counted: Counted) -> None:
    counted.down.begin()
    counted.down.begin()
    counted.go(2.9)
    assert counted.started == 0
    counted.go(0.2)
    assert counted.started == 1
    counted.go(5.0)
    assert counted.started == 1
    assert not counted.down.counting


def test_any_key_calls_it_off_and_does_nothing_else(counted: Counted) -> None:
    counted.down.begin()
    counted.qtbot.keyClick(counted.line, Qt.Key.Key_A)
    assert not counted.down.counting
    assert counted.line.text() == ""
    counted.go(5.0)
    assert counted.started == 0
    counted.qtbot.keyClick(counted.line, Qt.Key.Key_A)
    assert counted.line.text() == "a"


def test_any_click_calls_it_off_and_presses_nothing(counted: Counted) -> None:
    counted.down.begin()
    counted.qtbot.mouseClick(counted.button, Qt.MouseButton.LeftButton)
    assert not counted.down.counting
    assert counted.pressed == 0
    counted.go(5.0)
    assert counted.started == 0


def test_a_window_that_stood_still_has_not_counted(counted: Counted) -> None:
    counted.down.begin()
    counted.clock.go(10.0)
    counted.down.tick()
    assert counted.started == 0
    assert counted.down.counting


def test_what_may_not_be_started_any_more_is_not(counted: Counted) -> None:
    counted.down.begin()
    counted.go(1.0)
    counted.may = False
    counted.go(5.0)
    assert counted.started == 0
    counted.down.begin()
    assert not counted.down.counting
