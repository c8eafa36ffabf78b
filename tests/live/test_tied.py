"""Limits that tie axes together, while a hand drives as it likes: none is broken, and nobody waits for nothing."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.live.driving import PART, Driven, eased, resting, steer
from sequencer.live.wish import Towards, Wish
from sequencer.rig.axis import Rig
from sequencer.rig.limits import Combined, SumLimit, WhileLimit
from tests.live.rigs import PAN, ROLL, SLIDE, STEP_S, TILT

WALL = SumLimit(name="wall", sum=(("pan", 1.0), ("slide", 0.1)), travel=(-60, 60), speed=70)
RAISED = WhileLimit(name="raised", axis="roll", other="tilt", between=(20, 50), travel=(-8, 8), speed=15)
AXES = (PAN, TILT, ROLL, SLIDE)
HOME = (0.0, 0.0, 0.0, 100.0)


def tied(*limits: Combined) -> Rig:
    return eased(Rig(name="quay", axes=AXES, combined=limits))


def driven(rig: Rig, hand: list[tuple[int, tuple[Wish, ...]]], begin: tuple[float, ...] = HOME) -> np.ndarray:
    """Return all states. Shape: (T, 3, A)."""
    states = [resting(begin)]
    for steps, wanted in hand:
        for _ in range(steps):
            states.append(steer(rig, states[-1], wanted, STEP_S))
    return np.array([(one.position, one.velocity, one.acceleration) for one in states])


speeds = st.sampled_from([-1.0, -0.4, 0.0, 0.4, 1.0])
wishes = st.tuples(
    *(
        st.builds(lambda part, axis=axis: part * axis.speed, speeds)
        | st.builds(lambda part, axis=axis: Towards(part * (axis.travel or (0, 70))[1], axis.speed), speeds)
        for axis in AXES
    )
)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 200), wishes), min_size=1, max_size=6))
def test_no_hand_breaks_a_limit_that_ties_axes(hand: list[tuple[int, tuple[Wish, ...]]]) -> None:
    position, velocity, acceleration = np.moveaxis(driven(tied(WALL, RAISED), hand), 1, 0)
    assert np.abs(position @ [1, 0, 0, 0.1]).max() <= 60 + 1e-6
    assert np.abs(velocity @ [1, 0, 0, 0.1]).max() <= 70 + 1e-6
    inside = (position[:, 1] >= 20) & (position[:, 1] <= 50)
    assert np.abs(position[inside, 2]).max(initial=0.0) <= 8 + 1e-6
    assert np.abs(velocity[inside, 2]).max(initial=0.0) <= 15 + 1e-6
    for number, axis in enumerate(AXES):
        assert np.abs(velocity[:, number]).max() <= axis.speed * (1 + 1e-9)
        assert np.abs(acceleration[:, number]).max() <= axis.acceleration * PART * (1 + 1e-9)
        assert np.abs(np.diff(acceleration[:, number])).max() / STEP_S <= axis.jerk * PART * (1 + 1e-6)


def test_a_sum_is_driven_all_the_way_to_its_limit_and_along_it() -> None:
    rig = tied(replace(WALL, speed=None))
    far = driven(rig, [(1000, (PAN.speed, 0.0, 0.0, 0.0))])
    assert far[-1, 0] @ [1, 0, 0, 0.1] == pytest.approx(60, abs=1e-3)
    assert far[-1, 0, 3] == 100
    # the slide makes room, and the pan takes it
    along = driven(rig, [(1000, (PAN.speed, 0.0, 0.0, 0.0)), (1500, (PAN.speed, 0.0, 0.0, -50.0))])
    assert along[-1, 0, 3] == pytest.approx(0, abs=0.1)
    assert along[-1, 0, 0] == pytest.approx(60, abs=0.1)


@pytest.mark.parametrize("slow", [1, 0.3, 0.05])
def test_axes_that_press_against_a_limit_together_do_not_pass_it(slow: float) -> None:
    for limit in (WALL, replace(WALL, travel=None), replace(WALL, speed=None)):
        path = driven(tied(limit), [(700, (slow * PAN.speed, 0.0, 0.0, SLIDE.speed)), (300, (-90.0, 0.0, 0.0, -400.0))])
        position, velocity, _ = np.moveaxis(path, 1, 0)
        if limit.travel is not None:
            assert np.abs(position @ [1, 0, 0, 0.1]).max() <= 60 + 1e-6
        if limit.speed is not None:
            assert np.abs(velocity @ [1, 0, 0, 0.1]).max() <= 70 + 1e-6


def test_an_axis_waits_before_a_range_whose_limit_another_breaks_and_goes_on_when_it_does_not() -> None:
    rig = tied(RAISED)
    wide, up = (0.0, 0.0, ROLL.speed, 0.0), (0.0, TILT.speed, 0.0, 0.0)
    waits = driven(rig, [(400, wide), (600, up)])
    assert waits[-1, 0, 2] > 19
    assert waits[-1, 0, 1] == pytest.approx(20, abs=1e-2)
    assert waits[-1, 0, 1] < 20
    goes = driven(rig, [(400, wide), (600, up), (400, (0.0, TILT.speed, Towards(0.0, ROLL.speed), 0.0))])
    assert goes[-1, 0, 1] > 30


def test_an_axis_is_slow_while_another_is_in_a_range_and_quick_outside() -> None:
    rig = tied(replace(RAISED, travel=None))
    roll = (0.0, 0.0, ROLL.speed, 0.0)
    assert driven(rig, [(100, roll)])[-1, 1, 2] > 15
    inside = driven(rig, [(100, roll)], (0.0, 30.0, 0.0, 100.0))
    assert inside[-1, 1, 2] == pytest.approx(15)


def test_a_rig_in_a_forbidden_combination_goes_no_further_in_and_comes_out() -> None:
    begin = (0.0, 30.0, 12.0, 100.0)
    rig = tied(RAISED)
    assert driven(rig, [(200, (0.0, 0.0, ROLL.speed, 0.0))], begin)[:, 0, 2].max() == pytest.approx(12, abs=1e-6)
    assert driven(rig, [(300, (0.0, 0.0, -ROLL.speed, 0.0))], begin)[-1, 0, 2] < 0
    assert driven(rig, [(600, (0.0, -TILT.speed, 0.0, 0.0))], begin)[-1, 0, 1] < 0


def test_acceleration_and_jerk_of_a_sum_are_kept_by_driving_softly() -> None:
    supply = SumLimit(name="supply", sum=(("pan", 1.0), ("tilt", -1.0)), acceleration=100, jerk=400)
    rig = tied(supply, WhileLimit(name="low", axis="roll", other="tilt", between=(0, 9), acceleration=45))
    pan, tilt, roll, slide = rig.axes
    assert pan.acceleration + tilt.acceleration == pytest.approx(100 * PART)
    assert pan.jerk + tilt.jerk == pytest.approx(400 * PART)
    assert roll.acceleration == pytest.approx(45 * PART)
    assert slide.acceleration == SLIDE.acceleration * PART
    assert not rig.combined
    loose = tied(replace(supply, acceleration=1000.0, jerk=None))
    assert loose.axes[0].acceleration == pytest.approx(PAN.acceleration * PART)


def test_what_nothing_ties_is_driven_as_if_there_were_no_limits() -> None:
    hand: list[tuple[int, tuple[Wish, ...]]] = [(200, (0.0, 0.0, 0.0, 300.0))]
    far = RAISED
    free = driven(eased(Rig(name="quay", axes=AXES)), hand)
    assert np.array_equal(driven(tied(far), hand), free)


def test_states_are_of_every_axis() -> None:
    assert steer(tied(WALL), resting(HOME), (0.0,) * 4, STEP_S) == Driven(HOME, (0.0,) * 4, (0.0,) * 4)
