"""The whole window with a rig that is armed: it stops from every page, and before the window closes."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QApplication, QWidget
from pytestqt.qtbot import QtBot

from sequencer.score.edits.offset import offset
from tests.ui.link.fakes import Bench
from ui.acts.files import Files
from ui.desk import Desk
from ui.window import Window


class Armed:
    def __init__(self, desk: Desk, root: Path, qtbot: QtBot) -> None:
        self.bench = Bench(desk)
        self.window = Window(desk, self.bench.link, Files(desk, root))
        qtbot.addWidget(self.window)
        self.window.resize(1280, 720)
        self.window.show()


@pytest.fixture
def armed(desk: Desk, tmp_path: Path, qtbot: QtBot) -> Iterator[Armed]:
    one = Armed(desk, tmp_path, qtbot)
    yield one
    desk.saved(desk.project)
    one.bench.link.stop()
    one.window.close()
    app = QApplication.instance()
    assert app is not None
    for watcher in (one.window.stop_keys, one.window.calm):
        app.removeEventFilter(watcher)


@pytest.mark.parametrize("page", ["body", "first_run", "picker"])
@pytest.mark.parametrize("key", [Qt.Key.Key_Escape, Qt.Key.Key_Space], ids=["escape", "space"])
def test_the_stop_keys_and_the_control_work_on_every_page(armed: Armed, qtbot: QtBot, page: str, key: Qt.Key) -> None:
    window, bench = armed.window, armed.bench
    bench.ready()
    shown: QWidget = getattr(window, page)
    if shown is window.picker:
        window.files.save_as()
    window.pages.setCurrentWidget(shown)
    takes = Qt.FocusPolicy.TabFocus
    fields = [one for one in shown.findChildren(QWidget) if one.isVisible() and one.focusPolicy() & takes]
    assert len(fields) > 2
    for number, field in enumerate(fields, 1):
        qtbot.keyClick(field, key)
        assert bench.crew.stops == number, field.accessibleName()
        bench.phase("ready")
    qtbot.mousePress(window.strip.stop, Qt.MouseButton.LeftButton)
    assert bench.crew.stops == len(fields) + 1


def test_a_window_that_is_closed_stops_the_rig_and_ends_what_ran(armed: Armed) -> None:
    armed.bench.ready()
    armed.window.close()
    assert armed.bench.crew.stops == 1
    assert armed.bench.crew.ended == 1
    assert not armed.window.isVisible()


def test_a_window_that_asks_about_edits_has_stopped_the_rig_before(armed: Armed) -> None:
    bench = armed.bench
    bench.connect()
    bench.desk.edit("raise", offset(bench.desk.project.move, {"tilt": {1}}, value=0.5))
    bench.phase("running", lock="locked")
    armed.window.close()
    assert bench.crew.stops == 1
    assert armed.window.isVisible()
    assert bench.crew.ended == 0
