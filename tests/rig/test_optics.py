"""Depth of field and field of view, against blur discs traced through a thin lens, and against published figures.

The figures of the hyperfocal distance are those of the worked example in the encyclopedia article "Hyperfocal distance"
(50 mm, f/8, circle 0.03 mm; from memory); the fields of view are those printed in lens tables for the 36 x 24 mm frame
(from memory).
"""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import brentq

from sequencer.rig.optics import depth_of_field, fields_deg, from_lens_mm, hyperfocal_mm, usual_circle_mm

focals = st.floats(8, 300)
stops = st.floats(1.2, 32)
circles = st.floats(0.005, 0.05)


def image_mm(focal_mm: float, object_mm: float) -> float:
    """Source: the thin lens, 1/f = 1/s + 1/s'."""
    return 1 / (1 / focal_mm - 1 / object_mm)


def blur_mm(focal_mm: float, f_number: float, focused_mm: float, object_mm: float) -> float:
    """Return the disc on the sensor of a point at `object_mm`, by similar triangles behind the aperture."""
    sensor, image = image_mm(focal_mm, focused_mm), image_mm(focal_mm, object_mm)
    return focal_mm / f_number * abs(image - sensor) / image


@given(focals, stops, circles, st.floats(1.0, 60))
def test_at_the_ends_of_the_depth_the_blur_is_the_circle(
    focal_mm: float, f_number: float, circle_mm: float, distance_m: float
) -> None:
    assume(distance_m * 1000 > 5 * focal_mm)
    focused = from_lens_mm(focal_mm, distance_m)
    behind = distance_m * 1000 - focused
    assert image_mm(focal_mm, focused) == pytest.approx(behind)  # the sensor lies where the image does
    depth = depth_of_field(focal_mm, f_number, circle_mm, distance_m)
    near = brentq(lambda s: blur_mm(focal_mm, f_number, focused, s) - circle_mm, focal_mm * 1.000001, focused)
    assert depth.near_m * 1000 == pytest.approx(near + behind, rel=1e-6)
    if blur_mm(focal_mm, f_number, focused, 1e12) > circle_mm * 1.0001:
        far = brentq(lambda s: blur_mm(focal_mm, f_number, focused, s) - circle_mm, focused, 1e12, rtol=1e-12)
        assert depth.far_m * 1000 == pytest.approx(far + behind, rel=1e-4)
        assert depth.total_m == depth.far_m - depth.near_m
    elif blur_mm(focal_mm, f_number, focused, 1e12) < circle_mm * 0.9999:
        assert (depth.far_m, depth.total_m) == (math.inf, math.inf)


def test_the_hyperfocal_distance_of_the_worked_example() -> None:
    assert hyperfocal_mm(50, 8, 0.03) == pytest.approx(10_467, abs=0.5)
    # focused at 10.5 m, all from half of it to infinity is sharp
    depth = depth_of_field(50, 8, 0.03, 10.518)
    assert depth.near_m == pytest.approx(5.25, abs=0.05)
    assert depth.far_m == math.inf


@given(focals, stops, circles, st.none() | st.floats(1, 200))
def test_focused_at_the_hyperfocal_distance_all_is_sharp_from_half_of_it(
    focal_mm: float, f_number: float, circle_mm: float, pupil_mm: float | None
) -> None:
    limit = depth_of_field(focal_mm, f_number, circle_mm, 1e4, pupil_mm).hyperfocal_m
    # closer than four focal lengths no thin lens is focused
    assume(limit * 1000 > 5 * focal_mm + (pupil_mm or 0))
    depth = depth_of_field(focal_mm, f_number, circle_mm, limit * (1 + 1e-9), pupil_mm)
    behind = limit * 1000 - hyperfocal_mm(focal_mm, f_number, circle_mm)
    assert depth.near_m * 1000 - behind == pytest.approx(hyperfocal_mm(focal_mm, f_number, circle_mm) / 2, rel=1e-6)
    assert depth.far_m == math.inf
    assert math.isfinite(depth_of_field(focal_mm, f_number, circle_mm, limit * 0.999, pupil_mm).far_m)


@given(focals, stops, circles, st.floats(1, 200))
def test_with_a_known_pupil_distances_count_from_there(
    focal_mm: float, f_number: float, circle_mm: float, pupil_mm: float
) -> None:
    distance_m = 4.0
    depth = depth_of_field(focal_mm, f_number, circle_mm, distance_m, pupil_mm)
    s, limit = distance_m * 1000 - pupil_mm, hyperfocal_mm(focal_mm, f_number, circle_mm)
    assert depth.near_m * 1000 == pytest.approx(s * (limit - focal_mm) / (limit + s - 2 * focal_mm) + pupil_mm)
    assert depth.hyperfocal_m * 1000 == pytest.approx(limit + pupil_mm)


def test_at_infinity_the_near_end_is_the_hyperfocal_distance_but_for_the_focal_length() -> None:
    for pupil_mm in (None, 80.0):
        depth = depth_of_field(50, 8, 0.03, math.inf, pupil_mm)
        far = depth_of_field(50, 8, 0.03, 1e7, pupil_mm)
        assert depth.near_m == pytest.approx(far.near_m, rel=1e-5)
        assert (depth.far_m, depth.total_m) == (math.inf, math.inf)


def test_what_is_nearer_than_a_lens_focuses_is_refused() -> None:
    with pytest.raises(
        ValueError, match=r"0\.1 m is nearer than a thin lens of 50 mm can be focused; the least is 0\.2 m"
    ):
        depth_of_field(50, 8, 0.03, 0.1)
    with pytest.raises(ValueError, match="within the lens"):
        depth_of_field(50, 8, 0.03, 0.1, 90.0)


@pytest.mark.parametrize(
    ("focal_mm", "across", "up", "diagonal"),
    [
        (24, 73.7, 53.1, 84.1),
        (35, 54.4, 37.8, 63.4),
        (50, 39.6, 27.0, 46.8),
        (85, 23.9, 16.1, 28.6),
        (135, 15.2, 10.2, 18.2),
    ],
)
def test_fields_of_view_are_those_of_lens_tables(focal_mm: float, across: float, up: float, diagonal: float) -> None:
    assert fields_deg((36, 24), focal_mm) == pytest.approx((across, up, diagonal), abs=0.06)


def test_the_usual_circle_is_a_part_of_the_diagonal() -> None:
    # 43.3 mm by 1500: 0.029 mm, as is printed for the 36 x 24 mm frame (common practice, no source)
    assert usual_circle_mm((36, 24)) == pytest.approx(0.029, abs=0.0005)
