"""Stand-ins are as tall and boxes as large as they are said to be, and look where they are told to."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.project.stage import Box, Ground, Person, Stage
from ui.preview.stand_ins import BOX, GROUND, PERSON, corners, edges, figure, grid, heads, scene


@given(st.floats(0.1, 3), st.floats(-20, 20), st.floats(-20, 20), st.floats(-360, 360))
def test_a_person_stands_on_the_ground_and_is_as_tall_as_said(
    height_m: float, x_m: float, y_m: float, heading_deg: float
) -> None:
    person = Person(name="a", x_m=x_m, y_m=y_m, height_m=height_m, heading_deg=heading_deg)
    lines = np.concatenate([figure(person), heads((person,), np.array([0.0, -50.0, 1.5]))]).reshape(-1, 3)
    assert lines[:, 2].min() == pytest.approx(0, abs=1e-9)
    assert lines[:, 2].max() == pytest.approx(height_m, rel=1e-3)
    assert np.hypot(lines[:, 0] - x_m, lines[:, 1] - y_m).max() < 0.25 * height_m


def test_feet_and_nose_point_where_it_looks() -> None:
    for heading_deg, way in ((0, (0, 1)), (90, (-1, 0)), (180, (0, -1))):
        lines = figure(Person(name="a", x_m=0, y_m=0, height_m=1, heading_deg=heading_deg)).reshape(-1, 3)
        low = lines[lines[:, 2] < 0.01][:, :2]
        assert (low @ way).max() > 0.09
        assert (low @ way).min() > -0.05
        high = lines[lines[:, 2] > 0.9][:, :2]
        assert (high @ way).max() > 0.09


def test_a_head_is_round_from_every_side() -> None:
    person = Person(name="a", x_m=1, y_m=2, height_m=1.8)
    for eye in ((0, 0, 1.5), (8, 2, 1.5), (1, 9, 0.2)):
        ring = heads((person,), np.array(eye)).reshape(-1, 3)
        ray = np.array([1 - eye[0], 2 - eye[1]]) / math.hypot(1 - eye[0], 2 - eye[1])
        aside = ring[:, :2] @ np.array([-ray[1], ray[0]])
        assert np.ptp(aside) == pytest.approx(0.1 * 1.8, rel=0.05)
    assert heads((), np.zeros(3)).shape == (0, 2, 3)
    assert np.isfinite(heads((person,), np.array([1.0, 2.0, 1.5]))).all()  # from inside it


def test_a_box_has_its_size_its_centre_and_its_turn() -> None:
    box = Box(name="b", centre_m=(1, 2, 0.5), size_m=(2, 1, 1), heading_deg=90)
    at = corners(box)
    assert at.mean(axis=0) == pytest.approx([1, 2, 0.5])
    assert np.ptp(at, axis=0) == pytest.approx([1, 2, 1])  # turned by a quarter
    lengths = np.linalg.norm(edges(box)[:, 1] - edges(box)[:, 0], axis=1)
    assert sorted(lengths) == pytest.approx([1] * 8 + [2] * 4)


def test_the_ground_has_a_line_through_the_origin_and_none_outside() -> None:
    for size_m, cell_m, count in ((20, 1, 21), (2.5, 1, 3), (0.3, 0.1, 3)):
        lines = grid(Ground(size_m=size_m, cell_m=cell_m))
        assert len(lines) == 2 * count
        assert np.abs(lines).max() == pytest.approx(size_m / 2)
        assert (lines[..., 2] == 0).all()
        assert any((line[:, 0] == 0).all() for line in lines)


def test_the_scene_knows_what_each_line_belongs_to() -> None:
    stage = Stage(
        people=(Person(name="a", x_m=0, y_m=3, height_m=1.7),),
        boxes=(Box(name="b", centre_m=(0, 0, 0), size_m=(1, 1, 1)),),
    )
    found = scene(stage)
    assert len(found.lines) == len(found.kinds)
    assert int((found.kinds == BOX).sum()) == 12
    assert int((found.kinds == GROUND).sum()) == 2 * 21
    assert int((found.kinds == PERSON).sum()) == len(figure(stage.people[0]))
