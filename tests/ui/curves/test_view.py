"""The curves under the timeline follow the desk, show what is over, and place the playhead."""

from dataclasses import replace
from fractions import Fraction

import pytest
from PyQt6.QtCore import QPoint, Qt
from PyQt6.QtGui import QColor, QImage
from pytestqt.qtbot import QtBot

from sequencer.score.edits.offset import offset
from sequencer.score.move import Ease
from ui.curves.view import CurvesView
from ui.desk import Desk
from ui.theme import LEFT_PX, SUN, Theme


@pytest.fixture
def view(desk: Desk, qtbot: QtBot) -> CurvesView:
    view = CurvesView(desk)
    qtbot.addWidget(view)
    view.resize(800, 240)
    view.show()
    return view


def image(view: CurvesView) -> QImage:
    return view.grab().toImage()


def coloured(view: CurvesView, colour: str) -> int:
    """How many pixels right of the names have this colour."""
    picture, wanted = image(view), QColor(colour).rgb()
    columns, rows = range(LEFT_PX, picture.width()), range(picture.height())
    return sum(picture.pixel(x, y) == wanted for x in columns for y in rows)


def too_fast(desk: Desk) -> None:
    desk.edit("too fast", offset(desk.project.move, {"pan": {1}}, value=100.0))


def test_what_is_over_appears_with_the_edit_and_goes_with_undo(view: CurvesView, desk: Desk) -> None:
    first = image(view)
    assert coloured(view, desk.theme.over) == 0
    too_fast(desk)
    assert coloured(view, desk.theme.over) > 50
    desk.undo()
    assert image(view) == first


def test_the_axis_that_is_asked_for_is_shown(view: CurvesView, desk: Desk) -> None:
    assert view.axis == "pan"
    pan = image(view)
    view.show_axis("slide")
    assert view.axis == "slide"
    assert "mm/s" in view.words()
    assert image(view) != pan
    view.show_axis("no such axis")
    assert view.axis == "pan"
    move = desk.project.move
    desk.edit("no tracks", replace(move, tracks=()))
    image(view)
    assert "no axis" in view.words()


def test_a_press_and_a_drag_place_the_playhead(view: CurvesView, desk: Desk, qtbot: QtBot) -> None:
    x = round(view.x_of(8.0))
    qtbot.mousePress(view, Qt.MouseButton.LeftButton, pos=QPoint(x, 50))
    assert abs(desk.playhead_s - 8.0) < 0.1
    qtbot.mouseMove(view, QPoint(x + 60, 60))
    qtbot.mouseRelease(view, Qt.MouseButton.LeftButton, pos=QPoint(x + 60, 60))
    assert desk.playhead_s > 8.5
    at = desk.playhead
    assert at == Fraction(round(at * 100), 100)
    before = desk.playhead
    qtbot.mousePress(view, Qt.MouseButton.RightButton, pos=QPoint(x, 50))
    assert desk.playhead == before


def test_the_numbers_are_those_at_the_playhead(view: CurvesView, desk: Desk) -> None:
    shape = desk.shapes["pan"]
    leg = int(shape.peak[0].argmax())
    rate = desk.project.timebase.rate
    desk.place(rate.frames(Fraction(float(shape.peak_at[0, leg]))))
    assert (
        f"speed {'' if shape.value[leg + 1] > shape.value[leg] else '-'}{shape.peak[0, leg]:.3g} deg/s" in view.words()
    )
    assert view.accessibleDescription() == view.words()


def test_a_jump_is_said_and_drawn(view: CurvesView, desk: Desk) -> None:
    move = desk.project.move
    keys = tuple(replace(key, ease=Ease("linear")) for key in move.tracks[0].keys)
    desk.edit("linear", replace(move, tracks=(replace(move.tracks[0], keys=keys), *move.tracks[1:])))
    desk.place(keys[0].at)
    assert "acceleration infinite" in view.words()
    assert coloured(view, desk.theme.over) > 50


def test_only_the_playhead_is_repainted_when_it_moves_and_the_rest_stays_true(view: CurvesView, desk: Desk) -> None:
    image(view)
    for at in (100, 200, 300):
        desk.place(Fraction(at))
        view.repaint()
    kept = image(view)
    desk.preferred.emit()  # which draws all anew
    assert image(view) == kept


@pytest.mark.parametrize("size", [(300, 120), (1000, 400)])
def test_zoom_size_and_theme_are_followed(view: CurvesView, desk: Desk, size: tuple[int, int]) -> None:
    theme: Theme = SUN
    desk.dress(theme)
    assert coloured(view, theme.ground) > 1000
    before = image(view)
    desk.look(5.0, 9.0)
    assert image(view) != before
    view.resize(*size)
    assert image(view).width() == size[0]
