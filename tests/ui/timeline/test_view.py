"""The timeline on a screen: what is repainted in part is what is drawn as a whole; and what it says."""

import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

import pytest
from PyQt6.QtCore import QRectF, Qt
from PyQt6.QtGui import QColor, QImage
from pytestqt.qtbot import QtBot

from sequencer.score.edits.offset import offset
from sequencer.score.move import Cue, Marker, Pass
from ui.desk import COUNTED, Counted, Desk
from ui.theme import SUN, THEMES, Theme
from ui.timeline.geometry import Lane, Layout
from ui.timeline.ink import Canvas
from ui.timeline.lanes import Content, Manner, draw_body
from ui.timeline.look import Look
from ui.timeline.view import Timeline


@pytest.fixture
def view(desk: Desk, qtbot: QtBot) -> Timeline:
    """The timeline at a window's share, with its sound read."""
    made = Timeline(desk)
    qtbot.addWidget(made)
    made.resize(900, 520)
    made.show()
    qtbot.waitUntil(lambda: not made.sound.reading)
    return made


def seen(view: Timeline) -> QImage:
    return view.grab().toImage()


def calm(view: Timeline, qtbot: QtBot) -> None:
    qtbot.waitUntil(lambda: not view.is_moving)
    seen(view)


def pan_by(desk: Desk, value: float) -> None:
    desk.draft(offset(desk.history.now.move, {"pan": {2}}, value=value))


def redone(desk: Desk, **changes: object) -> None:
    """Edit the move, or what of the project is no part of it."""
    whole = desk.project
    inside = {name: value for name, value in changes.items() if hasattr(whole.move, name)}
    outside = {name: value for name, value in changes.items() if name not in inside}
    desk.edit("x", replace(whole, move=replace(whole.move, **inside), **outside))  # type: ignore[arg-type]  # as they are named


def propose(desk: Desk) -> None:
    desk.propose(offset(desk.project.move, {"tilt": {1, 2}}, value=3.0), "x")


def scroll(view: Timeline, far_px: float) -> None:
    view.scroll_px = far_px


def choose_lane(view: Timeline, axis: str) -> None:
    view.chosen_axis = axis


MARKERS = (Marker("one", Fraction(333)), Marker("two", Fraction(340)))
CUES = (Cue("all", Fraction(0), Fraction(800)),)
Step = Callable[[Desk, Timeline], object]
# the picture is taken after each step; those of BACK end where they began
STEPS: dict[str, tuple[Step, ...]] = {
    "drag": (lambda desk, _: pan_by(desk, 3.0), lambda desk, _: pan_by(desk, 90.0)),
    "drag and let go": (lambda desk, _: pan_by(desk, 9.0), lambda desk, _: desk.settle("drag")),
    "drag and abandon": (lambda desk, _: pan_by(desk, 9.0), lambda desk, _: desk.abandon()),
    "playhead": (lambda desk, _: desk.place(Fraction(300)), lambda desk, _: desk.place(Fraction(40))),
    "choose": (
        lambda desk, _: desk.select({"pan": {1, 2}, "roll": {3}}),
        lambda desk, _: desk.select({"roll": {3}, "tilt": {0}}),
    ),
    "propose": (lambda desk, _: propose(desk),),
    "take a proposal": (lambda desk, _: propose(desk), lambda desk, _: desk.take_proposal()),
    "leave a proposal": (lambda desk, _: propose(desk), lambda desk, _: desk.leave_proposal()),
    "zoom and pan": (lambda desk, _: desk.look(8.0, 14.0), lambda desk, _: desk.look(8.5, 14.5)),
    "markers and cues": (lambda desk, _: redone(desk, markers=MARKERS, cues=CUES),),
    "no markers": (lambda desk, _: redone(desk, markers=()),),
    "fewer tracks": (lambda desk, _: redone(desk, tracks=desk.project.move.tracks[1:]),),
    "no tempo": (lambda desk, _: redone(desk, tempo=None),),
    "no playback": (lambda desk, _: redone(desk, playback=None),),
    "twice as fast": (lambda desk, _: redone(desk, passes=(Pass("quick", Fraction(4)),)),),
    "other lane": (lambda _, view: choose_lane(view, "focus"),),
    "box and snap": (
        lambda _, view: view.show_box(QRectF(200, 160, 120, 90)),
        lambda _, view: view.show_snap(12.0),
        lambda _, view: view.show_box(None),
        lambda _, view: view.show_snap(None),
    ),
    "bars": (lambda desk, _: desk.count("bars"),),
    "sun": (lambda desk, _: desk.dress(SUN),),
    "smaller": (lambda _, view: view.resize(700, 330),),
    "scrolled": (lambda _, view: view.resize(700, 330), lambda _, view: scroll(view, 70)),
}
BACK = ("drag and abandon", "leave a proposal", "box and snap")


@pytest.mark.parametrize("name", STEPS)
def test_what_is_repainted_in_part_is_what_is_drawn_as_a_whole(
    desk: Desk, view: Timeline, qtbot: QtBot, name: str
) -> None:
    before = seen(view)
    for step in STEPS[name]:
        step(desk, view)
        part = seen(view)
        view.repaint_all()
        assert part == seen(view)
    calm(view, qtbot)
    part = seen(view)
    view.repaint_all()
    assert part == seen(view)
    assert (part == before) == (name in BACK)


def test_only_what_changed_is_drawn_anew(desk: Desk, view: Timeline, monkeypatch: pytest.MonkeyPatch) -> None:
    drawn: list[str] = []

    def spy(canvas: Canvas, look: Look, layout: Layout, lane: Lane, what: Content, how: Manner) -> None:
        drawn.append(lane.axis)
        draw_body(canvas, look, layout, lane, what, how)

    monkeypatch.setattr("ui.timeline.parts.draw_body", spy)
    seen(view)
    drawn.clear()
    pan_by(desk, 5.0)
    seen(view)
    assert drawn == ["pan"]
    drawn.clear()
    desk.place(Fraction(400))
    seen(view)
    assert drawn == []
    desk.select({"tilt": {1}, "focus": {0}})
    seen(view)
    assert drawn == ["tilt", "focus"]


def test_a_lane_keeps_its_scale_while_a_key_is_dragged(desk: Desk, view: Timeline) -> None:
    before = view.layout_now().lane("pan")
    pan_by(desk, 100.0)
    assert view.layout_now().lane("pan") == before
    desk.settle("drag")
    assert view.layout_now().lane("pan").high > before.high


def test_every_lane_is_in_sight_at_a_small_windows_share(desk: Desk, view: Timeline) -> None:
    view.resize(760, 420)
    layout = view.layout_now()
    assert [lane.axis for lane in layout.lanes] == list(desk.project.rig.names)
    assert layout.furthest_px == 0
    assert layout.lanes[-1].end_px <= 420


def test_scrolling_stops_at_the_ends_and_tells_the_column_beside(view: Timeline, qtbot: QtBot) -> None:
    view.resize(760, 300)
    with qtbot.waitSignal(view.lanes_moved):
        view.scroll_px = 1e6
    assert view.scroll_px == view.layout_now().furthest_px > 0
    assert view.layout_now().lanes[-1].end_px == 300
    view.scroll_px = -5
    assert view.scroll_px == 0
    with qtbot.waitSignal(view.axis_chosen) as told:
        view.chosen_axis = "focus"
    assert told.args == ["focus"]
    assert view.layout_now().lane("focus").end_px <= 300


def test_the_current_key_is_spoken_and_kept_current(desk: Desk, view: Timeline) -> None:
    desk.select({"tilt": {2}})
    assert view.accessibleDescription() == "Tilt, key 3 of 10, 10:00:15:00, -3.00 degrees, hold, selected"
    desk.draft(offset(desk.project.move, {"tilt": {2, 3}}, value=1.5))
    assert "-1.50 degrees" in view.accessibleDescription()
    desk.abandon()
    desk.select({})
    view.chosen_axis = "roll"
    desk.place(Fraction(0))
    assert view.accessibleDescription().startswith("Roll, key 1 of 9, ")
    desk.place(Fraction(400))
    assert view.accessibleDescription().startswith("Roll, key 4 of 9, 10:00:15:00")
    desk.edit("x", replace(desk.project.move, tracks=desk.project.move.tracks[:2]))
    assert view.accessibleDescription() == "Roll, no keys"
    assert view.accessibleName()


def test_too_much_is_seen_while_the_key_is_still_dragged(desk: Desk, view: Timeline) -> None:
    lane = view.layout_now().lane("pan")
    row = round(lane.top_px) + 2

    def marked() -> bool:
        picture = seen(view)
        return any(picture.pixel(x, row) == QColor(desk.theme.over).rgb() for x in range(130, 890))

    assert not marked()
    pan_by(desk, 200.0)
    assert desk.drafting
    assert marked()
    desk.abandon()
    assert not marked()


@pytest.mark.parametrize("theme", THEMES.values(), ids=THEMES)
def test_chosen_keys_differ_in_size_not_in_colour_alone(desk: Desk, view: Timeline, theme: Theme) -> None:
    desk.dress(theme)
    grey = seen(view).convertToFormat(QImage.Format.Format_Grayscale8)
    desk.select({"slide": {1}})
    after = seen(view).convertToFormat(QImage.Format.Format_Grayscale8)
    shape, lane = desk.shapes["slide"], view.layout_now().lane("slide")
    x, y = round(view.layout_now().x(float(shape.at_s[1]))), round(lane.y(float(shape.value[1])))
    changed = [
        abs(grey.pixelColor(x + i, y + j).value() - after.pixelColor(x + i, y + j).value()) > 60
        for i in range(-12, 13)
        for j in range(-12, 13)
        if i * i + j * j > 36  # beyond the mark of a key that is not chosen
    ]
    assert sum(changed) > 30


def test_the_keyboard_is_seen(view: Timeline, desk: Desk) -> None:
    view.clearFocus()
    without = seen(view)
    view.setFocus()
    assert view.focusPolicy() == Qt.FocusPolicy.StrongFocus
    assert seen(view).pixel(450, 519) == QColor(desk.theme.focus).rgb()
    assert without.pixel(450, 519) != QColor(desk.theme.focus).rgb()


@pytest.mark.parametrize("how", COUNTED)
def test_each_way_to_count_is_drawn(desk: Desk, view: Timeline, how: Counted) -> None:
    desk.count("frames" if how != "frames" else "seconds")
    before = seen(view)
    desk.count(how)
    assert seen(view).copy(0, 0, 900, 24) != before.copy(0, 0, 900, 24)


FRACTIONAL = """
import os, sys
from fractions import Fraction
from pathlib import Path
from PyQt6.QtWidgets import QApplication
from sequencer.project.store import load
from sequencer.score.edits.offset import offset
from sequencer.shell.kinds import laws
from ui.desk import Desk
from ui.timeline.view import Timeline

application = QApplication(sys.argv)
folder = Path("projects/harbour-lanterns")
desk = Desk(load(folder, laws()), laws(), None)
view = Timeline(desk)
view.resize(801, 477)
view.show()
ratio = view.devicePixelRatioF()
assert ratio == 1.5, ratio
first = view.grab().toImage()
assert first.width() == round(801 * ratio)
desk.select({"pan": {1}})
desk.draft(offset(desk.project.move, {"pan": {1}}, value=20.0))
desk.place(Fraction(333))
part = view.grab().toImage()
view.repaint_all()
assert part == view.grab().toImage(), "what is repainted in part differs"
assert part != first
print("as it should be")
"""


def test_a_screen_of_one_and_a_half_pixels_a_pixel() -> None:
    environment = {**os.environ, "QT_SCALE_FACTOR": "1.5", "QT_QPA_PLATFORM": "offscreen"}
    done = subprocess.run(
        [sys.executable, "-c", FRACTIONAL], env=environment, capture_output=True, text=True, check=False, timeout=60
    )
    assert done.stdout.strip() == "as it should be", done.stderr[-1500:]
