"""What the lens draws: against OpenUSD's camera, textbook fields of view, and plain geometry."""

import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from sequencer.rig.axis import Camera, Rig
from sequencer.rig.lens import (
    GUARD,
    Lens,
    before_lens,
    drawn,
    focus_on_ground,
    framed,
    from_camera,
    guarded,
    height_px,
    horizon,
    lens,
    projected,
)
from sequencer.rig.pose import Pose, turned
from sequencer.rig.reading import NEAR_M
from tests.needs import needs_module
from tests.rig.test_pose import RIG, axis

LENS = Lens((24.9, 14.0), 35.0, 3.5)
ANGLES = st.tuples(st.floats(-400, 400), st.floats(-80, 80), st.floats(-60, 60))


def at(angles: tuple[float, float, float] = (0, 0, 0), place: tuple[float, float, float] = (0, 0, 1.5)) -> Pose:
    return Pose(np.array(place, dtype=float), turned(angles), np.array(angles, dtype=float))


def test_points_fall_where_openusd_puts_them() -> None:
    """A hundred poses and lenses, fifty points each, to 1e-5 of half the frame. Source: see `openusd`."""
    needs_module("pxr")
    from tests.rig.openusd import by_openusd

    random = np.random.default_rng(5)
    for _ in range(100):
        place = random.uniform([-5, -5, 0.2], [5, 5, 4])
        angles_deg = random.uniform([-400, -70, -40], [400, 70, 40])
        here = Pose(place, turned(angles_deg), angles_deg)
        what = Lens((float(random.uniform(6, 54)), float(random.uniform(4, 40))), float(random.uniform(8, 200)), 3.0)
        across, up = what.slopes
        ahead = random.uniform(0.5, 30, 50)
        seen = np.stack(
            [random.uniform(-1, 1, 50) * ahead * across, ahead, random.uniform(-1, 1, 50) * ahead * up], axis=1
        )
        points = seen @ here.matrix.T + place
        ours = projected(what, from_camera(here, points))
        assert np.abs(ours - by_openusd(here, what, points)).max() < 1e-5


@pytest.mark.parametrize(
    ("sensor_mm", "focal_mm", "across_deg", "up_deg"),
    [
        # 36 x 24 mm, from tables of fields of view in any textbook of photography (from memory)
        ((36, 24), 24, 73.7, 53.1),
        ((36, 24), 35, 54.4, 37.8),
        ((36, 24), 50, 39.6, 27.0),
        ((36, 24), 85, 23.9, 16.1),
        ((36, 24), 200, 10.3, 6.9),
    ],
)
def test_fields_of_view_are_those_of_the_tables(
    sensor_mm: tuple[float, float], focal_mm: float, across_deg: float, up_deg: float
) -> None:
    assert Lens(sensor_mm, focal_mm, 1).fields_deg == pytest.approx((across_deg, up_deg), abs=0.06)


def test_left_is_left_and_up_is_up() -> None:
    points = np.array([[-1.0, 10, 1.5], [0, 10, 2.5], [0, 10, 1.5], [0, -1, 1.5]])
    flat = projected(LENS, from_camera(at(), points))
    assert flat[0, 0] < 0 == flat[0, 1]
    assert flat[1, 1] > 0 == flat[1, 0]
    assert flat[2].tolist() == [0, 0]
    assert np.isnan(flat[3]).all()
    # a camera that pans left sees it go to the right; one rolled clockwise sees what was above lean to the left
    assert projected(LENS, from_camera(at((5, 0, 0)), points[2])).tolist()[0] > 0
    assert projected(LENS, from_camera(at((0, 0, 10)), points[1])).tolist()[0] < 0


def test_a_figure_is_as_tall_as_the_formula_says() -> None:
    """Source: similar triangles; f * h / d on the sensor."""
    ends = np.array([[[0.4, 6.0, 0.0], [0.4, 6.0, 1.72]]])
    lines, _ = drawn(at(place=(0, 0, 0.86)), LENS, ends)
    height = float(lines[0, 1, 1] - lines[0, 0, 1]) / 2 * 14.0 / 24.9 * 4096
    assert height_px(1.72, 6.0, LENS, 4096) == pytest.approx(height)
    assert height == pytest.approx(35 * 1720 / 6000 / 24.9 * 4096)


@given(ANGLES, st.lists(st.tuples(*[st.floats(-40, 40)] * 6), min_size=1, max_size=12))
def test_what_is_drawn_of_a_line_lies_on_it_and_nothing_in_the_frame_is_missing(
    angles: tuple[float, float, float], ends: list[tuple[float, ...]]
) -> None:
    lines = np.array(ends).reshape(-1, 2, 3)
    here = at(angles)
    flat, number = drawn(here, LENS, lines)
    assert np.isfinite(flat).all()
    assert (np.abs(flat) <= GUARD * (1 + 1e-9)).all()
    part = np.linspace(0, 1, 41)[:, np.newaxis]
    for n, line in enumerate(lines):
        seen = from_camera(here, line[0] + part * (line[1] - line[0]))
        dots = projected(LENS, np.where(seen[:, 1:2] > NEAR_M, seen, np.nan))
        inside = dots[(np.abs(dots) <= 1).all(axis=1)]
        if not len(inside):
            continue
        (row,) = np.flatnonzero(number == n)
        begin, way = flat[row, 0], flat[row, 1] - flat[row, 0]
        off = inside - begin
        length = float(np.hypot(*way))
        if length < 1e-6:
            continue
        aside = np.abs(off[:, 0] * way[1] - off[:, 1] * way[0]) / length
        along = off @ way / length**2
        assert aside.max() < 1e-6
        assert along.min() > -1e-6
        assert along.max() < 1 + 1e-6


def test_a_line_past_the_lens_is_cut_before_it() -> None:
    kept, number = before_lens(
        np.array([[[1.0, -3, 0], [1.0, 5, 0]], [[0, -2, 0], [0, -1.0, 0]], [[0, 1.0, 0], [0, 2, 0]]])
    )
    assert number.tolist() == [0, 2]
    assert kept[0].tolist() == [[1, pytest.approx(NEAR_M), 0], [1, 5, 0]]


def test_lines_are_guarded_exactly() -> None:
    lines = np.array([[[-20.0, 0], [20, 0]], [[9, 9], [10, 9]], [[8, -9], [8, 9]], [[9, -9], [9, 9]], [[0, 0], [1, 1]]])
    kept, number = guarded(lines)
    assert number.tolist() == [0, 2, 4]
    assert kept.tolist() == [[[-8, 0], [8, 0]], [[8, -8], [8, 8]], [[0, 0], [1, 1]]]
    nothing, none = guarded(np.empty((0, 2, 2)))
    assert len(nothing) == len(none) == 0


@pytest.mark.parametrize(
    ("aspect", "halves"),
    [
        (None, (1, 1)),
        (Fraction(3, 2), (1, 1)),
        (Fraction(3, 1), (1, 0.5)),  # bars above and below
        (Fraction(3, 4), (0.5, 1)),  # bars at the sides
    ],
)
def test_a_picture_is_the_largest_of_its_shape_on_the_sensor(
    aspect: Fraction | None, halves: tuple[float, float]
) -> None:
    assert framed(Lens((36, 24), 50, 1), aspect) == pytest.approx(halves)


@given(ANGLES)
def test_the_horizon_is_where_a_far_level_point_falls(angles: tuple[float, float, float]) -> None:
    here = at(angles)
    line = horizon(here, LENS)
    bearing = math.radians(angles[0])
    for turn in np.radians([-15, 0, 9]):
        far = 1e9 * np.array([-math.sin(bearing + turn), math.cos(bearing + turn), 0])
        dot = projected(LENS, from_camera(here, far))
        if not (np.abs(dot) <= GUARD).all():
            continue
        assert line is not None
        way = line[1] - line[0]
        off = dot - line[0]
        assert abs(off[0] * way[1] - off[1] * way[0]) / np.hypot(*way) < 1e-5
        assert way[0] >= 0  # it is drawn from left to right


def test_a_camera_that_looks_straight_down_sees_no_horizon() -> None:
    assert horizon(at((20, -90, 0)), LENS) is None
    assert focus_on_ground(at((20, -90, 0)), LENS) is None


@given(ANGLES, st.floats(0.3, 30))
def test_the_focus_line_lies_on_the_ground_at_its_distance(angles: tuple[float, float, float], focus_m: float) -> None:
    here = at(angles)
    line = focus_on_ground(here, replace(LENS, focus_m=focus_m))
    assert line is not None
    assert line[:, 2] == pytest.approx([0, 0], abs=1e-9)
    assert from_camera(here, line)[:, 1] == pytest.approx([focus_m, focus_m])
    assume(abs(angles[2]) < 1)
    assert np.linalg.norm(line[1] - line[0]) > 0


def test_zoom_and_focus_in_millimetres_are_read_and_parts_are_told() -> None:
    camera = Camera(sensor_mm=(24, 13.5), pixels=(3840, 2160), focal_mm=28, subject_m=0.45)
    rig = Rig(name="mm", axes=(axis("zoom", "zoom", "mm"), axis("focus", "focus", "mm")))
    found, guessed = lens(camera, rig, np.array([50.0, 800.0]))
    assert (found.focal_mm, found.focus_m, guessed) == (50.0, 0.8, ())
    found, guessed = lens(camera, RIG, np.array([0, 0, 0, 0, 0, 0.4]))
    assert (found.focal_mm, found.focus_m, guessed) == (28, 0.45, ("focus",))
    # a lens of no length, as an axis at its zero may say, is none
    found, guessed = lens(camera, rig, np.array([0.0, -1.0]))
    assert (found.focal_mm, found.focus_m, guessed) == (28, 0.45, ("zoom", "focus"))
