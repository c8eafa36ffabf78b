"""What an axis reached, from rows that were made to reach it."""

import numpy as np
import pytest
from scipy import stats

from sequencer.takes.trials import reached
from sequencer.takes.trials.seen import Floats, Seen
from sequencer.takes.trials.step import REST_S, Step
from sequencer.takes.trials.steps import Most, pull, run, stairs
from tests.takes.trials.rows import behind_play, seen_of

MOST = Most(speed=90.0, acceleration=200.0)


def step(found: Step | None) -> Step:
    assert found is not None
    return found


def test_a_slope_and_its_error_are_those_of_a_linear_regression() -> None:
    """Source: scipy.stats.linregress."""
    chance = np.random.default_rng(5)
    at_s = np.linspace(3.0, 4.0, 60)
    position = 2.0 - 7.5 * at_s + chance.normal(0.0, 0.1, len(at_s))
    found, known = reached.slope(at_s, position, 1), stats.linregress(at_s, position)
    assert found is not None
    assert found.value == pytest.approx(known.slope, rel=1e-9)
    assert found.error == pytest.approx(known.stderr, rel=1e-9)


def test_a_parabolas_curvature_is_its_acceleration() -> None:
    at_s: Floats = np.linspace(10.0, 10.2, 50)
    found = reached.slope(at_s, 4.0 + 3.0 * at_s - 120.0 * at_s**2 / 2, 2)
    assert found is not None
    assert found.value == pytest.approx(-120.0, rel=1e-6)


@pytest.mark.parametrize("count", [0, 1, 4])
def test_few_points_have_no_slope(count: int) -> None:
    assert reached.slope(np.arange(float(count)), np.arange(float(count)), 1) is None


@pytest.mark.parametrize("acceleration", [20.0, 80.0, 200.0])
def test_an_ideal_rig_reaches_what_is_asked(acceleration: float) -> None:
    one = step(pull(0.0, 100.0, MOST, acceleration, MOST.cap, 0))
    seen = seen_of(one, lambda at_s, position: np.interp(at_s - 0.01, at_s, position), noise=0.001)
    for leg in one.legs:
        found = reached.acceleration(seen, leg)
        assert found is not None
        assert found.value == pytest.approx(leg.acceleration, rel=0.02)
        assert found.error < 0.02 * leg.acceleration
    one = step(run(0.0, 1000.0, 60.0, acceleration, 0, 0.0))
    seen = seen_of(one, lambda at_s, position: np.interp(at_s - 0.01, at_s, position), noise=0.001)
    for leg in one.legs:
        found = reached.speed(seen, leg, 0.01, 0.0, 0.0)
        assert found is not None
        assert found.value == pytest.approx(60.0, rel=1e-3)


@pytest.mark.parametrize("play", [0.8, 3.0])
def test_play_that_outlasts_the_ramp_is_no_part_of_the_speed(play: float) -> None:
    """The load stands until its motor has gone through the play, and then goes as fast as it."""
    one = step(run(0.0, 1000.0, 10.0, 100.0, 0, play))
    assert one.legs[0].speed * one.legs[0].ramp_s / 2 < play
    seen = seen_of(one, lambda at_s, position: behind_play(position, play))
    for leg in one.legs:
        found = reached.speed(seen, leg, 0.0, 0.0, play)
        assert found is not None
        assert found.value == pytest.approx(10.0, rel=1e-3)


def test_where_nothing_is_said_nothing_is_reached() -> None:
    one = step(pull(0.0, 100.0, MOST, 80.0, MOST.cap, 0))
    none = np.empty(0)
    dumb = Seen(asked_s=none, asked=none, actual_s=none, actual=none, begun=False)
    assert reached.acceleration(dumb, one.legs[0]) is None
    assert reached.speed(dumb, one.legs[0], 0.0, 0.0, 0.0) is None
    assert reached.top_speed(dumb, one.legs[0]) == 0.0
    assert reached.noise(dumb, 0.0, 1.0) == 0.0
    assert reached.play(dumb, one.legs, 0.2) == ()
    assert reached.resolution(none) == 0.0


@pytest.mark.parametrize("grid", [0.0055, 0.02, 1e-4])
@pytest.mark.parametrize("single", [False, True])
def test_an_encoders_step_is_seen(grid: float, single: bool) -> None:
    chance = np.random.default_rng(3)
    places = np.concatenate((np.linspace(-30.0, 10.0, 4000), 10.0 + chance.normal(0.0, 3 * grid, 1000)))
    moved = np.rint(places / grid) * grid
    seen = moved.astype(np.float32).astype(float) if single else moved
    assert reached.resolution(seen) == pytest.approx(grid, rel=1e-3)


def test_readings_without_a_grid_have_no_step() -> None:
    chance = np.random.default_rng(2)
    assert reached.resolution(np.linspace(-30.0, 10.0, 4000) + chance.normal(0.0, 0.01, 4000)) == 0.0
    assert reached.resolution(np.repeat([1.0, 2.0], 50)) == 0.0, "two readings are no grid"
    # an even motion over an encoder that is far finer than its own steps
    assert reached.resolution(np.rint(np.linspace(-30.0, 10.0, 4000) / 1e-4) * 1e-4) == 0.0


def test_noise_is_that_of_the_rest_before_the_first_leg() -> None:
    one = step(pull(0.0, 100.0, MOST, 80.0, MOST.cap, 0))
    seen = seen_of(one, lambda at_s, position: position, noise=0.02)
    assert reached.noise(seen, 0.0, REST_S) == pytest.approx(0.02, rel=0.2)


@pytest.mark.parametrize("grid", [0.0, 0.01])
@pytest.mark.parametrize("play", [0.03, 0.2])
def test_play_is_the_difference_of_standing_after_both_ways(play: float, grid: float) -> None:
    one = stairs(0.0, 100.0, MOST, 10 * play, grid, 0.2)

    def answer(at_s: Floats, position: Floats) -> Floats:
        way = np.zeros(len(position))
        for leg in one.legs:
            way[at_s >= leg.at_s] = leg.way
        load = position - way * play / 2
        return np.rint(load / grid) * grid if grid else load

    plays = reached.play(seen_of(one, answer), one.legs, 0.2)
    assert len(plays) == 6
    # the places stand at all parts of the encoder's step, which is therefore no part of their mean
    assert float(np.mean(plays)) == pytest.approx(play, abs=grid / 6 + 1e-9)
