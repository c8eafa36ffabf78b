"""Differences on the sensor, against arithmetic done by hand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.rig.axis import Camera
from sequencer.takes.pixels import moves_picture, picture_shift, pixels, worth
from tests.takes.shot import CAMERA


def test_a_tenth_of_a_millisecond_of_a_fast_pan() -> None:
    # 60 deg/s x 0.0001 s = 0.006 deg; tan(0.006 deg) = 1.047198e-4; x 35 mm = 3.665191e-3 mm on the sensor;
    # one pixel is 24.9 mm / 4096 = 6.079102e-3 mm; 3.665191 / 6.079102 = 0.602917
    assert pixels(np.array([0.006]), "pan", "deg", CAMERA) == pytest.approx([0.602917], abs=2e-6)


def test_tilt_counts_rows() -> None:
    # 14.0 mm / 2304 = 6.076389e-3 mm: 3.665191 / 6.076389 = 0.603186
    assert pixels(np.array([-0.006]), "tilt", "deg", CAMERA) == pytest.approx([0.603186], abs=2e-6)


@pytest.mark.parametrize(("kind", "pitch_mm"), [("slide", 24.9 / 4096), ("lift", 14.0 / 2304)])
def test_travel_shrinks_with_distance(kind: str, pitch_mm: float) -> None:
    # 2 mm at 4 m through 35 mm: 2 x 35 / 4000 = 0.0175 mm on the sensor
    assert pixels(np.array([2.0]), kind, "mm", CAMERA) == pytest.approx([0.0175 / pitch_mm])


def test_roll_is_worst_in_the_corner() -> None:
    # a square of pixels: the corner is 5 mm from the middle (3, 4), a pixel 0.01 mm; 2 x 5 sin(1/2 deg) = 0.0872654 mm
    camera = Camera(sensor_mm=(6.0, 8.0), pixels=(600, 800), focal_mm=35.0, subject_m=1.0)
    assert pixels(np.array([1.0, -1.0]), "roll", "deg", camera) == pytest.approx([8.72654, 8.72654], abs=1e-5)


@pytest.mark.parametrize(("kind", "unit"), [("focus", "part"), ("iris", "part"), ("zoom", "part"), ("pan", "mm")])
def test_lens_motors_and_odd_units_have_no_pixels(kind: str, unit: str) -> None:
    assert not moves_picture(kind, unit)
    with pytest.raises(ValueError, match="does not shift the picture"):
        pixels(np.array([0.1]), kind, unit, CAMERA)


def test_all_axes_together() -> None:
    kinds, units = ("pan", "slide", "tilt", "focus"), ("deg", "mm", "deg", "part")
    one = np.array([0.006, -2.0, 0.006, 0.5])
    # across: 0.602917 + 0.0175 / 0.006079102 = 3.481626; upward 0.603186; hypot = 3.533492
    assert picture_shift(one, kinds, units, CAMERA) == pytest.approx(3.533492, abs=1e-5)


@given(st.floats(-80, 80), st.floats(-80, 80), st.floats(-5, 5))
def test_a_point_at_the_middle_never_moves_more_than_said(pan_deg: float, tilt_deg: float, slide_mm: float) -> None:
    """Turn a point in space and project it: its true way on the sensor is never longer than said."""
    pan_deg, tilt_deg = pan_deg / 100, tilt_deg / 100
    pan, tilt = np.radians([pan_deg, tilt_deg])
    point = np.array([slide_mm, 0.0, 4000.0])
    point = np.array([[np.cos(pan), 0, np.sin(pan)], [0, 1, 0], [-np.sin(pan), 0, np.cos(pan)]]) @ point
    point = np.array([[1, 0, 0], [0, np.cos(tilt), np.sin(tilt)], [0, -np.sin(tilt), np.cos(tilt)]]) @ point
    moved = 35.0 * point[:2] / point[2] / np.divide(CAMERA.sensor_mm, CAMERA.pixels)
    said = picture_shift(
        np.array([pan_deg, tilt_deg, slide_mm]), ("pan", "tilt", "slide"), ("deg", "deg", "mm"), CAMERA
    )
    assert np.hypot(*moved) <= float(said) * 1.001 + 1e-9


def test_far_apart_is_far_and_finite() -> None:
    far = pixels(np.array([89.0, 120.0, 400.0]), "pan", "deg", CAMERA)
    assert np.isfinite(far).all()
    assert far.min() > CAMERA.pixels[0]


@given(st.sampled_from([("pan", "deg"), ("tilt", "deg"), ("roll", "deg"), ("slide", "mm")]), st.floats(1e-3, 1e3))
def test_what_pixels_are_worth_moves_the_picture_by_so_many(axis: tuple[str, str], moved_px: float) -> None:
    off = worth(moved_px, *axis, CAMERA)
    assert pixels(np.array(off), *axis, CAMERA) == pytest.approx(moved_px, rel=1e-9)


def test_more_pixels_than_the_axis_can_move_are_refused() -> None:
    with pytest.raises(ValueError, match="no difference of pan moves the picture by 1e\\+09 pixels; give fewer"):
        worth(1e9, "pan", "deg", CAMERA)
    with pytest.raises(ValueError, match="does not shift"):
        worth(1.0, "focus", "part", CAMERA)
