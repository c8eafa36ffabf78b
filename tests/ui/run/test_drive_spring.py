"""Spring-back on the screen: what is said while a pad is held, after it was let go, and when no release comes."""

from dataclasses import replace

import pytest
from PyQt6.QtCore import QEvent, Qt
from PyQt6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from sequencer.live.handling import RANGES_DEG, Handling, Stick
from sequencer.shell.messages import Drive, Punch
from tests.ui.link.fakes import Bench
from tests.ui.run.test_drive import Drives
from ui.run.drive import SAY_MS

LEFT = Qt.MouseButton.LeftButton
REST = (0.0,) * 5


@pytest.fixture
def drives(bench: Bench, qtbot: QtBot) -> Drives:
    return Drives(bench, qtbot)


def spring(drives: Drives, qtbot: QtBot) -> None:
    qtbot.keyClick(drives.panel.manner.manner, Qt.Key.Key_Down)
    assert drives.panel.manner.range_deg is not None


def say(drives: Drives, times: int = 1) -> None:
    """Have the panel say as often as its clock would have it."""
    for _ in range(times):
        if drives.panel._say.isActive():
            drives.panel.tell()
        drives.bench.go(SAY_MS * 1e-3)


def test_a_push_is_an_offset_and_a_release_is_said_until_the_rig_has_returned(drives: Drives, qtbot: QtBot) -> None:
    spring(drives, qtbot)
    drives.unlock()
    pad = drives.hold(200, 0)
    assert drives.orders[0] == Drive(REST, top=0.1, range_deg=90.0)
    assert drives.orders[-1] == Drive((-1.0, 0.0, 0.0, 0.0, 0.0), top=0.1, range_deg=90.0)
    qtbot.mouseRelease(pad, LEFT)
    say(drives, 40)
    assert drives.orders[-1] == Drive(REST, top=0.1, range_deg=90.0)
    assert drives.panel._say.isActive(), "it returns yet"
    assert drives.bench.link.dangerous
    drives.bench.phase("idle")
    say(drives, 12)
    told = len(drives.orders)
    say(drives, 5)
    assert len(drives.orders) == told
    assert drives.panel.unlocked
    assert not drives.bench.link.dangerous


def test_a_release_is_said_for_a_while_before_the_engine_says_that_it_moves(drives: Drives, qtbot: QtBot) -> None:
    spring(drives, qtbot)
    drives.unlock()
    pad = drives.pan_and_tilt
    qtbot.mousePress(pad, LEFT)
    drives.pull(pad, 200, 0)
    qtbot.mouseRelease(pad, LEFT)
    told = len(drives.orders)
    say(drives, 3)
    assert len(drives.orders) == told + 3


@pytest.mark.parametrize("kind", [QEvent.Type.UngrabMouse, QEvent.Type.WindowDeactivate, QEvent.Type.FocusOut])
def test_a_release_that_may_never_come_is_no_return(drives: Drives, qtbot: QtBot, kind: QEvent.Type) -> None:
    spring(drives, qtbot)
    drives.unlock()
    pad = drives.hold(200, 0)
    if kind is QEvent.Type.FocusOut:
        pad.setFocus()
        pad.clearFocus()
    else:
        QApplication.sendEvent(pad, QEvent(kind))
    assert drives.orders[-1] == Drive(REST, held=False)
    assert not drives.panel._say.isActive()


@pytest.mark.parametrize("held", [True, False])
def test_locking_stops_a_return_as_well_as_a_push(drives: Drives, qtbot: QtBot, held: bool) -> None:
    spring(drives, qtbot)
    drives.unlock()
    pad = drives.hold(200, 0)
    if not held:
        qtbot.mouseRelease(pad, LEFT)
    qtbot.keyClick(drives.panel, Qt.Key.Key_Escape)
    assert drives.orders[-1] == Drive(REST, held=False)
    assert not drives.panel.unlocked
    assert not drives.panel._say.isActive()


def test_another_manner_lets_a_return_be(drives: Drives, qtbot: QtBot) -> None:
    spring(drives, qtbot)
    drives.unlock()
    qtbot.mouseRelease(drives.hold(200, 0), LEFT)
    qtbot.keyClick(drives.panel.manner.manner, Qt.Key.Key_Up)
    assert drives.orders[-1] == Drive(REST, held=False)
    assert drives.panel.unlocked


@pytest.mark.parametrize("place", range(len(RANGES_DEG)))
def test_a_range_is_chosen(drives: Drives, qtbot: QtBot, place: int) -> None:
    spring(drives, qtbot)
    box = drives.panel.manner.range
    assert [box.itemText(at) for at in range(box.count())] == ["30 °", "45 °", "90 °", "180 °"]
    box.setCurrentIndex(place)
    box.activated.emit(place)
    drives.unlock()
    drives.hold()
    assert drives.orders[-1].range_deg == RANGES_DEG[place]


@pytest.mark.parametrize(
    ("text", "range_deg"), [("60", 60.0), ("12,5 °", 12.5), ("77.5 deg", 77.5), ("240 degrees", 240.0)]
)
def test_a_range_is_typed(drives: Drives, qtbot: QtBot, text: str, range_deg: float) -> None:
    spring(drives, qtbot)
    line = drives.panel.manner.range.lineEdit()
    assert line is not None
    line.selectAll()
    qtbot.keyClicks(line, text)
    qtbot.keyClick(line, Qt.Key.Key_Return)
    drives.unlock()
    drives.hold()
    assert drives.orders[-1].range_deg == range_deg
    assert f"±{range_deg / 2:g} °" in drives.panel._labels[0].text()


@pytest.mark.parametrize("text", ["wide", "0", "-30", "nan", "inf", ""])
def test_what_is_no_range_is_said_and_the_one_before_stays(drives: Drives, qtbot: QtBot, text: str) -> None:
    spring(drives, qtbot)
    line = drives.panel.manner.range.lineEdit()
    assert line is not None
    line.selectAll()
    qtbot.keyClick(line, Qt.Key.Key_Delete)
    qtbot.keyClicks(line, text)
    qtbot.keyClick(line, Qt.Key.Key_Return)
    assert drives.panel.manner.range_deg == 90.0
    assert line.text() == "90 °"
    assert "Not taken: " in drives.panel.words.text()
    line.setText("45")
    qtbot.keyClick(line, Qt.Key.Key_Return)
    assert "Not taken: " not in drives.panel.words.text()
    assert drives.panel.manner.range_deg == 45.0


def test_fine_is_a_fifth_of_the_speed(drives: Drives, qtbot: QtBot) -> None:
    drives.unlock()
    qtbot.keyClick(drives.panel.fastest, Qt.Key.Key_End)
    qtbot.keyClick(drives.panel.manner.fine, Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    drives.hold()
    assert drives.orders[-1].top == Handling().fine == 0.2


def test_each_pad_says_how_far_it_swings_or_that_it_is_under_rate_control(drives: Drives, qtbot: QtBot) -> None:
    desk = drives.bench.desk
    own = Handling(sticks=(Stick(control="right x", axis="slide", range=200.0),))
    desk.edit("a range for the slide", replace(desk.project, hands=(own,)))
    assert [one.text() for one in drives.panel._labels] == ["pan and tilt", "roll", "slide", "focus"]
    spring(drives, qtbot)
    words = [one.text() for one in drives.panel._labels]
    assert words == ["pan and tilt, ±45 °", "roll, ±45 °", "slide, ±100 mm", "focus, rate"]


def perform(drives: Drives, *axes: str, phase: str = "running", **more: object) -> None:
    bench = drives.bench
    bench.link.choose(replace(bench.link.choice, by_hand=axes, record=False))
    bench.ready()
    bench.phase(phase, **more)


def test_the_pads_perform_only_the_axes_that_are_armed_for_it(drives: Drives, qtbot: QtBot) -> None:
    perform(drives, "tilt", phase="ready", punched=True)
    assert "perform tilt" in drives.panel.words.text()
    drives.unlock()
    assert [pad.isEnabled() for pad in drives.panel.pads] == [True, False, False, False]
    assert "while the move runs and you are punched in" in drives.panel.words.text()
    pad = drives.pan_and_tilt
    qtbot.mousePress(pad, LEFT)
    drives.pull(pad, 200, 200)
    assert drives.orders == []
    assert drives.panel.unlocked
    drives.bench.phase("running", punched=True)
    drives.panel.tell()
    assert drives.orders[-1] == Drive((0.0, 1.0, 0.0, 0.0, 0.0), top=0.1)
    drives.bench.phase("running", punched=False)
    told = len(drives.orders)
    drives.panel.tell()
    assert len(drives.orders) == told
    assert drives.panel.unlocked


@pytest.mark.parametrize("phase", ["finished", "stopping", "idle"])
def test_it_locks_when_the_performance_is_over(drives: Drives, qtbot: QtBot, phase: str) -> None:
    perform(drives, "tilt", punched=True)
    drives.unlock()
    pad = drives.pan_and_tilt
    qtbot.mousePress(pad, LEFT)
    drives.pull(pad, 0, 200)
    assert drives.orders[-1].parts[1] == 1.0
    drives.bench.phase(phase)
    assert not drives.panel.unlocked
    assert not pad.held
    assert drives.silent()


def test_what_was_unlocked_to_drive_does_not_perform(drives: Drives) -> None:
    drives.unlock()
    bench = drives.bench
    bench.link.choose(replace(bench.link.choice, by_hand=("pan",), record=False))
    bench.link.arm()
    bench.phase("locating")
    assert not drives.panel.unlocked


def test_the_page_punches_in_and_out_while_axes_are_performed(drives: Drives, qtbot: QtBot) -> None:
    drives.bench.connect()
    assert not drives.panel.punch.isVisible()
    drives.bench.link.leave()
    drives.bench.go()
    perform(drives, "pan", punched=False)
    assert drives.panel.punch.text() == "Punch in"
    qtbot.keyClick(drives.panel.punch, Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    drives.bench.phase("running", punched=True)
    assert drives.panel.punch.text() == "Punch out"
    qtbot.keyClick(drives.panel.punch, Qt.Key.Key_Space)
    qtbot.mouseClick(drives.panel.punch, LEFT)
    assert [one for one in drives.bench.crew.told if isinstance(one, Punch)] == [Punch(True), Punch(False)]


@pytest.mark.parametrize("width", [620, 720, 940, 1200])
def test_no_word_of_how_it_drives_is_cut(drives: Drives, qtbot: QtBot, width: int) -> None:
    perform(drives, "tilt", phase="ready")
    drives.unlock()
    spring(drives, qtbot)
    drives.window.resize(width, 600)
    QApplication.processEvents()
    manner, panel = drives.panel.manner, drives.panel
    for one in (manner.fastest, manner.manner, manner.range, panel.relock, panel.punch):
        assert one.isVisible()
        assert one.width() >= one.minimumSizeHint().width()
        assert panel.rect().contains(one.mapTo(panel, one.rect().bottomRight()))
    for box in (manner.fastest, manner.manner):
        widest = max(box.fontMetrics().horizontalAdvance(box.itemText(at)) for at in range(box.count()))
        assert box.width() >= widest + 24, "the arrow beside it"


def test_how_far_an_axis_springs_is_said_as_the_engine_has_it(drives: Drives, qtbot: QtBot) -> None:
    desk = drives.bench.desk
    places = [pad.driven.across for pad in drives.panel.pads]
    slide = drives.panel._labels[places.index(3)]

    def ranged(range_mm: float) -> None:
        hands = (Handling(sticks=(Stick(control="left x", axis="slide", range=range_mm),)),)
        desk.edit("a range", replace(desk.project, hands=hands))

    ranged(100.0)
    drives.bench.connect()
    spring(drives, qtbot)
    assert slide.text() == "slide, ±50 mm"
    ranged(600.0)
    assert slide.text() == "slide, ±50 mm", "what is connected swings so"
    drives.bench.link.leave()
    assert slide.text() == "slide, ±300 mm"


def test_another_range_ends_a_return_that_was_begun_in_the_one_before(drives: Drives, qtbot: QtBot) -> None:
    spring(drives, qtbot)
    drives.unlock()
    pad = drives.hold(200, 0)
    qtbot.mouseRelease(pad, LEFT)
    drives.panel.manner.range.activated.emit(RANGES_DEG.index(180.0))
    assert drives.orders[-1] == Drive(REST, held=False)
    assert not drives.panel._say.isActive()
