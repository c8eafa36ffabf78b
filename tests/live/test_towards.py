"""Being driven to a place: it is reached exactly, as soon as ruckig says, and no limit is broken on any way there."""

import math

import numpy as np
import pytest
import ruckig
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.live.driving import Driven, eased, resting, steer
from sequencer.live.wish import Towards, Wish
from sequencer.rig.axis import Axis
from tests.live.rigs import FOCUS, PAN, RIG, SLIDE, STEP_S, TILT, between, over

EASED = eased(RIG)
HOME = tuple(axis.home for axis in RIG.axes)


@st.composite
def wish(draw: st.DrawFn, axis: Axis) -> Wish:
    """Draw a speed or a place, some of them mad."""
    part = draw(st.floats(-2, 2) | st.sampled_from([math.nan, math.inf, -math.inf, 1.0, -1.0, 0.0]))
    if draw(st.booleans()):
        return part * axis.speed
    low, high = axis.travel or (-60.0, 60.0)
    return Towards(low + (part + 1) / 2 * (high - low), draw(st.sampled_from([0.0, 0.1, 1.0, 3.0])) * axis.speed)


hands = st.lists(
    st.tuples(st.integers(1, 80), st.sampled_from([0.001, 0.004, 0.02]), st.tuples(*(wish(axis) for axis in RIG.axes))),
    min_size=1,
    max_size=6,
)


@settings(max_examples=25, deadline=None)
@given(hands)
def test_no_wish_breaks_a_limit_at_or_between_the_ticks(
    hand: list[tuple[int, float, tuple[Wish, ...]]],
) -> None:
    now, rows = resting(HOME), []
    for steps, lasts_s, wanted in hand:
        for _ in range(steps):
            rows.append(between(EASED, now, wanted, lasts_s, 4))
            now = steer(EASED, now, wanted, lasts_s)
            # what is looked at is what is driven
            assert np.allclose(rows[-1][-1, 0], now.position, rtol=0, atol=1e-6)
    assert over(EASED, np.concatenate(rows), HOME).max() <= 1e-8


def gone_to(position: tuple[float, ...], part: float = 1.0, seconds: float = 12.0) -> list[Driven]:
    wanted = tuple(Towards(one, axis.speed * part) for one, axis in zip(position, RIG.axes, strict=True))
    states = [resting(HOME)]
    for _ in range(round(seconds / STEP_S)):
        states.append(steer(EASED, states[-1], wanted, STEP_S))
    return states


@settings(max_examples=25, deadline=None)
@given(st.tuples(*(st.floats(0.001, 0.999) for _ in RIG.axes)), st.sampled_from([0.3, 1.0]))
def test_a_place_is_reached_exactly_and_never_passed(parts: tuple[float, ...], cap: float) -> None:
    travels = [axis.travel or (-90.0, 90.0) for axis in RIG.axes]
    aim = tuple(low + part * (high - low) for part, (low, high) in zip(parts, travels, strict=True))
    states = gone_to(aim, cap, 25.0)
    assert states[-1].position == aim
    assert not any(states[-1].velocity)
    position = np.array([one.position for one in states])
    start = np.array(HOME)
    passed = (position - np.array(aim)) * np.sign(np.array(aim) - start)
    assert (passed / [axis.jerk for axis in RIG.axes]).max() <= 1e-11


@pytest.mark.parametrize("axis", [PAN, TILT, SLIDE, FOCUS], ids=lambda axis: axis.name)
@pytest.mark.parametrize("part", [0.002, 0.05, 0.9])
def test_a_place_is_reached_as_soon_as_ruckig_says(axis: Axis, part: float) -> None:
    """Source: Berscheid & Kroeger 2021 (ruckig, time-optimal from rest to rest), in parts of the speed limit."""
    number = RIG.index(axis.name)
    driven = EASED.axes[number]
    far = part * ((axis.travel[1] if axis.travel else 180.0) - axis.home)
    asked = ruckig.InputParameter(1)
    asked.current_position, asked.target_position = [0.0], [far / axis.speed]
    asked.max_velocity = [1.0]
    asked.max_acceleration, asked.max_jerk = [driven.acceleration / axis.speed], [driven.jerk / axis.speed]
    answer = ruckig.Trajectory(1)
    assert ruckig.Ruckig(1).calculate(asked, answer) in (ruckig.Result.Working, ruckig.Result.Finished)
    aim = tuple(one + far * (at == number) for at, one in enumerate(HOME))
    states = gone_to(aim)
    arrived = next(at for at, one in enumerate(states) if one.position[number] == aim[number])
    assert arrived * STEP_S == pytest.approx(answer.duration, abs=2 * STEP_S)


def test_a_place_outside_the_travel_is_its_end() -> None:
    states = gone_to((0.0, 500.0, 0.0, -500.0, 0.5))
    assert states[-1].position[1] == pytest.approx(60.0, abs=1e-6)
    assert states[-1].position[3] == pytest.approx(0.0, abs=1e-5)
    assert not any(states[-1].velocity)


def test_an_axis_in_full_speed_comes_back_to_a_place_that_it_cannot_stop_at() -> None:
    now = resting(HOME)
    for _ in range(250):
        now = steer(EASED, now, (PAN.speed, 0.0, 0.0, 0.0, 0.0), STEP_S)
    near = now.position[0] + 1.0
    farthest = near
    for _ in range(1500):
        now = steer(EASED, now, (Towards(near, PAN.speed), 0.0, 0.0, 0.0, 0.0), STEP_S)
        farthest = max(farthest, now.position[0])
    assert farthest > near + 1.0
    assert (now.position[0], now.velocity[0], now.acceleration[0]) == (near, 0.0, 0.0)


def test_a_moving_place_is_followed_without_a_tremble() -> None:
    """The hand turns a spring's place evenly: the axis goes as evenly, but for what setpoints cannot show."""
    now, speeds = resting(HOME), []
    for tick in range(1000):
        wanted = (Towards(10.0 * tick * STEP_S, PAN.speed), 0.0, 0.0, 0.0, 0.0)
        now = steer(EASED, now, wanted, STEP_S)
        speeds.append(now.velocity[0])
    assert np.ptp(speeds[500:]) < 0.02 * 10.0
    assert np.mean(speeds[500:]) == pytest.approx(10.0, rel=1e-3)
