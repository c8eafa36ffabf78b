"""The timeline by keyboard alone: real key presses on the real widget, each with the document that results."""

from fractions import Fraction

import pytest
from PyQt6.QtCore import Qt
from pytestqt.qtbot import QtBot

from ui.desk import Desk, Note
from ui.timeline.hands import Hands
from ui.timeline.keyboard import ACTS, act_for
from ui.timeline.view import Timeline

from .test_hands import ALT, CTRL, NONE, SHIFT, key_of

K = Qt.Key


def test_arrows_go_from_key_to_key_and_from_lane_to_lane(desk: Desk, timeline: Timeline, qtbot: QtBot) -> None:
    timeline.chosen_axis = "pan"
    desk.select({"pan": {1}})
    qtbot.keyClick(timeline, K.Key_Right)
    assert desk.selection == {"pan": {2}}
    qtbot.keyClick(timeline, K.Key_Left, SHIFT)
    assert desk.selection == {"pan": {1, 2}}
    qtbot.keyClick(timeline, K.Key_Left)
    assert desk.selection == {"pan": {0}}
    qtbot.keyClick(timeline, K.Key_Left)
    assert desk.selection == {"pan": {0}}
    qtbot.keyClick(timeline, K.Key_Down)
    assert timeline.chosen_axis == "tilt"
    assert desk.selection == {"tilt": {0}}
    qtbot.keyClick(timeline, K.Key_Up, SHIFT)
    assert timeline.chosen_axis == "pan"
    assert desk.selection == {"pan": {0}, "tilt": {0}}


@pytest.mark.parametrize(
    ("key", "held", "frames", "value"),
    [
        (K.Key_Right, CTRL, Fraction(1), 0.0),
        (K.Key_Left, CTRL, Fraction(-1), 0.0),
        (K.Key_Right, CTRL | SHIFT, Fraction(10), 0.0),
        (K.Key_Left, CTRL | ALT, Fraction(-1, 10), 0.0),
        (K.Key_Up, CTRL, Fraction(0), 1.0),
        (K.Key_Down, CTRL | SHIFT, Fraction(0), -10.0),
        (K.Key_Up, CTRL | ALT, Fraction(0), 0.1),
    ],
)
def test_nudges_are_one_step_however_often(
    desk: Desk, timeline: Timeline, qtbot: QtBot, key: Qt.Key, held: Qt.KeyboardModifier, frames: Fraction, value: float
) -> None:
    first, (at, stands) = desk.project, key_of(desk, "tilt", 1)
    desk.select({"tilt": {1}})
    qtbot.keyClick(timeline, key, held)
    moved, now = key_of(desk, "tilt", 1)
    assert moved == at + frames
    assert now == pytest.approx(stands + value)
    qtbot.keyClick(timeline, key, held)
    assert len(desk.history.past) == 1
    desk.undo()
    assert desk.project == first


def test_nudges_stop_beside_a_neighbour_and_at_the_end_of_travel(desk: Desk, timeline: Timeline, qtbot: QtBot) -> None:
    notes: list[Note] = []
    desk.noted.connect(notes.append)
    desk.select({"tilt": {1}})
    following, _ = key_of(desk, "tilt", 2)
    for _ in range(8):
        qtbot.keyClick(timeline, K.Key_Right, CTRL | SHIFT)
    assert key_of(desk, "tilt", 1)[0] == following - 1
    assert "no room" in notes[-1].words
    travel = desk.project.rig.travels["tilt"]
    assert travel is not None
    for _ in range(30):
        qtbot.keyClick(timeline, K.Key_Up, CTRL | SHIFT)
    assert key_of(desk, "tilt", 1)[1] == travel[1]


def test_the_playhead_goes_by_frames_beats_keys_markers_and_to_the_ends(
    desk: Desk, timeline: Timeline, qtbot: QtBot
) -> None:
    timeline.chosen_axis = "tilt"
    qtbot.keyClick(timeline, K.Key_End)
    end = desk.playhead
    qtbot.keyClick(timeline, K.Key_Home)
    begin = desk.playhead
    assert begin == min(cue.start for cue in desk.project.move.cues)
    assert end == max(cue.end for cue in desk.project.move.cues)
    qtbot.keyClick(timeline, K.Key_Right, ALT)
    assert desk.playhead == begin + 1
    qtbot.keyClick(timeline, K.Key_Left, ALT)
    assert desk.playhead == begin
    tempo, rate = desk.project.tempo, desk.project.timebase.rate
    assert tempo is not None
    qtbot.keyClick(timeline, K.Key_Right, ALT | SHIFT)
    assert tempo.beat(rate.seconds(desk.playhead)).denominator == 1
    assert desk.playhead > begin
    qtbot.keyClick(timeline, K.Key_Home)
    qtbot.keyClick(timeline, K.Key_PageDown, SHIFT)
    assert desk.playhead == key_of(desk, "tilt", 0)[0]
    qtbot.keyClick(timeline, K.Key_PageDown, SHIFT)
    assert desk.playhead == key_of(desk, "tilt", 1)[0]
    qtbot.keyClick(timeline, K.Key_PageUp, SHIFT)
    assert desk.playhead == key_of(desk, "tilt", 0)[0]
    qtbot.keyClick(timeline, K.Key_Home)
    qtbot.keyClick(timeline, K.Key_PageDown, CTRL)
    assert desk.playhead == desk.project.move.markers[0].at
    qtbot.keyClick(timeline, K.Key_PageUp, CTRL)
    assert desk.playhead == begin
    qtbot.keyClick(timeline, K.Key_PageDown)
    assert desk.playhead > begin
    assert not desk.history.past


def test_zooming_by_keyboard(desk: Desk, timeline: Timeline, qtbot: QtBot) -> None:
    begin_s, end_s = desk.span_s
    qtbot.keyClick(timeline, K.Key_Plus, CTRL)
    assert desk.span_s[1] - desk.span_s[0] == pytest.approx((end_s - begin_s) / 1.25)
    qtbot.keyClick(timeline, K.Key_Equal, CTRL)
    qtbot.keyClick(timeline, K.Key_Minus, CTRL)
    assert desk.span_s[1] - desk.span_s[0] == pytest.approx((end_s - begin_s) / 1.25)
    desk.select({"tilt": {1, 2}})
    qtbot.keyClick(timeline, K.Key_9, CTRL)
    rate = desk.project.timebase.rate
    long_s = float(rate.seconds(key_of(desk, "tilt", 2)[0] - key_of(desk, "tilt", 1)[0]))
    assert desk.span_s[1] - desk.span_s[0] == pytest.approx(1.1 * long_s)
    qtbot.keyClick(timeline, K.Key_0, CTRL)
    assert desk.span_s[1] - desk.span_s[0] > long_s
    before_s = desk.span_s
    qtbot.keyClick(timeline, K.Key_PageDown, ALT)
    assert desk.span_s[0] > before_s[0]


def test_a_whole_edit_without_a_mouse_and_undone(desk: Desk, timeline: Timeline, qtbot: QtBot) -> None:
    first = desk.project
    timeline.chosen_axis = "pan"
    qtbot.keyClick(timeline, K.Key_Down)
    qtbot.keyClick(timeline, K.Key_Home)
    qtbot.keyClick(timeline, K.Key_PageDown, SHIFT)
    for _ in range(3):
        qtbot.keyClick(timeline, K.Key_Right, ALT | SHIFT)
    qtbot.keyClick(timeline, K.Key_Insert)  # creates
    track = desk.track("tilt")
    assert track is not None
    assert len(track.keys) == 11
    assert desk.selection == {"tilt": {1}}
    new = track.keys[1]
    assert new.at == desk.playhead
    qtbot.keyClick(timeline, K.Key_Right)  # selects
    qtbot.keyClick(timeline, K.Key_Left)
    qtbot.keyClick(timeline, K.Key_Up, CTRL)  # moves
    qtbot.keyClick(timeline, K.Key_Left, CTRL)  # retimes
    assert key_of(desk, "tilt", 1) == (new.at - 1, new.value + 1)
    qtbot.keyClick(timeline, K.Key_C, CTRL)  # copies
    qtbot.keyClick(timeline, K.Key_Right, ALT | SHIFT)
    qtbot.keyClick(timeline, K.Key_V, CTRL)
    assert key_of(desk, "tilt", 2) == (desk.playhead, new.value + 1)
    assert desk.selection == {"tilt": {2}}
    qtbot.keyClick(timeline, K.Key_Delete)  # deletes
    assert desk.selection == {}
    qtbot.keyClick(timeline, K.Key_A, CTRL)
    assert sum(map(len, desk.selection.values())) == sum(len(each.keys) for each in desk.project.move.tracks)
    qtbot.keyClick(timeline, K.Key_D, CTRL)
    assert desk.selection == {}
    assert len(desk.history.past) == 5
    last = desk.project
    for _ in range(5):
        qtbot.keyClick(timeline, K.Key_Z, CTRL)
    assert desk.project == first
    for _ in range(5):
        qtbot.keyClick(timeline, K.Key_Z, CTRL | SHIFT)
    assert desk.project == last


def test_cut_takes_out_and_paste_puts_back(desk: Desk, timeline: Timeline, qtbot: QtBot) -> None:
    first, (at, _) = desk.project, key_of(desk, "roll", 1)
    desk.select({"roll": {1, 2}})
    qtbot.keyClick(timeline, K.Key_X, CTRL)
    assert desk.history.past[-1].words == "cut 2 keys"
    desk.place(at)
    qtbot.keyClick(timeline, K.Key_V, CTRL)
    assert desk.project.move.tracks == first.move.tracks


def test_enter_asks_for_the_numbers(desk: Desk, timeline: Timeline, qtbot: QtBot) -> None:
    assert isinstance(timeline.hands, Hands)
    with qtbot.waitSignal(timeline.hands.numbers_asked):
        qtbot.keyClick(timeline, K.Key_Return)
    with qtbot.waitSignal(timeline.hands.numbers_asked):
        qtbot.keyClick(timeline, K.Key_Enter, Qt.KeyboardModifier.KeypadModifier)


def test_no_bare_letter_and_no_space_does_anything(desk: Desk, timeline: Timeline, qtbot: QtBot) -> None:
    first, span_s, playhead = desk.project, desk.span_s, desk.playhead
    desk.select({"tilt": {1}})
    for text in "abcdefghijklmnopqrstuvwxyz0123456789.,-+ ":
        qtbot.keyClicks(timeline, text)
    qtbot.keyClick(timeline, K.Key_Escape)
    assert (desk.project, desk.span_s, desk.playhead, desk.selection) == (first, span_s, playhead, {"tilt": {1}})
    assert K.Key_Space not in {key for key, _ in ACTS}
    assert K.Key_Escape not in {key for key, _ in ACTS}
    for key, held in ACTS:
        printable = 0x20 <= key.value <= 0xFF
        assert not printable or held & CTRL


def test_keys_with_the_windows_key_and_unknown_ones_are_left_to_others() -> None:
    assert act_for(K.Key_C.value, CTRL | Qt.KeyboardModifier.MetaModifier) is None
    assert act_for(0x7FFFFFF, NONE) is None


def test_a_key_press_during_a_drag_abandons_it_first(desk: Desk, timeline: Timeline, qtbot: QtBot) -> None:
    assert isinstance(timeline.hands, Hands)
    first = desk.project
    qtbot.mousePress(timeline, Qt.MouseButton.MiddleButton)
    assert timeline.hands.is_busy
    qtbot.keyClick(timeline, K.Key_End)
    assert not timeline.hands.is_busy
    assert desk.project is first


def test_a_locked_desk_refuses_keys_and_says_so_once_each(desk: Desk, timeline: Timeline, qtbot: QtBot) -> None:
    notes: list[Note] = []
    desk.noted.connect(notes.append)
    first = desk.project
    desk.select({"tilt": {1}})
    desk.lock("the rig is armed; disarm it to edit")
    for key, held in (
        (K.Key_Right, CTRL),
        (K.Key_Delete, NONE),
        (K.Key_X, CTRL),
        (K.Key_Insert, NONE),
        (K.Key_Z, CTRL),
    ):
        notes.clear()
        qtbot.keyClick(timeline, key, held)
        assert [note.words for note in notes] == ["the rig is armed; disarm it to edit"]
    assert desk.project is first
