"""Gestures beside keys: box, added keys, playhead, markers and cues, scrolling and zooming."""

from dataclasses import replace
from fractions import Fraction

import pytest
from PyQt6.QtCore import QPoint, QPointF, Qt
from PyQt6.QtGui import QNativeGestureEvent, QPointingDevice, QWheelEvent
from PyQt6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from ui.acts.laws import set_pin
from ui.desk import Desk, Note, Snapping
from ui.timeline.geometry import ROW_PX
from ui.timeline.hands import Hands
from ui.timeline.view import Timeline

from .conftest import Spot
from .test_hands import ALT, CTRL, LEFT, NONE, SHIFT, drag, key_of

MIDDLE = Qt.MouseButton.MiddleButton


def across(timeline: Timeline, desk: Desk, at: Fraction) -> int:
    return round(timeline.layout_now().x(float(desk.project.timebase.rate.seconds(at))))


def wheel(
    widget: Timeline, at: QPoint, angle: QPoint, held: Qt.KeyboardModifier = NONE, pixels: QPoint | None = None
) -> None:
    where = QPointF(at)
    phase = Qt.ScrollPhase.NoScrollPhase if pixels is None else Qt.ScrollPhase.ScrollUpdate
    event = QWheelEvent(
        where, widget.mapToGlobal(where), pixels or QPoint(), angle, Qt.MouseButton.NoButton, held, phase, False
    )
    QApplication.sendEvent(widget, event)


def test_a_box_chooses_the_keys_in_it_and_with_ctrl_beside_those_before(
    desk: Desk, timeline: Timeline, spot: Spot, qtbot: QtBot
) -> None:
    first, last = spot("tilt", 0), spot("tilt", 2)
    lane = timeline.layout_now().lane("tilt")
    top = QPoint(first.x() - 12, round(lane.top_px) + 1)
    drag(qtbot, timeline, top, (last.x() + 12 - top.x(), round(lane.height_px) - 3))
    assert desk.selection["tilt"] >= {0, 1, 2}
    desk.select({"slide": {0}})
    drag(qtbot, timeline, top, (last.x() + 12 - top.x(), round(lane.height_px) - 3), CTRL)
    assert desk.selection["slide"] == {0}
    assert desk.selection["tilt"] >= {0, 1, 2}
    assert not desk.history.past


def test_a_box_is_shown_while_it_is_drawn_and_abandoned_with_escape(
    desk: Desk, timeline: Timeline, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    boxes: list[object] = []
    monkeypatch.setattr(timeline, "show_box", boxes.append)
    desk.select({"slide": {0}})
    lane = timeline.layout_now().lane("pan")
    drag(qtbot, timeline, QPoint(160, round(lane.top_px) + 2), (900, 50), release=False)
    assert boxes[-1] is not None
    assert "slide" not in desk.selection
    qtbot.keyClick(timeline, Qt.Key.Key_Escape)
    assert boxes[-1] is None
    assert desk.selection == {"slide": {0}}


def test_a_double_click_on_a_leg_adds_a_key_on_the_curve_which_stays(
    desk: Desk, timeline: Timeline, spot: Spot, qtbot: QtBot
) -> None:
    first, shape = desk.project, desk.shapes["tilt"]
    peak = float(shape.peak[0].max())
    at = QPoint((spot("tilt", 0).x() + spot("tilt", 1).x()) // 2, round(timeline.layout_now().lane("tilt").end_px) - 12)
    qtbot.mouseDClick(timeline, LEFT, NONE, at)
    track = desk.track("tilt")
    assert track is not None
    assert len(track.keys) == 11
    assert desk.selection == {"tilt": {1}}
    assert track.keys[1].at.denominator == 1
    assert float(desk.shapes["tilt"].peak[0].max()) == pytest.approx(peak, rel=1e-6)
    assert len(desk.history.past) == 1
    desk.undo()
    assert desk.project == first


def test_a_double_click_beyond_the_track_adds_a_key_at_the_pointer(
    desk: Desk, timeline: Timeline, spot: Spot, qtbot: QtBot
) -> None:
    desk.look(0.0, 40.0)
    lane = timeline.layout_now().lane("tilt")
    at = QPoint(spot("tilt", 0).x() - 60, round(lane.top_px + lane.height_px / 2))
    qtbot.mouseDClick(timeline, LEFT, NONE, at)
    track = desk.track("tilt")
    assert track is not None
    assert len(track.keys) == 11
    assert track.keys[0].value == pytest.approx(lane.value(at.y()), abs=0.01)


def test_a_double_click_on_an_axis_without_a_track_begins_one(desk: Desk, timeline: Timeline, qtbot: QtBot) -> None:
    desk.select({"focus": frozenset(range(100))})
    first = desk.project
    qtbot.keyClick(timeline, Qt.Key.Key_Delete)
    assert desk.track("focus") is None
    lane = timeline.layout_now().lane("focus")
    qtbot.mouseDClick(timeline, LEFT, NONE, QPoint(600, round(lane.top_px + lane.height_px / 2)))
    track = desk.track("focus")
    assert track is not None
    assert len(track.keys) == 1
    desk.undo()
    desk.undo()
    assert desk.project == first


def test_a_double_click_on_a_key_asks_for_its_numbers(desk: Desk, timeline: Timeline, spot: Spot, qtbot: QtBot) -> None:
    assert isinstance(timeline.hands, Hands)
    with qtbot.waitSignal(timeline.hands.numbers_asked):
        qtbot.mouseDClick(timeline, LEFT, NONE, spot("tilt", 1))
    assert not desk.history.past


def test_the_ruler_puts_the_playhead_on_whole_frames_or_where_it_is_let_go_freely(
    desk: Desk, timeline: Timeline, qtbot: QtBot
) -> None:
    qtbot.mouseClick(timeline, LEFT, NONE, QPoint(400, 8))
    assert desk.playhead.denominator == 1
    assert abs(across(timeline, desk, desk.playhead) - 400) <= timeline.layout_now().px_a_s / 25
    before = desk.playhead
    drag(qtbot, timeline, QPoint(400, 8), (101, 0), ALT)
    assert across(timeline, desk, desk.playhead) in (500, 501, 502)
    assert desk.playhead > before
    drag(qtbot, timeline, QPoint(500, 8), (100, 0), release=False)
    qtbot.keyClick(timeline, Qt.Key.Key_Escape)
    assert across(timeline, desk, desk.playhead) in (500, 501, 502)
    assert not desk.history.past


def test_a_marker_is_dragged_as_one_step(desk: Desk, timeline: Timeline, qtbot: QtBot) -> None:
    first, marker = desk.project, desk.project.move.markers[1]
    band = timeline.layout_now().music
    assert band is not None
    begin = QPoint(across(timeline, desk, marker.at), round(band.top_px + ROW_PX / 2))
    drag(qtbot, timeline, begin, (50, 0))
    moved = next(one for one in desk.project.move.markers if one.name == marker.name)
    assert moved.at > marker.at
    assert moved.at.denominator == 1
    assert [step.words for step in desk.history.past] == ["move the marker first lamp"]
    assert [one.at for one in desk.project.move.markers] == sorted(one.at for one in desk.project.move.markers)
    desk.undo()
    assert desk.project == first
    drag(qtbot, timeline, begin, (50, 0), release=False)
    qtbot.keyClick(timeline, Qt.Key.Key_Escape)
    assert desk.project == first
    qtbot.mouseClick(timeline, LEFT, NONE, begin)
    assert desk.playhead == marker.at


def test_the_ends_of_a_cue_are_dragged_and_never_pass_each_other(desk: Desk, timeline: Timeline, qtbot: QtBot) -> None:
    cue = desk.project.move.cues[0]
    band = timeline.layout_now().music
    assert band is not None
    row = round(band.end_px - ROW_PX / 2)
    drag(qtbot, timeline, QPoint(across(timeline, desk, cue.start), row), (-30, 0))
    assert desk.project.move.cues[0].start < cue.start
    drag(qtbot, timeline, QPoint(across(timeline, desk, cue.end), row), (-700, 0))
    shortest = desk.project.move.cues[0]
    assert shortest.end == shortest.start + 1
    assert len(desk.history.past) == 2
    desk.lock("armed")
    drag(qtbot, timeline, QPoint(across(timeline, desk, shortest.start), row), (-30, 0))
    assert desk.project.move.cues[0] == shortest


def test_the_middle_button_drags_the_view(desk: Desk, timeline: Timeline, qtbot: QtBot) -> None:
    begin_s, end_s = desk.span_s
    shift_s = 100 / timeline.layout_now().px_a_s
    drag(qtbot, timeline, QPoint(600, 300), (-100, 0), button=MIDDLE)
    assert desk.span_s == pytest.approx((begin_s + shift_s, end_s + shift_s))
    drag(qtbot, timeline, QPoint(600, 300), (-100, 0), button=MIDDLE, release=False)
    qtbot.keyClick(timeline, Qt.Key.Key_Escape)
    assert desk.span_s == pytest.approx((begin_s + shift_s, end_s + shift_s))


def test_the_wheel_goes_on_in_time_and_with_ctrl_zooms_about_the_pointer(desk: Desk, timeline: Timeline) -> None:
    begin_s, end_s = desk.span_s
    wheel(timeline, QPoint(600, 300), QPoint(0, -120))
    assert desk.span_s[0] > begin_s
    wheel(timeline, QPoint(600, 300), QPoint(0, 120))
    assert desk.span_s == pytest.approx((begin_s, end_s))
    under_s = timeline.layout_now().t_s(600)
    wheel(timeline, QPoint(600, 300), QPoint(0, 120), CTRL)
    assert desk.span_s[1] - desk.span_s[0] < end_s - begin_s
    assert abs(timeline.layout_now().x(under_s) - 600) < 0.51  # what is drawn begins at a whole pixel


def test_shift_and_the_wheel_go_down_the_lanes_and_a_touchpad_both_ways(desk: Desk, timeline: Timeline) -> None:
    timeline.resize(1200, 260)
    assert timeline.layout_now().furthest_px > 60
    wheel(timeline, QPoint(600, 200), QPoint(0, -120), SHIFT)
    assert timeline.scroll_px == 48
    wheel(timeline, QPoint(600, 200), QPoint(0, 0), pixels=QPoint(0, 30))
    assert timeline.scroll_px == 18
    begin_s, _ = desk.span_s
    shift_s = 50 / timeline.layout_now().px_a_s
    wheel(timeline, QPoint(600, 200), QPoint(0, 0), pixels=QPoint(-50, 0))
    assert desk.span_s[0] == pytest.approx(begin_s + shift_s)


def test_two_fingers_zoom_about_the_pointer(desk: Desk, timeline: Timeline) -> None:
    under_s, (begin_s, end_s) = timeline.layout_now().t_s(500), desk.span_s
    where = QPointF(500, 300)
    event = QNativeGestureEvent(
        Qt.NativeGestureType.ZoomNativeGesture,
        QPointingDevice.primaryPointingDevice(),
        2,
        where,
        where,
        QPointF(timeline.mapToGlobal(where)),
        0.5,
        QPointF(),
    )
    QApplication.sendEvent(timeline, event)
    assert desk.span_s[1] - desk.span_s[0] == pytest.approx((end_s - begin_s) / 1.5)
    assert timeline.layout_now().t_s(500) == pytest.approx(under_s)


def test_nobody_zooms_out_to_where_nothing_can_be_seen(desk: Desk, timeline: Timeline) -> None:
    for _ in range(80):
        wheel(timeline, QPoint(600, 300), QPoint(0, -120), CTRL)
    assert desk.span_s[1] - desk.span_s[0] < 3600


def test_snapping_onto_what_is_not_there_is_said_and_drags_freely(
    desk: Desk, timeline: Timeline, spot: Spot, qtbot: QtBot
) -> None:
    notes: list[Note] = []
    desk.noted.connect(notes.append)
    desk.edit("no music", replace(desk.project, tempo=None))
    desk.snap_onto(Snapping("beats"))
    drag(qtbot, timeline, spot("tilt", 1), (33, 0))
    assert "no beats" in notes[-1].words
    assert len(desk.history.past) == 2


def test_pinned_keys_that_are_chosen_stay_in_a_drag_of_others(
    desk: Desk, timeline: Timeline, spot: Spot, qtbot: QtBot
) -> None:
    desk.select({"slide": {0}})
    set_pin(desk, True)
    before = desk.track("slide")
    desk.select({"slide": {0}, "tilt": {1}})
    drag(qtbot, timeline, spot("tilt", 1), (25, 0))
    assert desk.track("slide") is before


def test_a_drag_that_is_held_beyond_the_edge_goes_on(desk: Desk, timeline: Timeline, spot: Spot, qtbot: QtBot) -> None:
    desk.look(0.0, 14.0)
    begin, (begin_s, _) = spot("tilt", 1), desk.span_s
    drag(qtbot, timeline, begin, (timeline.width() - begin.x() + 60, 0), release=False)
    qtbot.waitUntil(lambda: desk.span_s[0] > begin_s, timeout=2000)
    at = key_of(desk, "tilt", 1)[0]
    assert abs(desk.project.timebase.rate.seconds(at) - Fraction(desk.span_s[1])) < 1
    qtbot.keyClick(timeline, Qt.Key.Key_Escape)
    assert isinstance(timeline.hands, Hands)
    assert not timeline.hands.is_busy
    assert not desk.history.past


def test_a_wheel_turned_in_a_drag_takes_the_key_along(desk: Desk, timeline: Timeline, spot: Spot, qtbot: QtBot) -> None:
    begin, at = spot("tilt", 1), key_of(desk, "tilt", 1)[0]
    drag(qtbot, timeline, begin, (10, 0), release=False)
    wheel(timeline, begin + QPoint(10, 0), QPoint(0, -120))
    qtbot.mouseRelease(timeline, LEFT, NONE, begin + QPoint(10, 0))
    part_s = Fraction(10 / timeline.layout_now().px_a_s + 0.1 * (desk.span_s[1] - desk.span_s[0]))
    moved = key_of(desk, "tilt", 1)[0] - at
    room = key_of(desk, "tilt", 2)[0] - at - 1
    assert abs(moved - min(room, desk.project.timebase.rate.frames(part_s))) <= 1
    assert len(desk.history.past) == 1


def test_a_marker_that_is_dragged_past_another_stands_after_it(desk: Desk, timeline: Timeline, qtbot: QtBot) -> None:
    first, second = desk.project.move.markers[1:3]
    band = timeline.layout_now().music
    assert band is not None
    begin = QPoint(across(timeline, desk, first.at), round(band.top_px + ROW_PX / 2))
    drag(qtbot, timeline, begin, (across(timeline, desk, second.at) - begin.x() + 40, 0), ALT)
    assert [one.name for one in desk.project.move.markers[1:3]] == [second.name, first.name]
    assert len(desk.history.past) == 1


def test_keys_stop_beside_the_key_before_too(desk: Desk, timeline: Timeline, spot: Spot, qtbot: QtBot) -> None:
    before = key_of(desk, "tilt", 0)[0]
    drag(qtbot, timeline, spot("tilt", 1), (-900, 0), release=False)
    assert key_of(desk, "tilt", 1)[0] == before + 1
    qtbot.keyClick(timeline, Qt.Key.Key_Escape)


def test_a_wheel_that_leaps_zooms_as_far_as_it_goes_and_no_further(desk: Desk, timeline: Timeline) -> None:
    at = QPoint(600, 300)
    wheel(timeline, at, QPoint(0, -10_000_000), CTRL)
    begin_s, end_s = desk.span_s
    wheel(timeline, at, QPoint(0, -10_000_000), CTRL)
    assert desk.span_s == pytest.approx((begin_s, end_s))
    wheel(timeline, at, QPoint(0, 10_000_000), CTRL)
    assert 0 < desk.span_s[1] - desk.span_s[0] < (end_s - begin_s) / 10


def test_nothing_is_dragged_half_a_day_away(desk: Desk, timeline: Timeline, qtbot: QtBot) -> None:
    rate = desk.project.timebase.rate
    half = Fraction(desk.project.timebase.counting.day, 2)
    end_s = float(rate.seconds(half))
    desk.edit("far", replace(desk.project.move, markers=(replace(desk.project.move.markers[0], at=half - 100),)))
    desk.look(end_s - 20, end_s + 20)
    music = timeline.layout_now().music
    assert music is not None
    drag(qtbot, timeline, QPoint(across(timeline, desk, half - 100), round(music.top_px) + 5), (400, 0))
    assert desk.project.move.markers[0].at == half - 1
