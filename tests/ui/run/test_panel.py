"""The run panel: two acts lead to motion, never one; and what is chosen is what is armed."""

from dataclasses import replace
from fractions import Fraction

import pytest
from PyQt6.QtCore import QPoint, QRect, Qt
from PyQt6.QtWidgets import QApplication, QComboBox, QHBoxLayout, QVBoxLayout, QWidget
from pytestqt.qtbot import QtBot

from sequencer.score.marks import Mark
from sequencer.shell.messages import Arm, Drive, Go, Start, TakeHands
from tests.ui.link.fakes import Bench
from ui.acts.poses import Poses
from ui.desk import Note
from ui.run.column import RigColumn
from ui.run.drive import DrivePanel
from ui.run.form import TYPED, Form
from ui.run.going import GoPanel
from ui.run.hold import Hold
from ui.run.panel import RunPanel
from ui.run.strip import Strip
from ui.theme import BIG_TARGET_PX, SUN

CONTROL = Qt.KeyboardModifier.ControlModifier


@pytest.fixture(autouse=True)
def _no_ports(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Form, "look_for_ports", lambda form: None)


class Whole:
    """Strip, column, panel and pads in one window."""

    def __init__(self, bench: Bench, qtbot: QtBot) -> None:
        self.bench, self.qtbot = bench, qtbot
        self.window = QWidget()
        self.strip = Strip(bench.desk, bench.link)
        self.panel = RunPanel(bench.desk, bench.link)
        self.column = RigColumn(bench.desk, bench.link)
        self.drive = DrivePanel(bench.desk, bench.link)
        for hold in (self.panel.arm, self.panel.start, self.drive.unlock):
            hold._now_ns = bench.clock
        whole, below = QVBoxLayout(self.window), QHBoxLayout()
        whole.addWidget(self.strip)
        whole.addLayout(below)
        below.addWidget(self.column)
        below.addWidget(self.panel, 1)
        below.addWidget(self.drive)
        qtbot.addWidget(self.window)
        self.window.resize(1280, 720)
        self.window.show()

    def hold(self, hold: Hold, s: float = 0.9) -> None:
        self.qtbot.mousePress(hold, Qt.MouseButton.LeftButton)
        for _ in range(round(s / 0.05)):
            self.bench.clock.go(0.05)
            hold.tick()
        self.qtbot.mouseRelease(hold, Qt.MouseButton.LeftButton)


@pytest.fixture
def whole(bench: Bench, qtbot: QtBot) -> Whole:
    return Whole(bench, qtbot)


def moving(bench: Bench) -> list[object]:
    told = [one for crew in bench.crews for one in crew.told]
    return [one for one in told if isinstance(one, Arm | Start | Drive | Go) or one == TakeHands(True)]


def activations(qtbot: QtBot, widget: QWidget) -> None:
    left = Qt.MouseButton.LeftButton
    qtbot.mouseClick(widget, left)
    qtbot.mouseDClick(widget, left)
    for key in (Qt.Key.Key_Space, Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_Down, Qt.Key.Key_Right):
        qtbot.keyClick(widget, key)
    qtbot.keyClick(widget, Qt.Key.Key_Return, CONTROL)


@pytest.mark.parametrize("stand", ["offline", "idle", "ready"])
def test_no_single_activation_of_any_widget_moves_anything(bench: Bench, qtbot: QtBot, stand: str) -> None:
    desk = bench.desk
    marks = (Mark("doorway", (("pan", -20.0),)), Mark("window", (("pan", 35.0),)))
    desk.open(replace(desk.project, marks=marks), desk.folder)
    first = Whole(bench, qtbot)
    poses = Poses(desk, bench.link)
    poses.choose(("doorway",), "doorway")
    whole = first.window.layout()
    assert whole is not None
    whole.addWidget(GoPanel(poses))
    if stand != "offline":
        bench.connect()
    number = len(first.window.findChildren(QWidget))
    assert number > 60
    seen = set()
    for place in range(number):
        widgets = first.window.findChildren(QWidget)
        if place >= len(widgets):
            break
        widget = widgets[place]
        if not widget.isVisible():
            continue
        if stand == "ready":
            bench.phase("ready")
        before = len(moving(bench))
        seen.add(type(widget).__name__)
        activations(qtbot, widget)
        assert len(moving(bench)) == before, widget.accessibleName()
        while (popup := QApplication.activePopupWidget()) is not None:
            popup.close()
        bench.link.countdown.call_off()
        if stand == "offline":
            bench.link.leave()
        elif not bench.link.connected:
            bench.link.reset()
            bench.link.open()
        if bench.crews:
            bench.phase("idle")
    assert {"StopControl", "Hold", "Pad", "QPushButton", "QCheckBox", "QComboBox", "QListWidget"} <= seen


def test_held_and_held_again_it_arms_and_starts(whole: Whole, qtbot: QtBot) -> None:
    qtbot.mouseClick(whole.panel.connecting, Qt.MouseButton.LeftButton)
    whole.bench.go()
    assert whole.panel.arm.isEnabled()
    whole.hold(whole.panel.arm)
    assert [type(one) for one in moving(whole.bench)] == [Arm]
    whole.bench.phase("locating")
    whole.hold(whole.panel.start)
    whole.bench.phase("ready")
    assert [type(one) for one in moving(whole.bench)] == [Arm]
    whole.hold(whole.panel.start)
    assert [type(one) for one in moving(whole.bench)] == [Arm, Start]


def test_a_counted_start_shows_its_numbers_and_starts_at_zero(whole: Whole, qtbot: QtBot) -> None:
    whole.bench.ready()
    qtbot.mouseClick(whole.panel.count, Qt.MouseButton.LeftButton)
    assert whole.panel.number.text() == "3"
    assert whole.strip.countdown.value == "3"
    shown = []
    for _ in range(31):
        whole.bench.clock.go(0.1)
        whole.bench.link.countdown.tick()
        shown.append(whole.panel.number.text())
    assert list(dict.fromkeys(shown)) == ["3", "2", "1", ""]
    assert [type(one) for one in moving(whole.bench)] == [Arm, Start]


def test_stop_ends_a_countdown(whole: Whole, qtbot: QtBot) -> None:
    whole.bench.ready()
    qtbot.mouseClick(whole.panel.count, Qt.MouseButton.LeftButton)
    qtbot.mousePress(whole.strip.stop, Qt.MouseButton.LeftButton)
    assert whole.bench.crew.stops == 1
    assert not whole.bench.link.countdown.counting


def test_the_click_that_calls_off_does_not_begin_again(whole: Whole, qtbot: QtBot) -> None:
    whole.bench.ready()
    whole.bench.link.countdown.begin()
    qtbot.mouseClick(whole.panel.count, Qt.MouseButton.LeftButton)
    assert not whole.bench.link.countdown.counting


def test_with_a_master_elsewhere_there_is_nothing_to_start_by_hand(whole: Whole, qtbot: QtBot) -> None:
    whole.bench.connect()
    pick(qtbot, whole.panel.form.clock, "mtc")
    assert not whole.panel.start.isVisible()
    assert not whole.panel.count.isVisible()
    assert whole.panel.form.inlet.isVisible()
    assert whole.bench.link.choice.clock == "mtc"


def pick(qtbot: QtBot, box: QComboBox, data: object) -> None:
    """Choose an item by the keyboard, as an operator would."""
    wanted = next(number for number in range(box.count()) if box.itemData(number) == data)
    qtbot.keyClick(box, Qt.Key.Key_Home)
    for _ in range(wanted):
        qtbot.keyClick(box, Qt.Key.Key_Down)


def test_what_happens_next_is_said_of_timecode_that_is_past_or_missing_and_of_an_unknown_state(whole: Whole) -> None:
    said = whole.panel.next
    whole.bench.ready()
    start = whole.bench.desk.project.move.cues[0].start
    start_s = float(whole.bench.desk.project.timebase.rate.seconds(start))
    whole.bench.phase("ready", lock="locked", timeline_s=start_s + 1.0)
    assert said.text() == "Roll timecode back to before the start of the cue."
    whole.bench.phase("freewheeling", lock="freewheel")
    assert said.text() == "It stops if timecode does not come back."
    whole.bench.phase("dancing")
    assert said.text() == "Stop, and connect again."


def test_what_is_chosen_is_what_is_armed(whole: Whole, qtbot: QtBot) -> None:
    form = whole.panel.form
    pick(qtbot, form.speed, Fraction(1, 4))
    pick(qtbot, form.cue, None)
    whole.bench.connect()
    whole.hold(whole.panel.arm)
    (order,) = moving(whole.bench)
    assert isinstance(order, Arm)
    assert (order.cue, order.speed, order.take) == (None, "1/4", None)
    assert whole.strip.speed.value == "25%"
    assert not form.speed.isEnabled()


def test_a_real_rig_shows_its_caution_and_wants_a_tick(whole: Whole, qtbot: QtBot) -> None:
    pick(qtbot, whole.panel.form.rig, TYPED)
    whole.bench.connect()
    assert whole.panel.caution.isVisible()
    assert "hard-wired emergency stop" in whole.panel.caution.text()
    assert not whole.panel.arm.isEnabled()
    assert "people are clear" in whole.panel.next.text()
    qtbot.keyClick(whole.panel.clear, Qt.Key.Key_Space)
    assert not whole.bench.link.cleared
    qtbot.keyClick(whole.panel.clear, Qt.Key.Key_Return, CONTROL)
    assert whole.bench.link.cleared
    assert whole.panel.arm.isEnabled()
    assert "REAL" in whole.strip.rig.value


def test_a_reset_follows_a_stop(whole: Whole, qtbot: QtBot) -> None:
    whole.bench.ready()
    qtbot.mousePress(whole.strip.stop, Qt.MouseButton.LeftButton)
    whole.bench.phase("stopped", cause="the operator pressed stop")
    assert not whole.panel.arm.isEnabled()
    qtbot.mouseClick(whole.panel.resetting, Qt.MouseButton.LeftButton)
    whole.bench.phase("idle")
    assert whole.panel.arm.isEnabled()


def test_what_was_said_is_kept_with_its_time(whole: Whole, qtbot: QtBot) -> None:
    whole.bench.link.arm()
    line = whole.panel.log.toPlainText().splitlines()[-1]
    time, _, words = line.partition("  ")
    assert words == "connect a rig first"
    assert [len(part) for part in time.split(":")] == [2, 2, 2]


def test_targets_are_large_in_the_face_for_running(whole: Whole, qtbot: QtBot) -> None:
    whole.bench.desk.turn_to("run")
    whole.bench.desk.dress(SUN)
    whole.window.resize(1280, 900)
    QApplication.processEvents()
    for widget in (whole.panel.connecting, whole.panel.arm, whole.panel.start, whole.panel.count):
        assert widget.height() >= BIG_TARGET_PX - 2, widget.accessibleName()


@pytest.mark.parametrize("size", [(580, 280), (580, 460), (900, 560)])
def test_what_is_held_can_be_read_and_hit_in_every_share_of_a_window(
    bench: Bench, qtbot: QtBot, size: tuple[int, int]
) -> None:
    bench.desk.turn_to("run")
    panel = RunPanel(bench.desk, bench.link)
    qtbot.addWidget(panel)
    bench.link.choose(replace(bench.link.choice, rig="osc://127.0.0.1:9000"))
    panel.resize(*size)
    panel.show()
    bench.connect()
    QApplication.processEvents()
    shown = [panel.next, panel.connecting, panel.resetting, panel.clear, panel.arm, panel.start, panel.count, panel.log]
    places = [QRect(one.mapTo(panel, QPoint()), one.size()) for one in shown]
    for one, place in zip(shown, places, strict=True):
        assert panel.rect().contains(place), one.accessibleName()
        assert place.height() >= (44 if isinstance(one, Hold) else 24), one.accessibleName()
        assert not any(place.intersects(other) for other in places if other is not place), one.accessibleName()


def test_ports_are_listed_for_the_clock_that_takes_them(
    bench: Bench, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[Form] = []

    def ask(one: Form) -> None:
        asked.append(one)

    monkeypatch.setattr(Form, "look_for_ports", ask)
    form = Form(bench.desk, bench.link)
    qtbot.addWidget(form)
    pick(qtbot, form.clock, "music")
    assert not asked
    pick(qtbot, form.clock, "ltc")
    assert asked == [form, form]  # on the way past MTC, too
    form._found({"midi": ("midi:quay", "midi:lamp"), "ltc": ("ltc:card",)})
    pick(qtbot, form.clock, "ltc")
    assert [form.inlet.itemText(number) for number in range(form.inlet.count())] == ["ltc:card"]
    pick(qtbot, form.clock, "mtc")
    qtbot.keyClicks(form.inlet.lineEdit(), "midi:lamp")
    qtbot.keyClick(form.inlet.lineEdit(), Qt.Key.Key_Return)
    assert bench.link.choice.inlet == "midi:lamp"


def test_a_port_that_would_hear_everybody_is_refused_beside_its_row(bench: Bench, qtbot: QtBot) -> None:
    form = Form(bench.desk, bench.link, find=dict)
    qtbot.addWidget(form)
    form.show()
    pick(qtbot, form.clock, "osc")
    assert not form.inlet_refused.isVisible()
    form.inlet.setEditText("osc:0.0.0.0:9001")
    qtbot.keyClick(form.inlet.lineEdit(), Qt.Key.Key_Return)
    assert form.inlet_refused.isVisible()
    assert form.inlet_refused.text().startswith("Not to be connected: 'osc:0.0.0.0:9001' would listen to every network")
    form.inlet.setEditText("osc:9002")
    qtbot.keyClick(form.inlet.lineEdit(), Qt.Key.Key_Return)
    assert bench.link.choice.inlet == "osc:9002"
    assert not form.inlet_refused.isVisible()
    pick(qtbot, form.clock, "own")
    assert not form.inlet_refused.isVisible()


def test_every_control_has_a_name_to_be_spoken(whole: Whole, qtbot: QtBot) -> None:
    for widget in whole.window.findChildren(QWidget):
        inner = widget.objectName().startswith("qt_") or isinstance(widget.parent(), QComboBox)
        if widget.focusPolicy() != Qt.FocusPolicy.NoFocus and not inner and widget.isVisible():
            assert widget.accessibleName(), widget


def test_ports_that_cannot_be_listed_are_said(bench: Bench, qtbot: QtBot) -> None:
    notes: list[Note] = []
    bench.desk.noted.connect(notes.append)
    form = Form(bench.desk, bench.link)
    qtbot.addWidget(form)
    form._found(OSError("no sound server"))
    assert "no sound server" in notes[-1].words
