"""The simulated motors against closed forms, and against limits that no input may break."""

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.rig.axis import Axis, Rig, Simulated
from sequencer.rig.servo import LOST_NS, STEP_NS, Motors, advance, at_home, command, measure, resume, stop
from sequencer.rig.signals import Setpoint

MS_NS = 1_000_000
TICK_NS = 4 * MS_NS
SECOND_NS = 1_000 * MS_NS


def rig(*, lag_s: float = 0.02, transport_s: float = 0.0, noise: float = 0.0, **axis: float) -> Rig:
    """One axis, by default so strong that its limits do not show."""
    how: dict[str, Any] = {"speed": 1e6, "acceleration": 1e9, "jerk": 1e12} | axis
    simulated = Simulated(lag_s=lag_s, transport_s=transport_s, noise=noise)
    return Rig(
        name="r",
        axes=(Axis(name="pan", kind="pan", unit="deg", travel=(-100.0, 100.0), simulated=simulated, **how),),
    )


def setpoint(due_ns: int, position: float, speed: float = 0.0) -> Setpoint:
    return Setpoint(due_ns, np.array([position]), np.array([speed]))


def position(state: Motors) -> float:
    return state.motors[0].position


def holding(state: Motors, target: float, until_ns: int) -> Iterator[Motors]:
    """Send `target` at every tick; yield the state after every step of time."""
    while state.at_ns < until_ns:
        if state.at_ns % TICK_NS == 0:
            state = command(state, setpoint(state.at_ns, target))
        state = advance(state, state.at_ns + STEP_NS)
        yield state


def held(state: Motors, target: float, for_ns: int) -> Motors:
    """Return the state after sending `target` for a while."""
    return list(holding(state, target, state.at_ns + for_ns))[-1]


@pytest.mark.parametrize("lag_s", [0.005, 0.02, 0.1])
def test_step_response_is_that_of_a_first_order_lag(lag_s: float) -> None:
    """Source: any textbook of control: x(t) = 1 - exp(-t / T); 63.2 % after one time constant."""
    for state in holding(at_home(rig(lag_s=lag_s), 0), 1.0, round(6 * lag_s * 1e9)):
        assert position(state) == pytest.approx(1 - math.exp(-state.at_ns / 1e9 / lag_s), abs=1e-9)
        if state.at_ns == round(lag_s * 1e9):
            assert position(state) == pytest.approx(0.632121, abs=1e-6)


@pytest.mark.parametrize(("speed_sent", "distance"), [(True, 0.0), (False, 30.0 * 0.05)])
def test_following_error_of_a_ramp(speed_sent: bool, distance: float) -> None:
    """Source: textbook: a first-order lag follows a ramp at speed times T; speed sent ahead takes that away."""
    state = at_home(rig(lag_s=0.05), 0)
    for at_ns in range(0, SECOND_NS, STEP_NS):
        # each millisecond, so that a target that stands between setpoints does not blur the lag
        state = command(state, setpoint(at_ns, 30.0 * at_ns / 1e9, 30.0 if speed_sent else 0.0))
        state = advance(state, at_ns + STEP_NS)
    missing = 0.0 if speed_sent else 30.0 * STEP_NS / 1e9
    assert 30.0 * state.at_ns / 1e9 - position(state) == pytest.approx(distance + missing, rel=0.02, abs=1e-9)


@pytest.mark.parametrize("transport_s", [0.0, 0.005, 0.05])
def test_a_setpoint_takes_effect_its_transport_after_it_is_due(transport_s: float) -> None:
    state = command(at_home(rig(lag_s=0.0, transport_s=transport_s), 0), setpoint(10 * MS_NS, 1.0))
    takes_effect_ns = 10 * MS_NS + round(transport_s * 1e9)
    assert position(advance(state, takes_effect_ns)) == 0.0
    assert position(advance(state, takes_effect_ns + STEP_NS)) == pytest.approx(1.0, abs=0.001)


def test_between_setpoints_the_target_moves_on_at_their_speed() -> None:
    state = command(at_home(rig(lag_s=0.0), 0), setpoint(0, 0.0, 10.0))
    state = advance(state, 100 * MS_NS)
    assert position(state) == pytest.approx(1.0)


def test_a_setpoint_older_than_the_one_in_force_is_of_no_use() -> None:
    state = command(at_home(rig(lag_s=0.0), 0), setpoint(5 * MS_NS, 1.0))
    state = command(advance(state, 10 * MS_NS), setpoint(4 * MS_NS, 9.0))
    assert position(advance(state, 20 * MS_NS)) == pytest.approx(1.0)


def test_setpoints_that_overtake_each_other_are_taken_up_in_order() -> None:
    state = command(at_home(rig(lag_s=0.0), 0), setpoint(20 * MS_NS, 2.0))
    state = command(state, setpoint(10 * MS_NS, 1.0))
    assert position(advance(state, 15 * MS_NS)) == pytest.approx(1.0)
    assert position(advance(state, 25 * MS_NS)) == pytest.approx(2.0)


REAL = {"speed": 60.0, "acceleration": 120.0, "jerk": 600.0}


@pytest.mark.parametrize("lag_s", [0.0, 0.005, 0.02, 0.2])
@pytest.mark.parametrize("goal", [0.01, 1.0, 10.0, 90.0])
def test_a_far_goal_is_reached_without_overshoot(lag_s: float, goal: float) -> None:
    states = list(holding(at_home(rig(lag_s=lag_s, **REAL), 0), goal, 6 * SECOND_NS))
    assert max(position(state) for state in states) <= goal + 1e-9
    assert position(states[-1]) == pytest.approx(goal, abs=1e-3)


def test_the_time_to_a_far_goal_is_that_of_the_bang_bang_move() -> None:
    """Source: textbook kinematics: 90 deg at 60 deg/s and 120 deg/s^2 take 90/60 + 60/120 = 2 s."""
    states = holding(at_home(rig(lag_s=0.0, **REAL), 0), 90.0, 4 * SECOND_NS)
    reached_ns = next(state.at_ns for state in states if position(state) > 90.0 - 1e-3)
    assert reached_ns / 1e9 == pytest.approx(2.0, abs=0.02)


wild = st.floats(allow_nan=True, allow_infinity=True) | st.floats(-150, 150)


@settings(deadline=None)
@given(
    sent=st.lists(st.tuples(wild, wild, st.integers(0, 60), st.booleans()), min_size=1, max_size=30),
    lag_s=st.sampled_from([0.0, 0.001, 0.02, 0.3]),
)
def test_no_input_breaks_speed_acceleration_or_travel(sent: list[tuple[float, float, int, bool]], lag_s: float) -> None:
    state = at_home(rig(lag_s=lag_s, **REAL), 0)
    before = state.motors[0]
    for value, speed, wait_ms, stopped in sent:
        state = resume(stop(state)) if stopped else command(state, setpoint(state.at_ns, value, speed))
        for _ in range(wait_ms):
            state = advance(state, state.at_ns + STEP_NS)
            now = state.motors[0]
            assert abs(now.velocity) <= 60.0 + 1e-9
            assert abs(now.velocity - before.velocity) <= 120.0 * STEP_NS / 1e9 + 1e-9
            assert -100.0 - 1e-9 <= now.position <= 100.0 + 1e-9
            assert now.position - before.position == pytest.approx(now.velocity * STEP_NS / 1e9, abs=1e-9)
            before = now


@pytest.mark.parametrize("end", [-100.0, 100.0])
def test_at_full_speed_it_still_stands_at_the_end_of_its_travel(end: float) -> None:
    state = at_home(rig(**REAL), 0)
    for at_ns in range(0, 3 * SECOND_NS, TICK_NS):
        speed = math.copysign(60.0, end)
        state = advance(command(state, setpoint(at_ns, speed * at_ns / 1e9, speed)), at_ns + TICK_NS)
        assert abs(position(state)) <= 100.0 + 1e-9
    assert position(state) == pytest.approx(end, abs=0.01)


def running(speed: float = 60.0) -> Motors:
    """A motor at full speed for a while, fed until now."""
    state = at_home(rig(**REAL, home=-90.0), 0)
    for at_ns in range(0, SECOND_NS, TICK_NS):
        state = advance(command(state, setpoint(at_ns, -90.0 + speed * at_ns / 1e9, speed)), at_ns + TICK_NS)
    assert state.motors[0].velocity == pytest.approx(speed)
    return state


def test_setpoints_that_end_make_it_brake_and_hold() -> None:
    state = running()
    lost_ns = state.at_ns - TICK_NS + LOST_NS
    assert advance(state, lost_ns).motors[0].velocity == pytest.approx(60.0)
    braking = advance(state, lost_ns + 101 * MS_NS)
    assert braking.motors[0].velocity == pytest.approx(60.0 - 120.0 * 0.1)
    resting = advance(state, lost_ns + SECOND_NS)
    assert resting.still
    # 60 deg/s are gone after 60^2 / (2 * 120) = 15 deg
    travelled = position(resting) - position(advance(state, lost_ns))
    assert travelled == pytest.approx(15.0, abs=60.0 * 2 * STEP_NS / 1e9)
    assert position(advance(resting, resting.at_ns + 3_600 * SECOND_NS)) == position(resting)


def test_a_stop_brakes_at_once_and_setpoints_are_ignored() -> None:
    moving = running()
    state = stop(moving)
    state = advance(command(state, setpoint(state.at_ns, 90.0, 60.0)), state.at_ns + 100 * MS_NS)
    assert state.motors[0].velocity == pytest.approx(60.0 - 120.0 * 0.1)
    state = advance(state, state.at_ns + SECOND_NS)
    assert state.still
    where = position(state)
    state = advance(command(state, setpoint(state.at_ns, 90.0, 60.0)), state.at_ns + SECOND_NS)
    assert position(state) == where


def test_only_what_stands_still_can_be_resumed() -> None:
    state = stop(running())
    assert resume(state).stopped
    state = resume(advance(state, state.at_ns + SECOND_NS))
    assert not state.stopped
    goal = position(state) + 1.0
    assert position(held(state, goal, SECOND_NS)) == pytest.approx(goal, abs=1e-6)


def test_backlash_is_a_loop() -> None:
    """Source: the play operator: out, the load trails by half the play; back, it waits for all of the play."""
    state = at_home(rig(lag_s=0.0, backlash=0.4), 0)

    def load_at(target: float) -> float:
        nonlocal state
        state = held(state, target, 20 * MS_NS)
        return state.motors[0].load

    path = [0.1, 0.2, 0.5, 1.0, 0.8, 0.6, 0.59, 0.0, 0.3, 0.4, 0.41]
    loads = [0.0, 0.0, 0.3, 0.8, 0.8, 0.8, 0.79, 0.2, 0.2, 0.2, 0.21]
    assert [load_at(target) for target in path] == pytest.approx(loads, abs=1e-9)


@given(where=st.floats(-90, 90), resolution=st.sampled_from([0.01, 0.25, 1.0]))
def test_the_encoder_says_whole_steps_of_the_nearest(where: float, resolution: float) -> None:
    state = at_home(rig(resolution=resolution, home=where), 0)
    (said,) = measure(state, np.random.default_rng(0))
    assert said == pytest.approx(where, abs=resolution / 2 + 1e-9)
    assert said / resolution == pytest.approx(round(said / resolution), abs=1e-9)


def test_noise_has_the_spread_that_was_asked_for() -> None:
    state = at_home(rig(noise=0.02, home=5.0), 0)
    luck = np.random.default_rng(7)
    said = np.array([measure(state, luck)[0] for _ in range(4000)])
    # four standard errors of the mean and of the spread
    assert said.mean() == pytest.approx(5.0, abs=4 * 0.02 / math.sqrt(4000))
    assert said.std() == pytest.approx(0.02, rel=4 / math.sqrt(2 * 4000))


@settings(deadline=None)
@given(cuts=st.lists(st.integers(0, 400 * MS_NS), max_size=12))
def test_it_makes_no_difference_how_often_time_is_looked_at(cuts: list[int]) -> None:
    first = at_home(rig(**REAL, transport_s=0.003, backlash=0.1), 0)
    for due_ns in range(0, 100 * MS_NS, TICK_NS):
        first = command(first, setpoint(due_ns, due_ns / 1e8, 10.0))
    once = advance(first, 400 * MS_NS)
    for cut in sorted(cuts):
        first = advance(first, cut)
    assert advance(first, 400 * MS_NS) == once
    assert once.at_ns == 400 * MS_NS


def test_axes_keep_to_themselves() -> None:
    """A setpoint that leaves an axis out leaves it where it was."""
    axes = tuple(
        Axis(name=name, kind="pan", unit="deg", travel=None, speed=60, acceleration=120, jerk=600) for name in "ab"
    )
    state = at_home(Rig(name="two", axes=axes), 0)
    state = command(state, Setpoint(0, np.array([math.nan, 1.0]), np.array([5.0, math.nan])))
    state = advance(state, 200 * MS_NS)
    assert state.motors[0].position == 0.0
    assert state.motors[1].position > 0.5


def test_a_motor_has_its_own_truth_where_that_is_hidden_from_the_rig() -> None:
    true = Simulated(lag_s=0.0, transport_s=0.0, speed=30.0, acceleration=60.0, backlash=2.0)
    said = rig(lag_s=0.0, **REAL | {"speed": 30.0, "acceleration": 60.0})
    hidden = replace(said, axes=(replace(rig(**REAL).axes[0], simulated=true),))
    states = list(holding(at_home(hidden, 0), 60.0, 4 * SECOND_NS))
    assert [position(state) for state in states] == [
        position(state) for state in holding(at_home(said, 0), 60.0, 4 * SECOND_NS)
    ]
    assert max(state.motors[0].velocity for state in states) == pytest.approx(30.0)
    assert states[-1].motors[0].load == pytest.approx(59.0), "half of the play behind its motor"
