"""The variable-memory line against numpy's own fit, against its bound, and through what cables do to stamps."""

from math import sqrt

import numpy as np
import pytest

from sequencer.sync.line import Fit, Line
from sequencer.sync.playout import Playout

GAP_S = 1 / 120


def stamps(count: int, seed: int, sigma_s: float = 1e-3, speed: float = 1.0) -> list[float]:
    chance = np.random.default_rng(seed)
    arrived: list[float] = np.maximum.accumulate(
        np.arange(count) * GAP_S / speed + chance.normal(0, sigma_s, count)
    ).tolist()
    return arrived


def fed(line: Line, arrived: list[float], first: int = 0) -> Line:
    for tick, stamp in enumerate(arrived, first):
        line.feed(tick, stamp)
    return line


def fit_of(line: Line) -> Fit:
    assert line.fit is not None
    return line.fit


@pytest.mark.parametrize("count", [40, 600, 1500, 4000])
def test_the_line_is_the_least_squares_line_of_its_memory(count: int) -> None:
    arrived = stamps(count, seed=count)
    line = Line(GAP_S)
    taken = [tick for tick, stamp in enumerate(arrived) if line.feed(tick, stamp)]
    fit = fit_of(line)
    ticks = np.array(taken[-fit.memory :])
    slope, value = np.polyfit(ticks - ticks[-1], np.array(arrived)[ticks], 1)
    assert fit.n == taken[-1]
    assert fit.v_s == pytest.approx(slope, rel=1e-9)
    assert fit.x_s == pytest.approx(value, abs=1e-9)


def test_lost_ticks_do_not_bend_the_least_squares_line() -> None:
    arrived = stamps(900, seed=5)
    # a seed by which nothing is readmitted: those stamps would be in the line too
    kept = np.random.default_rng(9).random(900) > 0.2
    line = Line(GAP_S)
    taken = [tick for tick in np.flatnonzero(kept).tolist() if line.feed(tick, arrived[tick])]
    fit = fit_of(line)
    ticks = np.array(taken[-fit.memory :])
    slope, value = np.polyfit(ticks - ticks[-1], np.array(arrived)[ticks], 1)
    assert fit.v_s == pytest.approx(slope, rel=1e-9)
    assert fit.x_s == pytest.approx(value, abs=1e-9)


def test_memory_grows_to_its_cap_at_constant_speed_and_sigma_is_learnt() -> None:
    memories, sigmas = [], []
    for seed in range(10):
        line = fed(Line(GAP_S), stamps(1500, seed))
        memories.append(fit_of(line).memory)
        sigmas.append(line.sigma_s)
    assert sorted(memories)[1] == 1024
    assert np.mean(sigmas) == pytest.approx(1e-3, rel=0.1)


def test_a_day_of_stamps_loses_no_digits() -> None:
    first = 10_000_000
    arrived = [90_000 + stamp for stamp in stamps(1300, seed=3)]
    late = fit_of(fed(Line(GAP_S), arrived, first))
    fresh = fit_of(fed(Line(GAP_S), stamps(1300, seed=3)))
    assert late.v_s == pytest.approx(fresh.v_s, rel=1e-9)
    assert late.x_s - 90_000 == pytest.approx(fresh.x_s, abs=1e-9)


@pytest.mark.parametrize("change", [1.04, 0.96])
def test_memory_shortens_when_the_speed_steps_and_the_line_is_right_again_within_a_second(change: float) -> None:
    before = stamps(1000, seed=11)
    start = 1000 * GAP_S
    after = [start + stamp for stamp in stamps(120, seed=12, speed=change)]
    line = fed(Line(GAP_S), before)
    shortest = 1024
    for tick, stamp in enumerate(after, 1000):
        line.feed(tick, stamp)
        shortest = min(shortest, fit_of(line).memory)
    assert shortest <= 24
    here, _ = line.now(after[-1])
    assert (here - 1000) * GAP_S == pytest.approx((after[-1] - start) * change, abs=2e-3)


def test_a_memory_that_falls_back_by_chance_hardly_moves_the_clock() -> None:
    """Where the newest fit is short by jitter alone, the clock goes on along the long one."""
    short, played = [], []
    for seed in range(6):
        line = Line(GAP_S)
        for tick, stamp in enumerate(stamps(4000, seed)):
            line.feed(tick, stamp)
            fit = fit_of(line)
            if tick > 1500 and fit.memory < 128:
                truth_s = fit.n * GAP_S  # tick n was sent at n gaps
                short.append(fit.x_s - truth_s)
                played.append(line.now(truth_s)[0] * GAP_S - truth_s)
    assert len(short) > 50
    assert np.std(played) < 0.6 * np.std(short)


def test_stamps_held_back_do_not_move_the_line() -> None:
    line = fed(Line(GAP_S), stamps(1000, seed=21))
    before = fit_of(line)
    held = [1007 * GAP_S] * 8
    assert not any(line.feed(1000 + tick, stamp) for tick, stamp in enumerate(held[:7]))
    assert line.outliers == 7
    assert fit_of(line) == before


def test_evenly_spaced_outliers_are_taken_for_the_truth() -> None:
    line = fed(Line(GAP_S), stamps(1000, seed=22))
    moved = [(1000 + tick) * GAP_S + 0.02 for tick in range(60)]
    taken = [line.feed(1000 + tick, stamp) for tick, stamp in enumerate(moved)]
    assert not any(taken[:3])
    assert all(taken[3:])
    tick, _ = line.now(moved[-1])
    assert tick == pytest.approx(1059, abs=0.1)


def test_ticks_that_do_not_rise_are_a_mistake_of_the_caller() -> None:
    line = fed(Line(GAP_S), [0.0, GAP_S])
    with pytest.raises(ValueError, match="ticks rise"):
        line.feed(1, 2 * GAP_S)


@pytest.mark.parametrize("speed", [0.25, 0.5, 2.0, 4.0])
@pytest.mark.parametrize("seed", range(4))
def test_shuttle_speeds_are_found_whatever_the_first_stamps_were(speed: float, seed: int) -> None:
    line = Line(GAP_S)
    arrived = stamps(64, seed=seed, speed=speed)
    arrived[3:6] = [arrived[6]] * 3
    fed(line, arrived)
    assert fit_of(line).v_s == pytest.approx(GAP_S / speed, rel=0.04)


def test_the_line_speaks_of_nothing_before_the_first_stamp() -> None:
    with pytest.raises(ValueError, match="no stamp"):
        Line(GAP_S).now(0.0)


@pytest.mark.parametrize(("memory", "expected"), [(8, 0.711), (16, 0.501), (64, 0.250), (512, 0.088)])
def test_the_spread_is_the_bound(memory: int, expected: float) -> None:
    # values of the Cramér-Rao bound half a tick past the newest stamp, worked by hand
    assert Fit(memory, 0, 0, 1, 0, 0).spread(0.5) == pytest.approx(expected, abs=6e-4)


def test_coasting_after_five_seconds_holds_to_the_bound() -> None:
    # 1.2 times the bound of 512 stamps, ten seconds after the last
    errors = []
    for seed in range(40):
        line = fed(Line(GAP_S), stamps(600, seed + 700))
        end = 599 * GAP_S + 10
        errors.append((line.now(end)[0] * GAP_S - end) * 1e3)
    bound = Fit(512, 0, 0, 1, 0, 0).spread(1200)
    # 40 runs know their RMS to 11 %, two of which are allowed beside the limit
    assert sqrt(np.mean(np.square(errors))) < 1.2 * bound * 1.22


def test_coasting_goes_on_along_the_longest_of_the_newest_fits() -> None:
    # now and then a short window wins by chance, and timecode may end just then
    line = Line(GAP_S)
    memories: list[int] = []
    shorter = 0
    for tick, stamp in enumerate(stamps(3000, seed=1)):
        line.feed(tick, stamp)
        memories.append(fit_of(line).memory)
        shorter += memories[-1] < max(memories[-12:])
        assert line.coast().memory == max(memories[-12:])
    assert shorter > 10


def test_a_slow_ramp_is_seen_by_its_bow() -> None:
    # 0.1 % a second, for four seconds: the bands of all windows still overlap while the longest ones bend
    errors = []
    for seed in range(12):
        speed = 1 + 0.004 * np.clip((np.arange(1920) * GAP_S - 8) / 4, 0, 1)
        due = np.concatenate([[0.0], np.cumsum(GAP_S / speed)[:-1]])
        arrived = np.maximum.accumulate(due + np.random.default_rng(seed).normal(0, 1e-3, len(due)))
        line = Line(GAP_S)
        for tick, stamp in enumerate(arrived.tolist()):
            line.feed(tick, stamp)
            if tick > 960:
                errors.append((fit_of(line).x_s - due[tick]) * 1e3)
    # without the bow: 0.31 ms, and 8 ms at worst
    assert sqrt(np.mean(np.square(errors))) < 0.26
    assert max(map(abs, errors)) < 3


def test_a_hardly_known_speed_coasts_at_the_nominal_one() -> None:
    line = fed(Line(GAP_S), stamps(60, seed=31))
    assert line.coast().v_s == GAP_S
    fast = fed(Line(GAP_S), stamps(60, seed=31, speed=1.5))
    assert fast.coast().v_s == pytest.approx(GAP_S / 1.5, rel=0.02)


def test_playout_flows_and_never_steps() -> None:
    clock = Playout()
    clock.set(0.0, 10.0, 1.0)
    was = clock.position
    for tick in range(1, 400):
        clock.advance(tick * 0.01, 10.02 + tick * 0.01, 1.0)
        # never faster than 6 % off the master's speed
        assert 0.0094 - 1e-12 <= clock.position - was <= 0.0106 + 1e-12
        was = clock.position
    assert clock.position == pytest.approx(10.02 + 3.99, abs=1e-6)


def test_playout_stands_still_when_asked_twice() -> None:
    clock = Playout()
    clock.set(1.0, 5.0, 1.0)
    clock.advance(1.0, 6.0, 1.0)
    assert clock.position == 5.0
