"""Driving by mouse and arrow keys: what the engine is told, and when it is told nothing any more."""

from collections.abc import Callable
from dataclasses import replace

import pytest
from PyQt6.QtCore import QEvent, QPoint, QPointF, Qt
from PyQt6.QtGui import QGuiApplication, QKeyEvent, QMouseEvent
from PyQt6.QtWidgets import QApplication, QLineEdit, QTabWidget, QVBoxLayout, QWidget
from pytestqt.qtbot import QtBot

from sequencer.shell.messages import Drive
from tests.ui.link.fakes import Bench
from tests.ui.watched import Table
from ui.run.drive import UNLOCKED_MS, DrivePanel
from ui.run.pad import Pad
from ui.run.stop import StopControl, StopKeys

LEFT = Qt.MouseButton.LeftButton
REST = (0.0,) * 5


class Drives:
    """The panel on a page of its own, beside another page and a stop control."""

    def __init__(self, bench: Bench, qtbot: QtBot) -> None:
        self.bench, self.qtbot = bench, qtbot
        self.window, self.pages, self.line = QWidget(), QTabWidget(), QLineEdit()
        self.table = Table()
        self.panel = DrivePanel(bench.desk, bench.link, self.table.watch)
        self.panel.unlock._now_ns = bench.clock
        self.stop = StopControl(bench.link)
        self.pages.addTab(self.panel, "drive")
        self.pages.addTab(self.line, "other")
        whole = QVBoxLayout(self.window)
        whole.addWidget(self.stop)
        whole.addWidget(self.pages)
        qtbot.addWidget(self.window)
        self.window.resize(900, 600)
        self.window.show()
        self.window.activateWindow()

    @property
    def pan_and_tilt(self) -> Pad:
        return self.panel.pads[0]

    def unlock(self) -> None:
        """Connect, and hold the control that unlocks."""
        if not self.bench.link.connected:
            self.bench.connect()
        self.qtbot.mousePress(self.panel.unlock, LEFT)
        for _ in range(18):
            self.bench.clock.go(0.05)
            self.panel.unlock.tick()
        self.qtbot.mouseRelease(self.panel.unlock, LEFT)
        self.bench.go()
        assert self.panel.unlocked

    def pull(self, pad: Pad, across_px: int, up_px: int, buttons: Qt.MouseButton = LEFT) -> None:
        at = QPointF(pad.rect().center() + QPoint(across_px, -up_px))
        none, no = Qt.MouseButton.NoButton, Qt.KeyboardModifier.NoModifier
        QApplication.sendEvent(pad, QMouseEvent(QEvent.Type.MouseMove, at, pad.mapToGlobal(at), none, buttons, no))

    def hold(self, across_px: int = 200, up_px: int = 0) -> Pad:
        """Hold the first pad pushed, and have the engine say that it drives."""
        pad = self.pan_and_tilt
        self.qtbot.mousePress(pad, LEFT)
        self.pull(pad, across_px, up_px)
        self.bench.phase("driving")
        assert self.parts[-1] != REST
        return pad

    @property
    def parts(self) -> list[tuple[float, ...]]:
        """What the engine was told of the hand, as parts of full speed."""
        return [tuple(part * one.top for part in one.parts) for one in self.orders]

    @property
    def orders(self) -> list[Drive]:
        return [one for crew in self.bench.crews for one in crew.told if isinstance(one, Drive)]

    def silent(self) -> bool:
        """Whether the engine is told of no push any more, however often the panel might tell."""
        before = len(self.parts)
        for _ in range(5):
            self.panel.tell()
        return all(one == REST for one in self.parts[before:])


@pytest.fixture
def drives(bench: Bench, qtbot: QtBot) -> Drives:
    return Drives(bench, qtbot)


def test_it_is_locked_until_it_was_held_open(drives: Drives, qtbot: QtBot) -> None:
    drives.bench.connect()
    qtbot.mouseClick(drives.panel.unlock, LEFT)
    pad = drives.pan_and_tilt
    qtbot.mousePress(pad, LEFT)
    drives.pull(pad, 200, 0)
    qtbot.mouseRelease(pad, LEFT)
    qtbot.keyClick(pad, Qt.Key.Key_Right)
    assert drives.parts == []
    assert "Locked" in drives.panel.words.text()


def test_a_pad_that_is_pulled_drives_and_rests_when_it_is_let_go(drives: Drives, qtbot: QtBot) -> None:
    drives.unlock()
    pad = drives.hold(200, 200)
    # to the right and up, at a tenth of full speed; a pan counts to the left
    assert drives.parts[-1] == (-0.1, 0.1, 0.0, 0.0, 0.0)
    drives.panel.tell()
    assert drives.parts[-1] == (-0.1, 0.1, 0.0, 0.0, 0.0)
    qtbot.mouseRelease(pad, LEFT, pos=QPoint(500, -300))
    assert drives.parts[-1] == REST
    told = len(drives.parts)
    qtbot.wait(1)
    assert not drives.panel._say.isActive()
    assert len(drives.parts) == told


def test_a_click_without_a_pull_moves_nothing(drives: Drives, qtbot: QtBot) -> None:
    drives.unlock()
    for at in (QPoint(4, 4), QPoint(120, 66), drives.pan_and_tilt.rect().center()):
        qtbot.mouseClick(drives.pan_and_tilt, LEFT, pos=at)
        qtbot.mouseDClick(drives.pan_and_tilt, LEFT, pos=at)
        qtbot.mouseClick(drives.pan_and_tilt, Qt.MouseButton.RightButton, pos=at)
    assert set(drives.parts) <= {REST}


def test_arrow_keys_drive_while_they_are_held_and_repeats_are_one_press(drives: Drives, qtbot: QtBot) -> None:
    drives.unlock()
    pad = drives.pan_and_tilt
    pad.setFocus()
    qtbot.keyPress(pad, Qt.Key.Key_Left)
    assert drives.parts[-1] == (0.1, 0.0, 0.0, 0.0, 0.0)
    qtbot.keyPress(pad, Qt.Key.Key_Up)
    assert drives.parts[-1] == (0.1, 0.1, 0.0, 0.0, 0.0)
    for kind in (QEvent.Type.KeyRelease, QEvent.Type.KeyPress):
        repeated = QKeyEvent(kind, Qt.Key.Key_Left, Qt.KeyboardModifier.NoModifier, "", True)
        QApplication.sendEvent(pad, repeated)
        assert drives.parts[-1] == (0.1, 0.1, 0.0, 0.0, 0.0)
    qtbot.keyRelease(pad, Qt.Key.Key_Left)
    assert drives.parts[-1] == (0.0, 0.1, 0.0, 0.0, 0.0)
    qtbot.keyRelease(pad, Qt.Key.Key_Up)
    assert drives.parts[-1] == REST
    # a key that repeats and was pressed elsewhere is nobody's push
    repeated = QKeyEvent(QEvent.Type.KeyPress, Qt.Key.Key_Left, Qt.KeyboardModifier.NoModifier, "", True)
    QApplication.sendEvent(pad, repeated)
    assert drives.parts[-1] == REST


def test_a_push_by_keys_begins_in_the_middle(drives: Drives, qtbot: QtBot) -> None:
    drives.unlock()
    qtbot.keyPress(drives.pan_and_tilt, Qt.Key.Key_Left)
    assert drives.parts == [REST, (0.1, 0.0, 0.0, 0.0, 0.0)]


def test_an_axis_of_its_own_is_driven_across_alone(drives: Drives, qtbot: QtBot) -> None:
    drives.unlock()
    slide = drives.panel.pads[2]
    qtbot.keyPress(slide, Qt.Key.Key_Up)
    assert drives.parts[-1] == REST
    qtbot.keyPress(slide, Qt.Key.Key_Right)
    assert drives.parts[-1] == (0.0, 0.0, 0.0, 0.1, 0.0)


def test_the_fastest_is_chosen_while_it_is_unlocked_and_slow_again_after(drives: Drives, qtbot: QtBot) -> None:
    drives.bench.connect()
    assert not drives.panel.fastest.isEnabled()
    drives.unlock()
    qtbot.keyClick(drives.panel.fastest, Qt.Key.Key_End)
    pad = drives.hold()
    assert drives.parts[-1][0] == -1.0
    qtbot.mouseRelease(pad, LEFT)
    drives.panel.lock()
    drives.bench.phase("idle")
    drives.unlock()
    drives.hold()
    assert drives.parts[-1][0] == -0.1


def lost_button(drives: Drives) -> None:
    drives.pull(drives.pan_and_tilt, 200, 0, Qt.MouseButton.NoButton)


def window_left(drives: Drives) -> None:
    QApplication.sendEvent(drives.window, QEvent(QEvent.Type.WindowDeactivate))


def grab_taken(drives: Drives) -> None:
    QApplication.sendEvent(drives.pan_and_tilt, QEvent(QEvent.Type.UngrabMouse))


def another_page(drives: Drives) -> None:
    drives.pages.setCurrentIndex(1)


def hidden(drives: Drives) -> None:
    drives.window.hide()


def program_left(drives: Drives) -> None:
    app = QGuiApplication.instance()
    assert isinstance(app, QGuiApplication)
    app.applicationStateChanged.emit(Qt.ApplicationState.ApplicationInactive)


def locked_by_itself(drives: Drives) -> None:
    drives.panel._idle.timeout.emit()


def escape(drives: Drives) -> None:
    drives.qtbot.keyClick(drives.pan_and_tilt, Qt.Key.Key_Escape)


@pytest.mark.parametrize(
    ("lose", "locks"),
    [
        (lost_button, False),
        (window_left, False),
        (grab_taken, False),
        (another_page, True),
        (hidden, True),
        (program_left, True),
        (locked_by_itself, True),
        (escape, True),
    ],
    ids=lambda one: getattr(one, "__name__", None),
)
def test_a_pad_whose_release_may_never_come_is_let_go(
    drives: Drives, lose: Callable[[Drives], None], locks: bool
) -> None:
    drives.unlock()
    pad = drives.hold()
    lose(drives)
    assert not pad.held
    assert drives.parts[-1] == REST
    assert drives.panel.unlocked != locks
    assert drives.silent()
    drives.pull(pad, 300, 0)
    assert drives.silent()


def test_arrows_are_let_go_with_the_keyboard(drives: Drives, qtbot: QtBot) -> None:
    drives.unlock()
    pad = drives.pan_and_tilt
    pad.setFocus()
    qtbot.keyPress(pad, Qt.Key.Key_Right)
    assert drives.parts[-1] != REST
    pad.clearFocus()
    assert drives.parts[-1] == REST
    assert drives.silent()


@pytest.mark.parametrize("phase", ["stopping", "stopped", "locating"])
def test_it_locks_when_the_rig_does_something_else(drives: Drives, phase: str) -> None:
    drives.unlock()
    pad = drives.hold()
    drives.bench.phase(phase, cause="the rig has not answered for 0.5 s")
    assert not drives.panel.unlocked
    assert not pad.isEnabled()
    assert drives.silent()
    drives.bench.phase("idle")
    drives.pull(pad, 300, 0)
    assert drives.silent()


def test_it_locks_when_the_engine_does_not_report(drives: Drives) -> None:
    drives.unlock()
    pad = drives.hold()
    drives.bench.crew.silent = True
    drives.bench.go(0.3)
    assert drives.bench.link.now.stale
    assert not drives.panel.unlocked
    assert not pad.held
    assert drives.silent()


@pytest.mark.parametrize("key", [Qt.Key.Key_Escape, Qt.Key.Key_Space])
def test_the_stop_keys_stop_from_the_first_push_on(drives: Drives, qtbot: QtBot, key: Qt.Key) -> None:
    keys = StopKeys(drives.bench.link)
    drives.unlock()
    pad = drives.pan_and_tilt
    qtbot.mousePress(pad, LEFT)
    drives.pull(pad, 200, 0)
    # the engine has not yet said that it drives
    assert drives.bench.link.now.state == "idle"
    qtbot.keyClick(pad, key)
    assert drives.bench.crew.stops == 1
    assert not drives.panel.unlocked
    assert drives.silent()
    app = QApplication.instance()
    assert app is not None
    app.removeEventFilter(keys)


def test_it_is_locked_by_a_press_that_takes_the_place_of_the_hold(drives: Drives, qtbot: QtBot) -> None:
    assert not drives.panel.relock.isVisible()
    drives.unlock()
    assert not drives.panel.unlock.isVisible()
    qtbot.keyClick(drives.panel.relock, Qt.Key.Key_Space)
    assert drives.panel.unlocked
    qtbot.mouseClick(drives.panel.relock, LEFT)
    assert not drives.panel.unlocked
    assert drives.panel.unlock.isVisible()


def test_the_stop_control_locks_it(drives: Drives, qtbot: QtBot) -> None:
    drives.unlock()
    drives.hold()
    qtbot.mousePress(drives.stop, LEFT)
    assert drives.bench.crew.stops == 1
    assert not drives.panel.unlocked
    assert drives.silent()


def test_why_the_editor_stopped_is_not_lost_by_letting_go(drives: Drives) -> None:
    drives.unlock()
    drives.hold()
    drives.bench.link.stop("the editor was closed")
    drives.bench.phase("stopped", cause="the operator pressed stop")
    assert drives.bench.link.last_stop == "the editor was closed"


def test_it_locks_by_itself_half_a_minute_after_the_last_push(drives: Drives, qtbot: QtBot) -> None:
    drives.unlock()
    assert UNLOCKED_MS == 30_000
    assert drives.panel._idle.interval() == UNLOCKED_MS
    assert drives.panel._idle.isActive()
    pad = drives.hold()
    drives.panel._idle.stop()
    drives.panel.tell()
    assert drives.panel._idle.isActive()  # held for long, it is not left alone
    qtbot.mouseRelease(pad, LEFT)
    drives.panel._idle.timeout.emit()
    assert not drives.panel.unlocked


def test_another_rig_has_other_pads_and_is_not_driven_by_the_old_ones(drives: Drives, qtbot: QtBot) -> None:
    drives.unlock()
    desk, project = drives.bench.desk, drives.bench.desk.project
    old = drives.panel.pads[3]
    axes = tuple(axis for axis in project.rig.axes if axis.name != "roll")
    tracks = tuple(track for track in project.move.tracks if track.axis != "roll")
    rig = replace(project.rig, axes=axes, combined=())
    desk.edit("no roll", replace(project, rig=rig, move=replace(project.move, tracks=tracks)))
    assert [pad.accessibleName() for pad in drives.panel.pads] == ["Drive pan tilt", "Drive slide", "Drive focus"]
    assert not drives.panel.unlocked
    assert "connect again" in drives.panel.words.text()
    qtbot.keyPress(old, Qt.Key.Key_Right)
    assert drives.silent()


def test_a_rig_that_is_changed_while_a_pad_is_held_is_let_go(drives: Drives) -> None:
    drives.unlock()
    pad = drives.hold()
    desk = drives.bench.desk
    desk.open(replace(desk.project, rig=replace(desk.project.rig, axes=desk.project.rig.axes[::-1])), desk.folder)
    assert not pad.held
    assert drives.bench.crew.stops == 1
    assert drives.silent()


def test_a_real_rig_can_be_unlocked_as_soon_as_people_are_said_to_be_clear(drives: Drives) -> None:
    bench = drives.bench
    bench.link.choose(replace(bench.link.choice, rig="osc://127.0.0.1:9000"))
    bench.connect()
    assert not drives.panel.unlock.isEnabled()
    assert "people are clear" in drives.panel.words.text()
    bench.link.clear(True)
    assert drives.panel.unlock.isEnabled()
    drives.unlock()
    bench.link.clear(False)
    assert not drives.panel.unlocked
