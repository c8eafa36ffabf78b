"""Mouse gestures on the real timeline, each with the document that results: one drag is one step."""

from dataclasses import replace
from fractions import Fraction

import pytest
from PyQt6.QtCore import QEvent, QPoint, QPointF, Qt
from PyQt6.QtGui import QMouseEvent
from PyQt6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from ui.desk import Desk, Note, Snapping
from ui.timeline.view import Timeline

from .conftest import Spot

LEFT = Qt.MouseButton.LeftButton
NONE = Qt.KeyboardModifier.NoModifier
CTRL = Qt.KeyboardModifier.ControlModifier
SHIFT = Qt.KeyboardModifier.ShiftModifier
ALT = Qt.KeyboardModifier.AltModifier


def drag(
    qtbot: QtBot,
    widget: Timeline,
    begin: QPoint,
    by: tuple[int, int],
    held: Qt.KeyboardModifier = NONE,
    button: Qt.MouseButton = LEFT,
    *,
    release: bool = True,
) -> None:
    """Press, move in three steps, and let go."""
    qtbot.mousePress(widget, button, held, begin)
    for part in (0.4, 0.8, 1.0):
        at = begin + QPoint(round(by[0] * part), round(by[1] * part))
        move(widget, at, button, held)
    if release:
        qtbot.mouseRelease(widget, button, held, begin + QPoint(*by))


def move(widget: Timeline, at: QPoint, button: Qt.MouseButton, held: Qt.KeyboardModifier) -> None:
    """Move the pointer with a button and keys held, as the window system tells it."""
    where = QPointF(at)
    event = QMouseEvent(QEvent.Type.MouseMove, where, widget.mapToGlobal(where), Qt.MouseButton.NoButton, button, held)
    QApplication.sendEvent(widget, event)


def key_of(desk: Desk, axis: str, number: int) -> tuple[Fraction, float]:
    track = desk.track(axis)
    assert track is not None
    return track.keys[number].at, track.keys[number].value


@pytest.fixture
def notes(desk: Desk) -> list[Note]:
    said: list[Note] = []
    desk.noted.connect(said.append)
    return said


def test_a_click_chooses_ctrl_adds_and_removes_shift_extends(
    desk: Desk, timeline: Timeline, spot: Spot, qtbot: QtBot
) -> None:
    qtbot.mouseClick(timeline, LEFT, NONE, spot("pan", 1))
    assert desk.selection == {"pan": {1}}
    assert timeline.chosen_axis == "pan"
    qtbot.mouseClick(timeline, LEFT, SHIFT, spot("pan", 4))
    assert desk.selection == {"pan": {1, 2, 3, 4}}
    qtbot.mouseClick(timeline, LEFT, CTRL, spot("pan", 2))
    assert desk.selection == {"pan": {1, 3, 4}}
    qtbot.mouseClick(timeline, LEFT, CTRL, spot("tilt", 1))
    assert desk.selection == {"pan": {1, 3, 4}, "tilt": {1}}
    qtbot.mouseClick(timeline, LEFT, NONE, spot("pan", 3))
    assert desk.selection == {"pan": {3}}
    assert not desk.history.past


def test_a_click_on_the_ground_chooses_nothing_and_the_lane(
    desk: Desk, timeline: Timeline, spot: Spot, qtbot: QtBot
) -> None:
    desk.select({"pan": {1}})
    lane = timeline.layout_now().lane("roll")
    qtbot.mouseClick(timeline, LEFT, NONE, QPoint(round(timeline.layout_now().left_px) + 6, round(lane.end_px) - 3))
    assert desk.selection == {}
    assert timeline.chosen_axis == "roll"


def test_a_drag_moves_a_key_in_time_onto_whole_frames_as_one_step(
    desk: Desk, timeline: Timeline, spot: Spot, qtbot: QtBot
) -> None:
    first, (at, value) = desk.project, key_of(desk, "tilt", 1)
    drag(qtbot, timeline, spot("tilt", 1), (40, 2))
    moved, same = key_of(desk, "tilt", 1)
    expected = at + desk.project.timebase.rate.frames(Fraction(40 / timeline.layout_now().px_a_s))
    assert moved.denominator == 1
    assert abs(moved - expected) <= Fraction(1, 2)
    assert same == value
    assert [step.words for step in desk.history.past] == ["move a key of tilt"]
    desk.undo()
    assert desk.project == first


def test_a_drag_moves_a_key_in_value_and_in_both(desk: Desk, timeline: Timeline, spot: Spot, qtbot: QtBot) -> None:
    lane = timeline.layout_now().lane("tilt")
    at, value = key_of(desk, "tilt", 1)
    drag(qtbot, timeline, spot("tilt", 1), (2, -20))
    same, higher = key_of(desk, "tilt", 1)
    a_px = (lane.high - lane.low) / lane.height_px
    assert same == at
    assert higher == pytest.approx(value + 20 * a_px, abs=a_px)
    drag(qtbot, timeline, spot("tilt", 1), (30, 25))
    later, lower = key_of(desk, "tilt", 1)
    assert later > at
    assert lower < higher
    assert len(desk.history.past) == 2


def test_with_shift_only_the_larger_direction_counts(desk: Desk, timeline: Timeline, spot: Spot, qtbot: QtBot) -> None:
    at, value = key_of(desk, "tilt", 1)
    drag(qtbot, timeline, spot("tilt", 1), (20, 14), SHIFT)
    later, same = key_of(desk, "tilt", 1)
    assert later > at
    assert same == value
    drag(qtbot, timeline, spot("tilt", 1), (14, -20), SHIFT)
    assert key_of(desk, "tilt", 1)[0] == later
    assert key_of(desk, "tilt", 1)[1] > value


@pytest.mark.parametrize("held", [CTRL, ALT])
def test_while_ctrl_or_alt_is_held_nothing_snaps(
    desk: Desk, timeline: Timeline, spot: Spot, qtbot: QtBot, held: Qt.KeyboardModifier
) -> None:
    drag(qtbot, timeline, spot("tilt", 1), (37, 0), held)
    assert key_of(desk, "tilt", 1)[0].denominator > 2
    assert desk.selection == {"tilt": {1}}


def test_keys_snap_onto_beats_markers_and_keys_of_other_axes(
    desk: Desk, timeline: Timeline, spot: Spot, qtbot: QtBot
) -> None:
    tempo, rate = desk.project.tempo, desk.project.timebase.rate
    assert tempo is not None
    desk.look(8.0, 18.0)
    desk.snap_onto(Snapping("beats", Fraction(1, 2)))
    drag(qtbot, timeline, spot("tilt", 1), (33, 0))
    beat = tempo.beat(rate.seconds(key_of(desk, "tilt", 1)[0]))
    assert (2 * beat).denominator == 1
    desk.undo()
    marker = next(marker for marker in desk.project.move.markers if marker.name == "first lamp")
    desk.snap_onto(Snapping("markers"))
    px = round(timeline.layout_now().x(float(rate.seconds(marker.at)))) - spot("tilt", 1).x()
    drag(qtbot, timeline, spot("tilt", 1), (px + 6, 0))
    assert key_of(desk, "tilt", 1)[0] == marker.at
    desk.undo()
    desk.snap_onto(Snapping("keys"))
    pan, _ = key_of(desk, "pan", 1)
    px = round(timeline.layout_now().x(float(rate.seconds(pan)))) - spot("tilt", 1).x()
    drag(qtbot, timeline, spot("tilt", 1), (px - 6, 0))
    assert key_of(desk, "tilt", 1)[0] == pan
    desk.undo()
    drag(qtbot, timeline, spot("tilt", 1), (px + 40, 0))
    assert key_of(desk, "tilt", 1)[0].denominator == 1


def test_the_line_that_a_key_snaps_onto_is_shown_until_it_is_let_go(
    desk: Desk, timeline: Timeline, spot: Spot, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    shown: list[float | None] = []
    monkeypatch.setattr(timeline, "show_snap", shown.append)
    drag(qtbot, timeline, spot("tilt", 1), (37, 0))
    at, _ = key_of(desk, "tilt", 1)
    assert shown[-2:] == [float(desk.project.timebase.rate.seconds(at)), None]


def test_keys_stop_beside_their_neighbour_and_it_is_said_once(
    desk: Desk, timeline: Timeline, spot: Spot, qtbot: QtBot, notes: list[Note]
) -> None:
    following, _ = key_of(desk, "tilt", 2)
    drag(qtbot, timeline, spot("tilt", 1), (900, 0))
    assert key_of(desk, "tilt", 1)[0] == following - 1
    assert [note.words for note in notes] == ["keys stop beside the one that stays: they keep their order"]


def test_keys_stop_at_the_end_of_their_travel_and_it_is_said_once(
    desk: Desk, timeline: Timeline, spot: Spot, qtbot: QtBot, notes: list[Note]
) -> None:
    travel = desk.project.rig.travels["tilt"]
    assert travel is not None
    drag(qtbot, timeline, spot("tilt", 1), (0, 3000))
    assert key_of(desk, "tilt", 1)[1] == travel[0]
    assert [note.words for note in notes] == ["tilt stops at the end of its travel"]


def test_keys_that_rest_together_keep_one_value(desk: Desk, timeline: Timeline, spot: Spot, qtbot: QtBot) -> None:
    drag(qtbot, timeline, spot("pan", 3), (0, 12))
    assert key_of(desk, "pan", 3)[1] == key_of(desk, "pan", 4)[1] < 52.0
    assert not desk.shapes["pan"].fault
    assert desk.selection == {"pan": {3}}


def test_a_pinned_key_stays_and_it_is_said(
    desk: Desk, timeline: Timeline, spot: Spot, qtbot: QtBot, notes: list[Note]
) -> None:
    move = desk.project.move
    tilt = move.tracks[1]
    pinned = replace(tilt, keys=(*tilt.keys[:1], replace(tilt.keys[1], pin=True), *tilt.keys[2:]))
    desk.edit("pin", replace(move, tracks=(move.tracks[0], pinned, *move.tracks[2:])))
    before = desk.project
    drag(qtbot, timeline, spot("tilt", 1), (40, 20))
    assert desk.project is before
    assert notes[-1].weight == "refused"
    desk.select({"tilt": {1}, "pan": {1}})
    drag(qtbot, timeline, spot("pan", 1), (20, 0))
    assert key_of(desk, "tilt", 1) == (tilt.keys[1].at, tilt.keys[1].value)
    assert key_of(desk, "pan", 1)[0] > move.tracks[0].keys[1].at
    assert "1 of the chosen keys stay" in notes[-1].words


def test_several_keys_move_in_time_together_and_in_value_only_on_the_axis_that_is_held(
    desk: Desk, timeline: Timeline, spot: Spot, qtbot: QtBot
) -> None:
    before = {axis: key_of(desk, axis, 1) for axis in ("pan", "tilt")}
    desk.select({"pan": {1}, "tilt": {1}})
    drag(qtbot, timeline, spot("tilt", 1), (20, -15), ALT)
    moved = {axis: key_of(desk, axis, 1) for axis in ("pan", "tilt")}
    assert moved["pan"][0] - before["pan"][0] == moved["tilt"][0] - before["tilt"][0] > 0
    assert moved["pan"][1] == before["pan"][1]
    assert moved["tilt"][1] > before["tilt"][1]
    assert desk.history.past[-1].words == "move 2 keys"


@pytest.mark.parametrize("how", ["escape", "focus", "second button"])
def test_a_drag_that_is_abandoned_leaves_all_as_it_was(
    desk: Desk, timeline: Timeline, spot: Spot, qtbot: QtBot, how: str
) -> None:
    first, begin = desk.project, spot("tilt", 1)
    drag(qtbot, timeline, begin, (40, 20), release=False)
    assert desk.drafting
    assert desk.project != first
    if how == "escape":
        qtbot.keyClick(timeline, Qt.Key.Key_Escape)
    elif how == "focus":
        timeline.clearFocus()
    else:
        qtbot.mousePress(timeline, Qt.MouseButton.RightButton, NONE, begin)
    assert desk.project is first
    move(timeline, begin + QPoint(80, 40), LEFT, NONE)
    qtbot.mouseRelease(timeline, LEFT, NONE, begin + QPoint(80, 40))
    assert desk.project is first
    assert not desk.history.past


def test_a_locked_desk_refuses_a_drag_once_and_lets_keys_be_chosen(
    desk: Desk, timeline: Timeline, spot: Spot, qtbot: QtBot, notes: list[Note]
) -> None:
    first = desk.project
    desk.lock("the rig is armed; disarm it to edit")
    drag(qtbot, timeline, spot("tilt", 1), (40, 20))
    assert desk.project is first
    assert desk.selection == {"tilt": {1}}
    assert [note.words for note in notes] == ["the rig is armed; disarm it to edit"]


def test_a_lock_that_comes_during_a_drag_ends_it(desk: Desk, timeline: Timeline, spot: Spot, qtbot: QtBot) -> None:
    first, begin = desk.project, spot("tilt", 1)
    drag(qtbot, timeline, begin, (40, 20), release=False)
    desk.lock("armed")
    move(timeline, begin + QPoint(60, 20), LEFT, NONE)
    qtbot.mouseRelease(timeline, LEFT, NONE, begin + QPoint(60, 20))
    assert desk.project is first


def test_an_edit_that_comes_during_a_drag_stays(desk: Desk, timeline: Timeline, spot: Spot, qtbot: QtBot) -> None:
    begin = spot("tilt", 1)
    drag(qtbot, timeline, begin, (40, 20), release=False)
    desk.edit("another", replace(desk.history.now, name="Another"))
    move(timeline, begin + QPoint(60, 20), LEFT, NONE)
    qtbot.mouseRelease(timeline, LEFT, NONE, begin + QPoint(60, 20))
    assert [step.words for step in desk.history.past] == ["another"]


def test_a_click_that_trembles_moves_nothing(desk: Desk, timeline: Timeline, spot: Spot, qtbot: QtBot) -> None:
    drag(qtbot, timeline, spot("tilt", 1), (2, 2))
    assert not desk.history.past


def test_the_pointer_says_what_a_press_would_hold(desk: Desk, timeline: Timeline, spot: Spot) -> None:
    move(timeline, spot("tilt", 1), Qt.MouseButton.NoButton, NONE)
    assert timeline.cursor().shape() == Qt.CursorShape.SizeAllCursor
    move(timeline, spot("tilt", 1) + QPoint(25, 0), Qt.MouseButton.NoButton, NONE)
    assert timeline.cursor().shape() == Qt.CursorShape.ArrowCursor
