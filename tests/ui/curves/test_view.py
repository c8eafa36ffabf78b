"""The curves under the timeline follow the desk, show what is over, and place the playhead."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from numpy.typing import NDArray
from PyQt6.QtCore import QPoint, Qt
from PyQt6.QtGui import QColor, QImage
from pytestqt.qtbot import QtBot

from sequencer.score.edits.offset import offset
from sequencer.score.move import Ease, Key
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


def pixels(view: CurvesView) -> NDArray[np.int16]:
    """The colours of what is shown, part by part."""
    picture = image(view).convertToFormat(QImage.Format.Format_ARGB32)
    bits = picture.constBits()
    assert bits is not None
    return np.frombuffer(bits.asstring(picture.sizeInBytes()), np.uint8).astype(np.int16)


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


def waves(count: int, ease: str) -> tuple[Key, ...]:
    """Keys that break limits here and there."""
    way = np.random.default_rng(count).normal(0, 6, count)
    return tuple(Key(Fraction(4 * at), float(value), Ease(ease)) for at, value in enumerate(way))


@pytest.mark.parametrize(
    ("count", "ease", "span_s"),
    [
        (900, "poly345", (-1.0, 150.0)),  # an area
        (900, "poly345", (60.0, 65.0)),  # a line
        (900, "linear", (20.0, 60.0)),  # jumps everywhere
        (60, "through", (-0.5, 10.0)),
        (6, "poly345", (-1.0, 2.0)),  # rests on both sides
    ],
)
def test_what_is_drawn_while_keys_are_dragged_is_what_is_drawn_at_once(
    view: CurvesView, desk: Desk, count: int, ease: str, span_s: tuple[float, float]
) -> None:
    move, random = desk.project.move, np.random.default_rng(5)
    pan, others = move.tracks[0], move.tracks[1:]
    desk.edit("waves", replace(move, tracks=(replace(pan, keys=waves(count, ease)), *others)))
    desk.look(*span_s)
    view.ensurePolished()
    view._come_to_rest()
    image(view)
    frames = desk.project.timebase.rate.fraction
    there = [at for at, key in enumerate(waves(count, ease)) if span_s[0] <= key.at / frames <= span_s[1]]
    for _ in range(12):
        keys = list(desk.project.move.tracks[0].keys)
        for number in random.choice(there, int(random.integers(1, 3))).tolist():
            value = keys[number].value + float(random.normal(0, 3))
            at = keys[number].at + Fraction(int(random.integers(3)) - 1)
            keys[number] = replace(keys[number], value=value, at=at)
        desk.draft(replace(move, tracks=(replace(pan, keys=tuple(keys)), *others)))
        dragged = pixels(view)
        desk.preferred.emit()  # which draws all anew
        # smoothed lines are rounded otherwise where they are cut off
        assert np.abs(pixels(view) - dragged).max() <= 3


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
