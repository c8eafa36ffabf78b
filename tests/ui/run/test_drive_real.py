"""The screen's pads with real processes and the simulated rig: a pull that springs back, an axis that is performed."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from PyQt6.QtCore import QEvent, QPoint, QPointF, Qt
from PyQt6.QtGui import QMouseEvent
from PyQt6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from sequencer.project.takefile import read
from sequencer.shell.messages import Kept, Status
from tests.ui.run.test_real import Real
from ui.run.drive import DrivePanel
from ui.run.pad import Pad

pytestmark = pytest.mark.real_time
LEFT = Qt.MouseButton.LeftButton


class Driving(Real):
    """A window with the page for driving beside the page that arms."""

    def __init__(self, folder: Path, qtbot: QtBot, legs: int = 1) -> None:
        super().__init__(folder, qtbot, legs)
        self.page = DrivePanel(self.desk, self.link)
        qtbot.addWidget(self.page)
        self.page.resize(1200, 500)
        self.page.show()

    def connect(self) -> None:
        self.link.open()
        self.until("idle")

    def unlock(self) -> None:
        self.qtbot.mousePress(self.page.unlock, LEFT)
        self.qtbot.waitUntil(lambda: self.page.unlocked, timeout=8000)
        self.qtbot.mouseRelease(self.page.unlock, LEFT)
        self.page.fastest.setCurrentIndex(self.page.fastest.count() - 1)

    def pull(self, pad: Pad, across_px: int, up_px: int) -> None:
        self.qtbot.mousePress(pad, LEFT)
        at = QPointF(pad.rect().center() + QPoint(across_px, -up_px))
        none, no = Qt.MouseButton.NoButton, Qt.KeyboardModifier.NoModifier
        QApplication.sendEvent(pad, QMouseEvent(QEvent.Type.MouseMove, at, pad.mapToGlobal(at), none, LEFT, no))

    @property
    def status(self) -> Status:
        assert self.link.newest is not None
        return self.link.newest

    @property
    def asked(self) -> tuple[float, ...]:
        return self.status.asked

    def wait(self, what: Callable[[], bool], patience_s: float = 15.0) -> None:
        self.qtbot.waitUntil(what, timeout=round(patience_s * 1000))


@pytest.fixture
def driving(tmp_path: Path, qtbot: QtBot) -> Iterator[Driving]:
    one = Driving(tmp_path, qtbot, legs=4)
    yield one
    one.page.hide()
    one.link.end()
    app = QApplication.instance()
    assert app is not None
    app.removeEventFilter(one.keys)


def test_a_pull_goes_half_the_range_and_springs_back_to_where_the_rig_was(driving: Driving) -> None:
    driving.connect()
    page = driving.page
    page.manner.manner.setCurrentIndex(1)
    page.manner.range.setCurrentIndex(0)
    page.manner.range.activated.emit(0)
    driving.unlock()
    began = driving.asked
    pad = page.pads[0]
    driving.pull(pad, -200, 200)
    # a pan counts to the left
    driving.wait(lambda: abs(driving.asked[0] - began[0] - 15.0) < 1e-3 and abs(driving.asked[1] - 15.0) < 1e-3)
    driving.qtbot.mouseRelease(pad, LEFT)
    driving.until("idle")
    assert driving.asked == pytest.approx(began, abs=1e-3)
    assert page.unlocked


def test_a_stop_key_ends_a_return_where_the_rig_is(driving: Driving) -> None:
    driving.connect()
    page = driving.page
    page.manner.manner.setCurrentIndex(1)
    driving.unlock()
    pad = page.pads[0]
    driving.pull(pad, -200, 0)
    driving.wait(lambda: abs(driving.asked[0] - 45.0) < 1e-3)
    driving.qtbot.mouseRelease(pad, LEFT)
    driving.wait(lambda: driving.asked[0] < 40.0)
    driving.qtbot.keyClick(page, Qt.Key.Key_Escape)
    driving.until("stopped")
    stands = driving.asked[0]
    assert 5.0 < stands < 40.0
    driving.link.reset()
    driving.until("idle")
    assert driving.asked[0] == pytest.approx(stands, abs=0.5)  # it begins from where the rig says that it stands


def test_the_screen_performs_an_axis_while_the_other_plays_and_the_take_keeps_it(driving: Driving) -> None:
    kept: list[Kept] = []
    driving.link.kept.connect(kept.append)
    driving.link.choose(replace(driving.link.choice, by_hand=("tilt",), record=True, preroll_s=0.0))
    driving.connect()
    driving.link.arm()
    driving.wait(lambda: driving.link.now.can_start)
    driving.unlock()
    page = driving.page
    assert driving.status.phase == "ready"
    driving.link.start()
    driving.wait(lambda: driving.status.phase == "running")
    driving.pull(page.pads[0], 200, 200)
    driving.wait(lambda: driving.asked[1] > 8.0)
    driving.qtbot.mouseRelease(page.pads[0], LEFT)
    driving.qtbot.wait(500)
    rests = driving.asked[1]
    driving.pull(page.pads[0], 0, -200)
    driving.wait(lambda: bool(kept))
    assert not page.unlocked
    driving.qtbot.wait(300)
    assert driving.status.phase == "finished"
    take = read(Path(kept[0].path))
    pan, tilt = take.asked.T
    assert take.by_hand == ("tilt",)
    assert pan.max() == pytest.approx(20.0, abs=0.01), "as its keys say, however it was pulled across"
    assert tilt.max() >= rests > 8.0
    assert tilt[-1] < rests - 1.0
