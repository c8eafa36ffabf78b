"""Stop is one key away from anywhere, and one press away wherever something is open over the window."""

from collections.abc import Iterator

import pytest
from PyQt6.QtCore import QEvent, QPoint, Qt
from PyQt6.QtGui import QAction, QKeyEvent, QKeySequence
from PyQt6.QtWidgets import (
    QApplication,
    QCheckBox,
    QComboBox,
    QFileDialog,
    QLineEdit,
    QMainWindow,
    QMenu,
    QPlainTextEdit,
    QPushButton,
    QVBoxLayout,
    QWidget,
)
from pytestqt.qtbot import QtBot

from tests.ui.link.fakes import Bench
from ui.run.stop import StopControl, StopKeys
from ui.theme import STOP_PX

KEYS = pytest.mark.parametrize("key", [Qt.Key.Key_Escape, Qt.Key.Key_Space], ids=["escape", "space"])


class Place:
    """A window with all kinds of things that take keys."""

    def __init__(self, bench: Bench, qtbot: QtBot) -> None:
        self.bench = bench
        self.keys = StopKeys(bench.link)
        self.window = QMainWindow()
        middle = QWidget()
        self.line, self.text, self.box = QLineEdit(), QPlainTextEdit(), QComboBox()
        self.button, self.tick = QPushButton("other"), QCheckBox("tick")
        self.stop = StopControl(bench.link)
        self.box.addItems(["one", "two", "three"])
        whole = QVBoxLayout(middle)
        for one in (self.stop, self.line, self.text, self.box, self.button, self.tick):
            whole.addWidget(one)
        self.window.setCentralWidget(middle)
        self.pressed: list[str] = []
        self.button.clicked.connect(lambda: self.pressed.append("button"))
        action = QAction("escape", self.window)
        action.setShortcut(QKeySequence(Qt.Key.Key_Escape))
        action.triggered.connect(lambda: self.pressed.append("shortcut"))
        self.window.addAction(action)
        qtbot.addWidget(self.window)
        self.window.show()
        self.window.activateWindow()


@pytest.fixture
def place(bench: Bench, qtbot: QtBot) -> Iterator[Place]:
    one = Place(bench, qtbot)
    yield one
    app = QApplication.instance()
    assert app is not None
    app.removeEventFilter(one.keys)


@KEYS
@pytest.mark.parametrize("where", ["line", "text", "box", "button", "tick"])
def test_from_a_field_it_stops_and_does_nothing_else(place: Place, qtbot: QtBot, key: Qt.Key, where: str) -> None:
    place.bench.ready()
    widget = getattr(place, where)
    widget.setFocus()
    qtbot.keyClick(widget, key)
    assert place.bench.crew.stops == 1
    assert place.pressed == []
    assert place.line.text() == ""
    assert place.text.toPlainText() == ""
    assert not place.tick.isChecked()


@KEYS
def test_from_an_open_list(place: Place, qtbot: QtBot, key: Qt.Key) -> None:
    place.bench.ready()
    place.box.showPopup()
    popup = QApplication.activePopupWidget()
    assert popup is not None
    qtbot.keyClick(popup, key)
    assert place.bench.crew.stops == 1
    place.box.hidePopup()


@KEYS
def test_from_an_open_menu(place: Place, qtbot: QtBot, key: Qt.Key) -> None:
    place.bench.ready()
    menu = QMenu(place.window)
    chosen: list[bool] = []
    action = menu.addAction("one")
    assert action is not None
    action.triggered.connect(chosen.append)
    menu.popup(place.window.mapToGlobal(QPoint(5, 5)))
    menu.setActiveAction(action)
    qtbot.keyClick(menu, key)
    assert place.bench.crew.stops == 1
    assert chosen == []
    menu.close()


@KEYS
def test_from_a_file_dialog(place: Place, qtbot: QtBot, key: Qt.Key) -> None:
    place.bench.ready()
    dialog = QFileDialog(place.window)
    dialog.setOption(QFileDialog.Option.DontUseNativeDialog)
    qtbot.addWidget(dialog)
    dialog.show()
    field = dialog.findChild(QLineEdit)
    assert field is not None
    qtbot.keyClick(field, key)
    assert place.bench.crew.stops == 1
    assert dialog.isVisible()
    assert " " not in field.text()


@KEYS
def test_through_the_window_system_before_any_shortcut(place: Place, qtbot: QtBot, key: Qt.Key) -> None:
    place.bench.ready()
    qtbot.waitExposed(place.window)
    handle = place.window.windowHandle()
    assert handle is not None
    place.line.setFocus()
    qtbot.keyClick(handle, key)
    assert place.bench.crew.stops == 1
    assert place.pressed == []
    assert place.line.text() == ""


def test_when_nothing_is_armed_the_keys_do_what_they_always_do(place: Place, qtbot: QtBot) -> None:
    place.bench.connect()
    qtbot.keyClick(place.line, Qt.Key.Key_Space)
    assert place.line.text() == " "
    qtbot.keyClick(place.tick, Qt.Key.Key_Space)
    assert place.tick.isChecked()
    assert place.bench.crew.stops == 0


def test_a_key_that_is_held_after_it_stopped_writes_nothing(place: Place, qtbot: QtBot) -> None:
    place.bench.ready()
    qtbot.keyPress(place.line, Qt.Key.Key_Space)
    place.bench.phase("stopped")
    assert not place.bench.link.dangerous
    app = QApplication.instance()
    assert app is not None
    no = Qt.KeyboardModifier.NoModifier
    for _ in range(3):
        app.sendEvent(place.line, QKeyEvent(QEvent.Type.KeyPress, Qt.Key.Key_Space, no, " ", True))
    assert place.line.text() == ""
    assert place.bench.crew.stops == 1
    qtbot.keyRelease(place.line, Qt.Key.Key_Space)
    qtbot.keyClick(place.line, Qt.Key.Key_Space)
    assert place.line.text() == " "


def test_a_press_stops_before_it_is_let_go_and_armed_or_not(place: Place, qtbot: QtBot) -> None:
    place.bench.connect()
    qtbot.mousePress(place.stop, Qt.MouseButton.RightButton)
    assert place.bench.crew.stops == 1
    qtbot.mouseRelease(place.stop, Qt.MouseButton.RightButton)
    qtbot.mouseDClick(place.stop, Qt.MouseButton.LeftButton)
    assert place.bench.crew.stops >= 2


def test_it_is_never_disabled_and_large_enough(place: Place, qtbot: QtBot) -> None:
    place.stop.setEnabled(False)
    place.stop.setDisabled(True)
    assert place.stop.isEnabled()
    assert (place.stop.width(), place.stop.height()) == STOP_PX
    assert place.stop.focusPolicy() == Qt.FocusPolicy.NoFocus
    assert place.stop.accessibleName()


def test_a_press_counts_while_a_menu_is_open(place: Place, qtbot: QtBot) -> None:
    place.bench.ready()
    menu = QMenu(place.window)
    menu.addAction("one")
    menu.popup(place.window.mapToGlobal(QPoint(5, 200)))
    at = menu.mapFromGlobal(place.stop.mapToGlobal(place.stop.rect().center()))
    qtbot.mousePress(menu, Qt.MouseButton.LeftButton, pos=at)
    assert place.bench.crew.stops == 1
    menu.close()


@KEYS
def test_while_it_counts_down_a_stop_key_calls_off_and_stops(place: Place, qtbot: QtBot, key: Qt.Key) -> None:
    place.bench.ready()
    place.bench.link.countdown.begin()
    qtbot.keyClick(place.line, key)
    assert not place.bench.link.countdown.counting
    assert place.bench.crew.stops == 1
    assert place.line.text() == ""
