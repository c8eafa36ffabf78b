"""Attitudes against scipy's rotations, which know nothing of ours."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from sequencer.wire.gimbal import Attitude, attitude, half_turns, quaternion, unwrapped

ANGLES = st.builds(Attitude, st.floats(-170, 170), st.floats(-400, 400), st.floats(-2000, 2000))


def by_scipy(of: Attitude) -> list[float]:
    # ISO 1151-1 (from memory): yaw, pitch, roll, each about its already turned axis; scipy says so with capitals
    x, y, z, w = Rotation.from_euler("ZYX", [of.yaw, of.pitch, of.roll], degrees=True).as_quat()
    return [w, x, y, z]


def test_no_rotation_is_one_and_zeros() -> None:
    # MAVLink common.xml, GIMBAL_MANAGER_SET_ATTITUDE, field q: "w, x, y, z (1 0 0 0 is the null-rotation ...)"
    assert quaternion(Attitude(0, 0, 0)) == (1, 0, 0, 0)


@pytest.mark.parametrize(("of", "axis"), [(Attitude(90, 0, 0), 1), (Attitude(0, 90, 0), 2), (Attitude(0, 0, 90), 3)])
def test_each_angle_turns_about_its_own_axis(of: Attitude, axis: int) -> None:
    expected = [math.sqrt(0.5), 0, 0, 0]
    expected[axis] = math.sqrt(0.5)
    assert quaternion(of) == pytest.approx(expected)


@given(ANGLES)
def test_quaternions_are_those_of_a_reference_library(of: Attitude) -> None:
    ours, theirs = quaternion(of), by_scipy(of)
    same = abs(sum(a * b for a, b in zip(ours, theirs, strict=True)))  # of q and -q, which are one rotation
    assert same == pytest.approx(1, abs=1e-12)
    assert ours[0] >= 0


@given(ANGLES, st.floats(-20, 20), st.floats(-20, 20), st.floats(-20, 20))
def test_angles_come_back_with_their_turns_and_over_the_top(of: Attitude, r: float, p: float, y: float) -> None:
    back = attitude(quaternion(of), Attitude(of.roll + r, of.pitch + p, of.yaw + y))
    assert back is not None
    # straight up or down only the look itself is certain, and near there an angle is as exact as a cosine near 1
    assert abs(sum(a * b for a, b in zip(quaternion(back), quaternion(of), strict=True))) == pytest.approx(1, abs=1e-6)
    if abs(math.cos(math.radians(of.pitch))) > 0.5:
        assert (back.roll, back.pitch, back.yaw) == pytest.approx((of.roll, of.pitch, of.yaw), abs=1e-6)


@pytest.mark.parametrize("pitch", [90.0, -90.0, 270.0])
def test_straight_up_or_down_roll_is_where_it_was_sent_and_yaw_has_the_rest(pitch: float) -> None:
    back = attitude(quaternion(Attitude(10, pitch, 30)), Attitude(10, pitch - 1, 29))
    assert back is not None
    assert (back.roll, back.pitch, back.yaw) == pytest.approx((10, pitch, 30), abs=1e-5)


@pytest.mark.parametrize("of", [(math.nan,) * 4, (0.0, 0.0, 0.0, 0.0), (5.0, 0.0, 0.0, 0.0), (math.inf, 0.0, 0.0, 0.0)])
def test_what_is_no_rotation_says_nothing(of: tuple[float, float, float, float]) -> None:
    assert attitude(of, Attitude(0, 0, 0)) is None


def test_angles_are_counted_on_past_whole_turns() -> None:
    assert unwrapped(-175, 183) == 185
    assert unwrapped(10, 725) == 730
    assert half_turns(190) == -170
    assert half_turns(-725) == -5
