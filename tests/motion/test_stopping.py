"""How far a stop leads: against mechanics textbooks' formulas, and against a motion that is added up in small steps."""

import math

import numpy as np
import pytest

from sequencer.motion.stopping import reached, stopping
from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Axis, Rig


def axis(jerk: float = 700.0, acceleration: float = 160.0, name: str = "pan") -> Axis:
    return Axis(name=name, kind="pan", unit="deg", travel=None, speed=90.0, acceleration=acceleration, jerk=jerk)


@pytest.mark.parametrize("speed", [0.5, 5.0, 36.0, 90.0])
def test_without_a_limit_of_jerk_a_stop_goes_v_squared_over_2a(speed: float) -> None:
    # any mechanics textbook: v² = 2 a s, v = a t
    found = stopping(axis(jerk=1e9), speed)
    assert found.goes == pytest.approx(speed**2 / (2 * 160.0), rel=1e-4)
    assert found.lasts_s == pytest.approx(speed / 160.0, rel=1e-4)


@pytest.mark.parametrize(
    ("speed", "goes", "lasts_s"),
    [
        # v >= a²/j = 36.57: half of v for the time v/a + a/j
        (66.0, 66 / 2 * (66 / 160 + 160 / 700), 66 / 160 + 160 / 700),
        # below that the acceleration never gets to its limit: half of v for the time 2 √(v/j)
        (10.0, 10 * math.sqrt(10 / 700), 2 * math.sqrt(10 / 700)),
    ],
)
def test_with_jerk_limited_it_goes_half_of_the_speed_for_as_long_as_it_lasts(
    speed: float, goes: float, lasts_s: float
) -> None:
    for way in (1, -1):
        found = stopping(axis(), way * speed)
        assert found.goes == pytest.approx(goes)
        assert found.lasts_s == pytest.approx(lasts_s)


def test_an_axis_that_still_speeds_up_goes_further_as_steps_added_up_say() -> None:
    one = axis()
    speed, acceleration = 20.0, 120.0
    # pushed back with all the jerk there is, then held at the limit, then let go in time: found by trying, step by step
    best = math.inf
    step_s = 4e-4
    for hold_s in np.arange(0.0, 0.6, 0.004):
        place, velocity, push, held = 0.0, speed, acceleration, 0.0
        furthest = 0.0
        letting_go = False
        while push < 0 or not letting_go:
            if not letting_go:
                if push > -one.acceleration + 1e-9 and velocity + push * abs(push) / (2 * one.jerk) > 0:
                    push = max(push - one.jerk * step_s, -one.acceleration)
                elif held < hold_s and push <= -one.acceleration + 1e-9:
                    held += step_s
                else:
                    letting_go = True
            else:
                push = min(push + one.jerk * step_s, 0.0)
            velocity += push * step_s
            place += velocity * step_s
            furthest = max(furthest, place)
        if abs(velocity) < 0.4:
            best = min(best, furthest)
    assert stopping(one, speed, acceleration).goes == pytest.approx(best, rel=0.03)


def test_what_stands_goes_nowhere() -> None:
    assert stopping(axis(), 0.0).goes == 0.0
    assert stopping(axis(), 0.0).lasts_s == 0.0


def test_a_stop_in_a_move_may_lead_beyond_its_keys() -> None:
    rig = Rig(name="r", axes=(axis(name="pan"), axis(name="turn")))
    # pan goes at 66 from 0 to 66 in a second and there the way ends; the other stands at 5
    way = Trajectory.joined(
        rig.names,
        [(np.array([0.0, 1.0]), np.array([[66.0], [0.0]]), 66.0), (np.array([0.0]), np.empty((1, 0)), 5.0)],
        np.zeros(2),
    )
    at_s = np.linspace(0.0, 0.999, 1000)
    ends = reached(way, rig, at_s)
    assert ends[0] == pytest.approx([0.0, 66 * 0.999 + 66 / 2 * (66 / 160 + 160 / 700)])
    assert ends[1] == pytest.approx([5.0, 5.0])
    # a pass at half the speed stops from half of it
    half = reached(way, rig, at_s, speed=0.5)
    assert half[0, 1] == pytest.approx(66 * 0.999 + 33 * math.sqrt(33 / 700))
