"""The plan view on a real widget: things are dragged and nudged through the desk, one step each."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from PyQt6.QtCore import QPoint, Qt
from PyQt6.QtGui import QImage
from pytestqt.qtbot import QtBot

from sequencer.project.stage import Stage
from ui.desk import Desk, Note
from ui.preview.above import PlanView
from ui.preview.plan import Hit, place_of
from ui.theme import SUN

LEFT = Qt.MouseButton.LeftButton


@pytest.fixture
def view(desk: Desk, qtbot: QtBot) -> PlanView:
    made = PlanView(desk)
    qtbot.addWidget(made)
    made.resize(900, 500)
    made.show()
    return made


def picture(view: PlanView) -> QImage:
    return view.grab().toImage()


def at(view: PlanView, what: Hit, right_px: int = 0, down_px: int = 0) -> QPoint:
    """Return where a thing is drawn."""
    x, y = view.plan().px(np.array(place_of(view.stage, what)))
    return QPoint(round(x) + right_px, round(y) + down_px)


@pytest.mark.parametrize("what", [Hit("person", 0), Hit("box", 5)])
def test_a_drag_moves_a_thing_as_one_step(view: PlanView, desk: Desk, qtbot: QtBot, what: Hit) -> None:
    first, before = desk.project, place_of(desk.project.stage, what)
    scale = view.plan().scale_px
    steps = len(desk.history.past)
    qtbot.mousePress(view, LEFT, pos=at(view, what))
    assert view.chosen == what
    start = at(view, what)
    for part in (20, 45, 60):
        qtbot.mouseMove(view, start + QPoint(-part, part // 2))
        assert desk.drafting
    qtbot.mouseRelease(view, LEFT, pos=start + QPoint(-60, 30))
    x_m, y_m = place_of(desk.project.stage, what)
    assert x_m == pytest.approx(before[0] - 60 / scale, abs=0.011)
    assert y_m == pytest.approx(before[1] - 30 / scale, abs=0.011)
    assert x_m == round(x_m, 2)  # a number that a person would write
    assert len(desk.history.past) == steps + 1
    assert desk.history.past[-1].words.startswith("move ")
    desk.undo()
    assert desk.project == first


def test_the_plan_stays_while_something_is_dragged_out_of_it(view: PlanView, desk: Desk, qtbot: QtBot) -> None:
    what = Hit("person", 0)
    plan = view.plan()
    start = at(view, what)
    qtbot.mousePress(view, LEFT, pos=start)
    qtbot.mouseMove(view, QPoint(890, 490))
    assert view.plan() == plan
    qtbot.mouseRelease(view, LEFT, pos=QPoint(890, 490))
    assert view.plan() != plan  # and is fitted anew when it is let go


def test_a_thing_that_is_held_off_its_middle_does_not_jump(view: PlanView, desk: Desk, qtbot: QtBot) -> None:
    what, scale = Hit("box", 5), view.plan().scale_px
    before, start = place_of(desk.project.stage, what), at(view, what, right_px=25, down_px=-15)
    qtbot.mousePress(view, LEFT, pos=start)
    qtbot.mouseMove(view, start + QPoint(-30, 0))
    qtbot.mouseRelease(view, LEFT, pos=start + QPoint(-30, 0))
    x_m, y_m = place_of(desk.project.stage, what)
    assert (x_m, y_m) == pytest.approx((before[0] - 30 / scale, before[1]), abs=0.011)


def test_a_click_chooses_and_changes_nothing(view: PlanView, desk: Desk, qtbot: QtBot) -> None:
    first = desk.history
    qtbot.mouseClick(view, LEFT, pos=at(view, Hit("person", 2)))
    assert view.chosen == Hit("person", 2)
    assert view.accessibleDescription() == "Fiddle, 2.6 m to the right, 4.8 m ahead"
    assert desk.history is first
    assert not desk.drafting
    qtbot.mouseClick(view, LEFT, pos=QPoint(4, 250))
    assert view.chosen is None


def test_the_right_button_takes_a_drag_back(view: PlanView, desk: Desk, qtbot: QtBot) -> None:
    first = desk.project
    start = at(view, Hit("person", 0))
    qtbot.mousePress(view, LEFT, pos=start)
    qtbot.mouseMove(view, start + QPoint(50, 50))
    assert desk.project != first
    qtbot.mousePress(view, Qt.MouseButton.RightButton, pos=start + QPoint(50, 50))
    assert desk.project == first
    qtbot.mouseRelease(view, LEFT, pos=start + QPoint(50, 50))
    assert desk.project == first


def test_a_locked_desk_says_why_once_and_keeps_the_set(view: PlanView, desk: Desk, qtbot: QtBot) -> None:
    desk.lock("a run goes on")
    notes: list[Note] = []
    desk.noted.connect(notes.append)
    first, start = desk.project, at(view, Hit("person", 0))
    qtbot.mousePress(view, LEFT, pos=start)
    qtbot.mouseMove(view, start + QPoint(50, 50))
    qtbot.mouseRelease(view, LEFT, pos=start + QPoint(50, 50))
    assert desk.project == first
    assert notes == [Note("a run goes on", "refused")]


def test_keys_choose_and_nudge(view: PlanView, desk: Desk, qtbot: QtBot) -> None:
    first = desk.project
    qtbot.keyClick(view, Qt.Key.Key_PageDown)
    assert view.chosen == Hit("person", 0)
    qtbot.keyClick(view, Qt.Key.Key_PageUp)
    assert view.chosen == Hit("box", 5)
    qtbot.keyClick(view, Qt.Key.Key_PageDown)
    steps = len(desk.history.past)
    for key in (Qt.Key.Key_Right, Qt.Key.Key_Right, Qt.Key.Key_Up):
        qtbot.keyClick(view, key)
    qtbot.keyClick(view, Qt.Key.Key_Left, Qt.KeyboardModifier.ShiftModifier)
    assert place_of(desk.project.stage, Hit("person", 0)) == (1.69, 4.1)
    assert view.accessibleDescription() == "Singer, 1.69 m to the right, 4.1 m ahead"
    assert len(desk.history.past) == steps + 1  # nudges in a row are one step
    desk.undo()
    assert desk.project == first


def test_a_thing_that_went_is_not_chosen_any_more(view: PlanView, desk: Desk, qtbot: QtBot) -> None:
    qtbot.keyClick(view, Qt.Key.Key_PageUp)
    assert view.chosen == Hit("box", 5)
    desk.edit("clear the set", replace(desk.project, stage=Stage()))
    assert view.chosen is None
    qtbot.keyClick(view, Qt.Key.Key_PageDown)
    assert view.chosen is None


def test_it_follows_playhead_document_theme_and_live_positions(view: PlanView, desk: Desk) -> None:
    first = picture(view)
    desk.place(Fraction(700))
    second = picture(view)
    assert second != first
    view.show_positions(np.array([10.0, 2.0, 0.0, 250.0, 0.5]))
    assert picture(view) != second
    view.show_positions(np.array([np.nan] * 5))
    assert picture(view) == second  # what is not known is not drawn
    view.show_positions(None)
    desk.dress(SUN)
    assert picture(view) != second


@pytest.mark.parametrize("lacking", ["camera", "tracks", "everything"])
def test_it_draws_what_there_is(view: PlanView, desk: Desk, lacking: str) -> None:
    project = desk.project
    if lacking != "tracks":
        project = replace(project, rig=replace(project.rig, camera=None))
    if lacking != "camera":
        project = replace(project, move=replace(project.move, tracks=()), stage=Stage())
    desk.edit(lacking, project)
    for size in ((900, 500), (240, 160)):
        view.resize(*size)
        assert picture(view).width() == size[0]


def test_it_can_be_reached_and_has_a_name(view: PlanView) -> None:
    assert view.focusPolicy() == Qt.FocusPolicy.StrongFocus
    assert view.accessibleName() == "Plan view"
