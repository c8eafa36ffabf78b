"""Driving by hand: whatever the hand asks, no limit is broken, and every axis can brake inside its travel.

The quickest way to an even speed is checked beside ruckig, a solver of its own for jerk-limited motion.
"""

import math

import numpy as np
import pytest
import ruckig
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.live.driving import PART, Driven, eased, resting, steer
from sequencer.rig.axis import Axis, Rig

PAN = Axis(name="pan", kind="pan", unit="deg", travel=None, speed=90, acceleration=160, jerk=700)
TILT = Axis(name="tilt", kind="tilt", unit="deg", travel=(-45, 60), speed=60, acceleration=110, jerk=550)
SLIDE = Axis(name="slide", kind="slide", unit="mm", travel=(0, 900), speed=400, acceleration=500, jerk=2500, home=100)
RIG = Rig(name="quay", axes=(PAN, TILT, SLIDE))
EASED = eased(RIG)
STEP_S = 0.004

hands = st.lists(
    st.tuples(
        st.integers(1, 120),
        st.tuples(*(st.floats(-2, 2) | st.sampled_from([math.nan, math.inf, -1.0, 1.0, 0.0]) for _ in RIG.axes)),
    ),
    min_size=1,
    max_size=6,
)


def driven(hand: list[tuple[int, tuple[float, ...]]]) -> np.ndarray:
    """Return all states of a hand that wants parts of full speed for so many steps each. Shape: (T, 3, A)."""
    now = resting(tuple(axis.home for axis in RIG.axes))
    states = [now]
    for steps, parts in hand:
        wanted = tuple(part * axis.speed for part, axis in zip(parts, RIG.axes, strict=True))
        for _ in range(steps):
            states.append(steer(EASED, states[-1], wanted, STEP_S))
    return np.array([(one.position, one.velocity, one.acceleration) for one in states])


@settings(max_examples=20, deadline=None)
@given(hands)
def test_no_hand_breaks_a_limit(hand: list[tuple[int, tuple[float, ...]]]) -> None:
    position, velocity, acceleration = np.moveaxis(driven(hand), 1, 0)
    near = 1 + 1e-9
    for number, axis in enumerate(EASED.axes):
        assert np.abs(velocity[:, number]).max() <= axis.speed * near
        assert np.abs(acceleration[:, number]).max() <= axis.acceleration * near
        jerk = np.diff(acceleration[:, number]) / STEP_S
        assert np.abs(jerk).max(initial=0.0) <= axis.jerk * (1 + 1e-6)
        if axis.travel is not None:
            assert position[:, number].min() >= axis.travel[0] - 1e-6
            assert position[:, number].max() <= axis.travel[1] + 1e-6


def test_an_end_is_come_to_at_rest_and_all_the_way() -> None:
    position, velocity, _ = np.moveaxis(driven([(2500, (0.0, 1.0, 0.3))]), 1, 0)
    for number, axis in ((1, TILT), (2, SLIDE)):
        assert axis.travel is not None
        assert position[-1, number] == pytest.approx(axis.travel[1], abs=1e-3 * (axis.travel[1] - axis.travel[0]))
        assert abs(velocity[-1, number]) < 1e-3 * axis.speed


def test_a_rig_that_stands_outside_its_travel_is_driven_inward_only() -> None:
    outside = resting((0.0, 62.0, 100.0))
    out, inward = outside, outside
    for _ in range(200):
        out = steer(EASED, out, (0.0, 60.0, 0.0), STEP_S)
        inward = steer(EASED, inward, (0.0, -60.0, 0.0), STEP_S)
    assert out.position[1] == pytest.approx(62.0, abs=1e-6)
    assert inward.position[1] < 40.0


@pytest.mark.parametrize("asked", [1.0, 0.4, -0.7])
def test_an_even_speed_is_reached_as_soon_as_ruckig_says(asked: float) -> None:
    """Source: Berscheid & Kroeger 2021 (ruckig's velocity interface)."""
    pan = EASED.axes[0]
    wanted = ruckig.InputParameter(1)
    wanted.control_interface = ruckig.ControlInterface.Velocity
    wanted.current_position, wanted.current_velocity, wanted.current_acceleration = [0.0], [0.0], [0.0]
    wanted.target_velocity, wanted.target_acceleration = [asked * pan.speed], [0.0]
    wanted.max_acceleration, wanted.max_jerk = [pan.acceleration], [pan.jerk]
    answer = ruckig.Trajectory(1)
    assert ruckig.Ruckig(1).calculate(wanted, answer) == ruckig.Result.Working
    now = Driven((0.0, 0.0, 100.0), (0.0,) * 3, (0.0,) * 3)
    for step in range(1, math.ceil(answer.duration / STEP_S) + 1):
        now = steer(EASED, now, (asked * pan.speed, 0.0, 0.0), STEP_S)
        there, speed, _ = answer.at_time(min(step * STEP_S, answer.duration))
        if step * STEP_S < answer.duration:
            assert now.position[0] == pytest.approx(there[0], abs=1e-9)
            assert now.velocity[0] == pytest.approx(speed[0], abs=1e-9)
    assert now.velocity[0] == pytest.approx(asked * pan.speed)


def test_driving_leaves_a_part_of_the_limits() -> None:
    assert [axis.acceleration for axis in EASED.axes] == [axis.acceleration * PART for axis in RIG.axes]
    assert [axis.speed for axis in EASED.axes] == [axis.speed for axis in RIG.axes]
