"""The plan: forward is up, all is in sight, what is under the pointer is found, the wedge is what the lens sees."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.project.stage import Box, Person, Stage
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.lens import Lens, from_camera, projected
from sequencer.rig.pose import Pose, pose, turned
from ui.preview.plan import (
    Hit,
    Plan,
    fine_m,
    fitted,
    hit,
    in_sight,
    moved,
    name_of,
    place_of,
    rounded,
    scale_bar,
    tracks,
    wedge,
)

LENS = Lens((24.9, 14.0), 35.0, 3.5)
STAGE = Stage(
    people=(Person(name="Lead", x_m=1, y_m=4, height_m=1.7), Person(name="Drums", x_m=-2, y_m=5, height_m=1.7)),
    boxes=(
        Box(name="Stand", centre_m=(0, 6, 0.5), size_m=(4, 2, 1)),
        Box(name="Crate", centre_m=(1, 6, 0.5), size_m=(0.5, 0.5, 1), heading_deg=45),
    ),
)


def axis(name: str, travel: tuple[float, float] | None) -> Axis:
    return Axis(name=name, kind="slide", unit="mm", travel=travel, speed=1, acceleration=1, jerk=1)


points = st.lists(st.tuples(st.floats(-100, 100), st.floats(-100, 100)), min_size=1, max_size=9).map(np.array)


@given(points, st.floats(120, 3000), st.floats(120, 2000))
def test_everything_is_in_sight_and_a_place_is_where_it_is_drawn(
    there: np.ndarray, width_px: float, height_px: float
) -> None:
    plan = fitted(width_px, height_px, there)
    at = plan.px(there)
    assert (at >= -1e-6).all()
    assert (at[:, 0] <= width_px + 1e-6).all()
    assert (at[:, 1] <= height_px + 1e-6).all()
    for place, (x, y) in zip(there.tolist(), at.tolist(), strict=True):
        assert plan.metres(x, y) == pytest.approx(place, abs=1e-6)


def test_forward_is_up_and_right_is_right() -> None:
    plan = fitted(400, 400, np.array([[0.0, 0.0], [1.0, 1.0]]))
    zero, ahead, right = plan.px(np.array([[0.0, 0.0], [0.0, 1.0], [1.0, 0.0]]))
    assert ahead[1] < zero[1]
    assert right[0] > zero[0]
    assert zero[1] - ahead[1] == pytest.approx(right[0] - zero[0])  # a metre is a metre


def test_what_must_be_seen_is_the_set_the_tracks_and_the_way() -> None:
    way = Pose(np.array([[0.0, 0, 1.5], [9, 0, 1.5]]), turned(np.zeros((2, 3))), np.zeros((2, 3)))
    seen = in_sight(STAGE, np.array([[[0, -3.0, 1], [0, 0, 1]]]), way)
    assert seen.min(axis=0) == pytest.approx([-2, -3])
    assert seen.max(axis=0) == pytest.approx([9, 7])


def test_a_track_goes_through_the_camera_from_end_to_end() -> None:
    rig = Rig(name="r", axes=(axis("slide", (0, 1200)), axis("endless", None)))
    at = np.array([300.0, 0.0])
    (line,) = tracks(rig, at, pose(rig, at))
    assert line == pytest.approx(np.array([[0, 0, 1.5], [1.2, 0, 1.5]]))


@given(st.floats(-400, 400), st.floats(-60, 60), st.floats(-30, 30), st.floats(0.2, 1))
def test_the_wedge_is_the_middle_row_of_the_picture(pan: float, tilt: float, roll: float, half: float) -> None:
    here = Pose(np.array([1.0, 2.0, 1.5]), turned((pan, tilt, roll)), np.zeros(3))
    sides, focus = wedge(here, LENS, half)
    assert sides[1].tolist() == [1.0, 2.0]
    for side, end in zip((-1, 1), focus, strict=True):
        # the point of the world from which this is the plan lies in focus, at the edge of the picture
        way = here.matrix @ np.array([side * half * LENS.slopes[0], 1.0, 0.0]) * LENS.focus_m
        assert end == pytest.approx(here.position[:2] + way[:2])
        flat = projected(LENS, from_camera(here, here.position + way))
        assert flat == pytest.approx([side * half, 0], abs=1e-9)


def test_a_level_wedge_opens_as_wide_as_the_field_of_view() -> None:
    sides, _ = wedge(Pose(np.zeros(3), turned((0, 0, 0)), np.zeros(3)), LENS, 1.0)
    left, right = sides[0] - sides[1], sides[2] - sides[1]
    between = math.degrees(math.acos(left @ right / np.linalg.norm(left) / np.linalg.norm(right)))
    assert between == pytest.approx(LENS.fields_deg[0])
    assert left[0] < 0 < right[0]


def test_what_is_under_the_pointer() -> None:
    plan = Plan(800, 800, 80, (400, 700))
    for what, place in ((Hit("person", 0), (1, 4)), (Hit("person", 1), (-2, 5)), (Hit("box", 0), (-1, 6.8))):
        x, y = plan.px(np.array(place))
        assert hit(plan, STAGE, x, y) == what
    x, y = plan.px(np.array([1.0, 6.0]))
    assert hit(plan, STAGE, x, y) == Hit("box", 1)  # the smaller of the two there
    assert hit(plan, STAGE, 5, 795) is None
    # a turned box is hit in its corner, and not where its corner would be unturned
    alone = replace(STAGE, boxes=(replace(STAGE.boxes[1], size_m=(2.0, 0.2, 1.0)),), people=())
    x, y = plan.px(np.array([1 + 0.65, 6 + 0.65]))
    assert hit(plan, alone, x, y) == Hit("box", 0)
    x, y = plan.px(np.array([1 + 0.9, 6.0]))
    assert hit(plan, alone, x, y) is None


def test_things_move_and_keep_all_else() -> None:
    for what in (Hit("person", 1), Hit("box", 0)):
        after = moved(STAGE, what, 3.25, 7.5)
        assert place_of(after, what) == (3.25, 7.5)
        assert name_of(after, what) == name_of(STAGE, what)
        assert moved(after, what, *place_of(STAGE, what)) == STAGE
    with pytest.raises(ValueError, match="x_m is 2000; it must be from -1000 to 1000"):
        moved(STAGE, Hit("person", 0), 2000, 0)


@pytest.mark.parametrize(("scale_px", "step_m"), [(60, 0.01), (400, 0.001), (6, 0.1), (0.5, 1), (10, 0.1)])
def test_a_drag_moves_by_steps_of_about_a_pixel(scale_px: float, step_m: float) -> None:
    assert fine_m(Plan(100, 100, scale_px, (0, 0))) == pytest.approx(step_m)
    assert rounded(1.23456, 0.01) == 1.23


@pytest.mark.parametrize(
    ("scale_px", "number", "unit"), [(60, 1, "m"), (300, 20, "cm"), (9, 10, "m"), (8000, 1, "cm"), (30000, 2, "mm")]
)
def test_the_scale_bar_is_a_round_length(scale_px: float, number: float, unit: str) -> None:
    found, word, length_px = scale_bar(Plan(900, 500, scale_px, (0, 0)))
    assert (found, word) == (number, unit)
    assert 60 <= length_px <= 150
