"""The lens view on a real widget: it follows the desk, says what it cannot know, and draws by the lens."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from PyQt6.QtGui import QColor, QImage
from pytestqt.qtbot import QtBot

from sequencer.project.stage import Box, Ground, Stage
from sequencer.project.store import load
from sequencer.rig.geometry import Geometry
from sequencer.rig.lens import Lens
from sequencer.shell.kinds import laws
from ui.desk import Desk
from ui.preview.view import LensView
from ui.theme import DARK, SUN, Theme

PAPER = Path("projects/paper-boats")


@pytest.fixture
def view(desk: Desk, qtbot: QtBot) -> LensView:
    made = LensView(desk)
    qtbot.addWidget(made)
    made.resize(960, 540)
    return made


def picture(view: LensView) -> QImage:
    return view.grab().toImage()


def test_it_follows_the_playhead(view: LensView, desk: Desk) -> None:
    desk.place(Fraction(275))
    first = view.eye()
    shown = picture(view)
    desk.place(Fraction(700))
    second = view.eye()
    assert first is not None
    assert second is not None
    assert second[0].angles_deg[0] != first[0].angles_deg[0]
    assert picture(view) != shown
    # where the compiled move has it: pan -14 and slide 480 mm hold here
    assert second[0].angles_deg[0] == pytest.approx(-14, abs=0.3)
    assert second[0].position[0] == pytest.approx(0.48, abs=0.005)


def test_it_follows_the_document_and_the_theme(view: LensView, desk: Desk) -> None:
    desk.place(Fraction(700))
    before = picture(view)
    desk.edit("clear the set", replace(desk.project, stage=Stage()))
    assert picture(view) != before
    desk.undo()
    assert picture(view) == before
    desk.edit("another shape", replace(desk.project, aspect=Fraction(1)))
    assert picture(view) != before
    desk.undo()
    desk.dress(SUN)
    assert picture(view) != before
    desk.dress(DARK)
    assert picture(view) == before


@pytest.mark.parametrize("theme", [DARK, SUN])
def test_a_box_is_drawn_where_the_lens_puts_it(view: LensView, desk: Desk, theme: Theme) -> None:
    """A thin upright post at a known place: its pixels are in the column of the formula, and none beside it."""
    desk.dress(theme)
    # no ground in sight, no ribbon, and the head still
    post = Box(name="post", centre_m=(0.7, 4.0, 1.5), size_m=(0.001, 0.001, 0.5))
    stage = Stage(ground=Ground(size_m=0.01, cell_m=0.01), boxes=(post,))
    rig = replace(desk.project.rig, geometry=Geometry(height_m=1.5))
    axes = tuple(replace(axis, home=0.0) for axis in rig.axes)
    move = replace(desk.project.move, tracks=())
    desk.edit("a post", replace(desk.project, stage=stage, rig=replace(rig, axes=axes), move=move, aspect=None))
    eye = view.eye()
    assert eye is not None
    shown = picture(view)
    sensor = view.frame_now()
    assert sensor is not None
    x = sensor.px(np.array([0.7 / 4.0 / eye[1].slopes[0], 0.0]))[0]
    row = round(sensor.sensor.top + sensor.sensor.height / 2) + 31  # off the cross and the horizon
    ground = QColor(theme.ground).rgb()
    lit = [column for column in range(640, 860) if shown.pixel(column, row) != ground]
    assert lit
    assert abs(np.mean(lit) - x) < 1.5
    assert max(lit) - min(lit) <= 4


def test_what_the_rig_moves_unread_is_said(view: LensView, desk: Desk) -> None:
    assert view.cautions() == ("focus has no table of distances: drawn at 3.5 m",)
    assert view.caption() == "35 mm, 39.2° by 16.9°  ·  focus 3.5 m  ·  picture 2.39  ·  tick 1 s"
    paper = load(PAPER, laws())
    desk.open(paper, PAPER)
    assert view.cautions() == ()  # its lens has both tables
    assert view.caption() == "28 mm, 46.4° by 27.1°  ·  focus 0.45 m  ·  tick 1 s"
    assert paper.rig.camera is not None
    untold = replace(paper.rig.camera, focus_table=None, zoom_table=None)
    desk.edit("no tables", replace(paper, rig=replace(paper.rig, camera=untold)))
    assert view.cautions() == (
        "zoom has no table of focal lengths: drawn at 28 mm",
        "focus has no table of distances: drawn at 0.45 m",
    )
    assert view.caption() == "28 mm, 46.4° by 27.1°  ·  focus 0.45 m  ·  tick 1 s"
    odd = tuple(replace(axis, unit="part") if axis.name == "pan" else axis for axis in desk.project.rig.axes)
    rig = replace(desk.project.rig, axes=odd)
    desk.edit("odd pan", replace(desk.project, rig=rig))
    assert view.cautions()[0] == "pan counts part, the view needs deg: drawn at zero"


def test_a_rig_without_a_camera_says_what_is_missing(view: LensView, desk: Desk) -> None:
    desk.edit("no camera", replace(desk.project, rig=replace(desk.project.rig, camera=None)))
    assert view.eye() is None
    assert "has no camera" in view.caption()
    assert picture(view).width() == 960  # and it is drawn all the same


def test_a_project_without_tracks_or_set_is_drawn(view: LensView, desk: Desk) -> None:
    move = replace(desk.project.move, tracks=())
    desk.edit("nothing", replace(desk.project, move=move, stage=Stage(), aspect=None))
    assert view.caption() == "35 mm, 39.2° by 22.6°  ·  focus 3.5 m"
    assert picture(view).width() == 960


def test_live_positions_take_the_place_of_the_playhead(view: LensView, desk: Desk) -> None:
    desk.place(Fraction(700))
    planned = picture(view)
    there = np.array([10.0, 2.0, 0.0, 250.0, 0.5])
    view.show_positions(there)
    eye = view.eye()
    assert view.live
    assert eye is not None
    assert eye[0].angles_deg.tolist() == [10, 2, 0]
    assert picture(view) != planned
    # one that is not known is not guessed
    view.show_positions(np.array([10.0, np.nan, 0.0, 250.0, 0.5]))
    assert not view.live
    assert "not every axis tells where it is: drawn at the playhead" in view.cautions()
    view.show_positions(np.zeros(2))
    assert not view.live
    view.show_positions(None)
    assert picture(view) == planned


def test_it_is_drawn_at_every_size(view: LensView, desk: Desk) -> None:
    desk.place(Fraction(275))
    for size in ((240, 160), (480, 270), (300, 700), (1920, 1080)):
        view.resize(*size)
        assert (picture(view).width(), picture(view).height()) == size
        frame = view.frame_now()
        assert frame is not None
        assert frame.sensor.bottom < size[1]


def test_lens_of_the_caption_is_the_pictures_own_field_of_view(view: LensView) -> None:
    eye = view.eye()
    assert eye is not None
    # the picture is 2.39 to 1 on a sensor of 24.9 mm
    up = Lens((24.9, 24.9 / 2.39), 35, 1).fields_deg[1]
    assert f"{up:.1f}°" in view.caption()
