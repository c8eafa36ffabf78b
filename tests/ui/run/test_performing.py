"""Axes by hand: chosen in the form, refused in words, and punched in and out by hand or by pad, never started by it."""

from dataclasses import replace

import pytest
from PyQt6.QtCore import QPoint, QRect, Qt
from PyQt6.QtGui import QFontMetrics
from PyQt6.QtWidgets import QApplication, QCheckBox
from pytestqt.qtbot import QtBot

from sequencer.live.handling import Deed
from sequencer.score.move import Move
from sequencer.shell.messages import Arm, Drive, Pressed, Punch, Said, Start, TakeHands
from tests.ui.link.fakes import Bench
from ui.run.by_hand import unperformed
from ui.run.form import Form
from ui.run.panel import RunPanel
from ui.run.plate import bold
from ui.theme import BIG_TARGET_PX, STATE_PX

CONTROL = Qt.KeyboardModifier.ControlModifier
LEFT = Qt.MouseButton.LeftButton


@pytest.fixture(autouse=True)
def _no_ports(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Form, "look_for_ports", lambda form: None)


@pytest.fixture
def panel(bench: Bench, qtbot: QtBot) -> RunPanel:
    one = RunPanel(bench.desk, bench.link)
    qtbot.addWidget(one)
    one.resize(900, 620)
    one.show()
    return one


def tick(panel: RunPanel, qtbot: QtBot, axis: str) -> None:
    qtbot.keyClick(panel.form.by_hand.ticks[axis], Qt.Key.Key_Return, CONTROL)


def told(bench: Bench, *kinds: type) -> list[object]:
    return [one for one in bench.crew.told if isinstance(one, kinds)]


def perform(bench: Bench, *axes: str, phase: str = "ready", **more: object) -> None:
    """Arm with these axes by hand, up to a phase."""
    bench.link.choose(replace(bench.link.choice, by_hand=axes, record=False))
    bench.connect()
    bench.link.arm()
    bench.phase("locating")
    bench.phase(phase, **more)


def test_a_tick_for_each_axis_chooses_what_hands_perform(panel: RunPanel, bench: Bench, qtbot: QtBot) -> None:
    by_hand = panel.form.by_hand
    assert tuple(by_hand.ticks) == bench.desk.project.rig.names
    assert not by_hand.since.isVisible()
    tick(panel, qtbot, "tilt")
    tick(panel, qtbot, "pan")
    assert bench.link.choice.by_hand == ("pan", "tilt")  # in the rig's order
    assert by_hand.since.isVisible()
    assert not bench.link.choice.punch_in
    qtbot.keyClick(by_hand.since, Qt.Key.Key_Down)
    assert bench.link.choice.punch_in
    tick(panel, qtbot, "tilt")
    tick(panel, qtbot, "pan")
    assert bench.link.choice.by_hand == ()
    assert not by_hand.since.isVisible()


def test_a_performance_is_recorded_unless_the_operator_says_otherwise(
    panel: RunPanel, bench: Bench, qtbot: QtBot
) -> None:
    assert not bench.link.choice.record
    tick(panel, qtbot, "pan")
    assert bench.link.choice.record
    assert panel.form.record.isChecked()
    assert panel.form.by_hand.words.text() == ""
    qtbot.keyClick(panel.form.record, Qt.Key.Key_Return, CONTROL)
    tick(panel, qtbot, "tilt")
    assert not bench.link.choice.record  # what was said stays
    assert panel.form.by_hand.words.text() == "Nothing of it is kept: record a take, and keys can be made of it."


def test_without_a_cue_nothing_can_be_kept(panel: RunPanel, bench: Bench, qtbot: QtBot) -> None:
    bench.link.choose(replace(bench.link.choice, cue=None))
    tick(panel, qtbot, "pan")
    assert not bench.link.choice.record
    assert "choose a cue" in panel.form.by_hand.words.text()


@pytest.mark.parametrize(
    ("what", "words"),
    [({"late": "join"}, "cannot be joined in mid-move"), ({"remote": True}, "triggers may not choose")],
)
def test_what_cannot_go_together_is_said_and_not_armed(
    panel: RunPanel, bench: Bench, what: dict[str, object], words: str
) -> None:
    bench.connect()
    bench.link.choose(replace(bench.link.choice, by_hand=("pan",), record=False))
    assert panel.arm.isEnabled()
    bench.link.choose(replace(bench.link.choice, **what))  # type: ignore[arg-type]  # of many types
    assert panel.form.by_hand.words.text().startswith("Not to be armed so: ")
    assert words in panel.form.by_hand.words.text()
    assert not panel.arm.isEnabled()
    assert panel.next.text().startswith("Not to be armed: ")
    assert words in panel.next.text()
    bench.link.choose(replace(bench.link.choice, by_hand=()))
    assert panel.arm.isEnabled()
    assert panel.form.by_hand.words.text() == ""


def test_an_axis_without_keys_has_nothing_to_play_before_a_punch_in(panel: RunPanel, bench: Bench) -> None:
    project = bench.desk.project
    bare = replace(project, move=Move(tracks=project.move.tracks[1:], cues=project.move.cues))
    name = project.move.tracks[0].axis
    choice = replace(bench.link.choice, by_hand=(name,), punch_in=True)
    assert unperformed(choice, project) == ""
    assert unperformed(choice, bare).startswith(f"there is nothing to play on {name} before the punch in")
    assert unperformed(replace(choice, punch_in=False), bare) == ""
    bench.connect()
    bench.link.choose(choice)
    assert panel.arm.isEnabled()
    bench.desk.edit("no keys", bare)
    assert not panel.arm.isEnabled()


def test_what_is_chosen_is_what_is_armed(bench: Bench, panel: RunPanel) -> None:
    bench.link.choose(replace(bench.link.choice, punch_in=True))
    perform(bench, "pan", "focus")
    (order,) = told(bench, Arm)
    assert isinstance(order, Arm)
    assert (order.by_hand, order.punched) == (("pan", "focus"), False)
    assert not panel.form.by_hand.ticks["pan"].isEnabled()


def test_controllers_are_taken_in_hand_when_it_is_ready_and_given_back_at_the_end(
    panel: RunPanel, bench: Bench
) -> None:
    perform(bench, "pan", phase="locating")
    assert told(bench, TakeHands) == []
    bench.phase("ready")
    bench.phase("running", hands=True)
    assert told(bench, TakeHands) == [TakeHands(True)]
    bench.phase("finished")
    bench.go()
    assert told(bench, TakeHands) == [TakeHands(True), TakeHands(False)]


@pytest.mark.parametrize("phase", ["stopping", "stopped"])
def test_a_stop_gives_the_controllers_back(panel: RunPanel, bench: Bench, phase: str) -> None:
    perform(bench, "pan", phase="running", hands=True)
    bench.phase(phase)
    assert told(bench, TakeHands) == [TakeHands(True), TakeHands(False)]


def test_where_nothing_is_performed_controllers_are_left_alone(panel: RunPanel, bench: Bench) -> None:
    perform(bench)
    bench.phase("running")
    bench.phase("finished")
    assert told(bench, TakeHands) == []
    assert not panel.punch.isVisible()


def test_a_press_punches_in_and_out_and_says_so(panel: RunPanel, bench: Bench, qtbot: QtBot) -> None:
    bench.link.choose(replace(bench.link.choice, punch_in=True))
    assert not panel.punch.isVisible()
    perform(bench, "pan", "tilt", phase="running", hands=True)
    assert panel.punch.isVisible()
    assert not panel.arm.isVisible()
    assert not panel.start.isVisible()
    assert panel.punch.words == ("OUT", "pan, tilt on the timeline", "press to punch in")
    qtbot.mousePress(panel.punch, LEFT)
    assert told(bench, Punch) == [Punch(True)]
    bench.phase("running", punched=True)
    assert panel.punch.accessibleName() == "Punched IN: hands have pan, tilt"
    qtbot.keyClick(panel.punch, Qt.Key.Key_Return, CONTROL)
    assert told(bench, Punch) == [Punch(True), Punch(False)]
    for key in (Qt.Key.Key_Space, Qt.Key.Key_Return, Qt.Key.Key_Enter):
        qtbot.keyClick(panel.punch, key)
    assert len(told(bench, Punch)) == 2
    assert told(bench, Start, Drive) == []


def test_a_pad_punches_as_well(panel: RunPanel, bench: Bench) -> None:
    perform(bench, "pan", phase="running", punched=True, hands=True)
    bench.crew.says.append(Pressed(Deed.PUNCH, 0))
    bench.go()
    assert told(bench, Punch) == [Punch(False)]
    bench.crew.says.append(Pressed(Deed.STORE, 0))
    bench.go()
    assert len(told(bench, Punch)) == 1


def test_it_is_said_where_no_controller_is_in_hand(panel: RunPanel, bench: Bench) -> None:
    perform(bench, "pan", phase="running")
    assert panel.punch.words[2] == "press to punch in; controllers not in hand"


def test_the_keyboard_goes_from_the_start_to_the_punch(panel: RunPanel, bench: Bench, qtbot: QtBot) -> None:
    perform(bench, "pan", hands=True)
    panel.activateWindow()
    panel.start.setFocus()
    qtbot.waitUntil(panel.start.hasFocus)
    bench.phase("running")
    assert panel.punch.hasFocus()


@pytest.mark.parametrize("size", [(580, 280), (580, 460), (900, 560)])
def test_the_punch_can_be_hit_in_every_share_of_a_window(panel: RunPanel, bench: Bench, size: tuple[int, int]) -> None:
    bench.desk.turn_to("run")
    panel.resize(*size)
    for phase in ("ready", "running"):
        perform(bench, "pan", "tilt", phase=phase)
        QApplication.processEvents()
        place = panel.punch.geometry()
        assert panel.rect().contains(place)
        assert place.height() >= BIG_TARGET_PX
        others = (panel.start, panel.count, panel.connecting, panel.log)
        assert not any(one.isVisible() and one.geometry().intersects(place) for one in others)
        bench.phase("idle")
        bench.link.leave()
        bench.link.open()


def test_letters_that_matter_are_large(panel: RunPanel, bench: Bench) -> None:
    bench.desk.turn_to("run")
    panel.resize(900, 760)
    QApplication.processEvents()
    for one in panel.form.by_hand.findChildren(QCheckBox):
        assert one.font().pixelSize() >= STATE_PX or one.fontInfo().pixelSize() >= STATE_PX
        assert one.height() >= 44


@pytest.mark.parametrize("phase", ["ready", "running"])
def test_where_there_is_little_room_no_word_on_the_punch_and_the_start_is_cut(
    bench: Bench, qtbot: QtBot, phase: str
) -> None:
    bench.desk.turn_to("run")
    panel = RunPanel(bench.desk, bench.link)
    qtbot.addWidget(panel)
    panel.resize(544, 196)
    panel.show()
    perform(bench, "tilt", phase=phase, hands=True)
    QApplication.processEvents()
    state = panel.punch.words[0]
    # the brackets, the word, and what is around them
    assert QFontMetrics(bold(panel.punch, 30)).horizontalAdvance(state) <= panel.punch.width() - 70
    assert panel.punch.height() >= 44
    shown = [one for one in (panel.punch, panel.start, panel.count, panel.resetting) if one.isVisible()]
    assert len(shown) == (4 if phase == "ready" else 2)
    for one in shown:
        assert panel.rect().contains(QRect(one.mapTo(panel, QPoint()), one.size())), one.accessibleName()
    if phase == "ready":
        letters = QFontMetrics(bold(panel.start, STATE_PX - 2))
        assert letters.horizontalAdvance(panel.start._words) <= panel.start.width() - 16
    bench.phase("idle")


def test_the_log_says_what_was_punched(panel: RunPanel, bench: Bench) -> None:
    perform(bench, "tilt", phase="running")
    bench.crew.says.append(Said(bench.clock.ns, "punch", "in"))
    bench.go()
    assert panel.log.toPlainText().splitlines()[-1].endswith("  punched in")
