"""From nothing to a take on the disk, in the whole window by mouse and keys, with the simulated rig."""

import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from PyQt6.QtCore import QPoint, Qt
from PyQt6.QtWidgets import QAbstractButton, QWidget
from pytestqt.qtbot import QtBot

from sequencer.project.store import load
from sequencer.project.takefile import read
from sequencer.shell.kinds import laws
from ui.app import compose
from ui.window import Window

pytestmark = pytest.mark.real_time
LEFT = Qt.MouseButton.LeftButton
PROMISED_S = 120.0


@pytest.fixture
def window(qtbot: QtBot, tmp_path: Path) -> Iterator[Window]:
    made = compose(None, root=tmp_path / "state")
    qtbot.addWidget(made)
    made.resize(1600, 940)
    with qtbot.waitActive(made):
        made.show()
        made.activateWindow()
    yield made
    made.link.end()
    made.files.end()


def press(button: QAbstractButton, qtbot: QtBot) -> None:
    assert button.isVisible()
    assert button.isEnabled()
    qtbot.mouseClick(button, LEFT, pos=QPoint(12, button.height() // 2))


def hold(control: QWidget, window: Window, until: str, qtbot: QtBot) -> None:
    qtbot.mousePress(control, LEFT)
    qtbot.waitUntil(lambda: window.link.now.state == until, timeout=20_000)
    qtbot.mouseRelease(control, LEFT)


def test_the_first_page_leads_to_a_take_within_two_minutes(window: Window, qtbot: QtBot, tmp_path: Path) -> None:
    began_s = time.monotonic()
    page, panel = window.first_run.page, window.run.page
    # where it goes is typed, and what it is called; all else is as it stands there
    press(page.place_button, qtbot)
    line = window.picker.page.line
    assert line is not None
    qtbot.keyClicks(line, str(tmp_path))
    qtbot.keyClick(line, Qt.Key.Key_Return)
    assert window.pages.currentWidget() is window.first_run
    page.name.line.setFocus()
    page.name.line.selectAll()
    qtbot.keyClicks(page.name.line, "Quay at dusk")
    press(page.make_button, qtbot)
    folder = tmp_path / "quay-at-dusk"
    qtbot.waitUntil(lambda: window.desk.folder == folder, timeout=10_000)
    assert window.pages.currentWidget() is window.body
    told = window.next_line.note.text()
    # and now what it says
    steps = ("F6", "choose the cue", "Record a take", "Connect", "hold ARM", "hold START")
    assert sorted(steps, key=told.index) == list(steps)
    with qtbot.waitActive(window):  # without a screen, a list of completions that closes leaves no window active
        window.activateWindow()
    qtbot.keyClick(window, Qt.Key.Key_F6)
    panel.form.cue.setFocus()
    qtbot.keyClick(panel.form.cue, Qt.Key.Key_Up)
    assert panel.form.cue.currentText() == "first move"
    press(panel.form.record, qtbot)
    press(panel.connecting, qtbot)
    qtbot.waitUntil(lambda: window.link.now.state == "idle", timeout=20_000)
    hold(panel.arm, window, "armed", qtbot)
    qtbot.waitUntil(lambda: window.link.now.can_start, timeout=15_000)
    with qtbot.waitSignal(window.link.kept, timeout=30_000) as kept:
        hold(panel.start, window, "moving", qtbot)
    assert time.monotonic() - began_s < PROMISED_S
    (path,) = (folder / "takes").glob("*.mcap")
    assert Path(kept.args[0].path) == path
    take = read(path)
    assert take.complete
    project = load(folder, laws())
    ends = [track.keys[-1].value for track in project.move.tracks]
    assert take.actual[-1].tolist() == pytest.approx(ends, abs=0.2)
    qtbot.keyClick(window, Qt.Key.Key_F5)
    qtbot.waitUntil(lambda: window.takes.page.model.rowCount() == 1, timeout=10_000)
