"""The line against the least-squares line of all stamps, against its bound, and through what cables do to stamps."""

from math import ceil, sqrt

import numpy as np
import pytest

from sequencer.sync.line import Fit, Line

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


@pytest.mark.parametrize("held", range(2, 25))
@pytest.mark.parametrize("apart_s", [0.0, 2e-4])
def test_stamps_that_come_at_once_as_a_line_begins_say_nothing_of_its_speed(held: int, apart_s: float) -> None:
    """As from a machine that stalled while the master located: the last of them is the least late."""
    line = fed(Line(GAP_S), stamps(1300, seed=held))
    line.clear()  # the jitter of the cable is known by now
    arrived = stamps(held + 12, seed=100 + held)
    late_s = arrived[held]
    for tick, stamp in enumerate(arrived):
        line.feed(tick, max(stamp, late_s + tick * apart_s) if tick < held else max(stamp, late_s + held * apart_s))
        assert line.speed >= 0.2 * GAP_S
        if tick >= held:
            assert line.now(stamp)[0] == pytest.approx(tick, abs=2.5)


@pytest.mark.parametrize("speed", [6.0, 10.0])
@pytest.mark.parametrize("speeds_up", [True, False])
def test_a_wheel_as_fast_as_a_stall_looks_is_followed_and_not_taken_for_normal_speed(
    speed: float, speeds_up: bool
) -> None:
    """Sped up while it is followed, or heard first as it runs: then once it is no stall any more."""
    line, chance = Line(GAP_S), np.random.default_rng(4)
    t_s, now = 0.0, 1.0 if speeds_up else speed
    for tick in range(1500):
        now = min(now + 0.02, speed)
        t_s += GAP_S / now
        line.feed(tick, t_s + float(chance.normal(0.0, 1e-4)))
        if tick > 100:
            assert GAP_S / line.speed == pytest.approx(now, rel=0.25)


@pytest.mark.parametrize(("seed", "speed", "batch_s"), [(9, 1.0, 0.05), (0, 1.0, 0.08), (0, 1.1, 0.05), (1, 2.0, 0.03)])
def test_a_driver_that_hands_over_in_batches_makes_no_clock_that_goes_back(
    seed: int, speed: float, batch_s: float
) -> None:
    """The jitter of a fine cable does not expect them, for as long as they come."""
    chance = np.random.default_rng(seed)
    line = fed(Line(GAP_S), [tick * GAP_S + float(chance.normal(0.0, 1e-4)) for tick in range(400)])
    line.clear()
    first_s = float(chance.uniform(0.0, batch_s))
    for tick in range(800):
        due = ceil((tick * GAP_S / speed - first_s) / batch_s)
        line.feed(tick, first_s + due * batch_s + abs(float(chance.normal(0.0, 2e-4))))
        assert line.speed >= 0.02 * GAP_S


def test_a_day_of_stamps_loses_no_digits() -> None:
    first = 10_000_000
    arrived = [90_000 + stamp for stamp in stamps(1300, seed=3)]
    late = fit_of(fed(Line(GAP_S), arrived, first))
    fresh = fit_of(fed(Line(GAP_S), stamps(1300, seed=3)))
    assert late.v_s == pytest.approx(fresh.v_s, rel=1e-9)
    assert late.x_s - 90_000 == pytest.approx(fresh.x_s, abs=1e-9)


def bound(stamps_held: int, ticks: float) -> float:
    """Return the least standard deviation of a line through that many stamps, `ticks` past the newest, in sigma.

    Source: Cramér-Rao bound of a line: Kay, Fundamentals of Statistical Signal Processing: Estimation Theory,
    section 3; 1/K + ((K-1)/2 + a)^2 12 / (K (K^2 - 1)).
    """
    k = stamps_held
    return sqrt(1 / k + ((k - 1) / 2 + ticks) ** 2 * 12 / (k * (k * k - 1)))


@pytest.mark.parametrize(("lost", "seed"), [(0.0, 1), (0.0, 2), (0.2, 3)])
def test_the_line_of_a_crystal_is_near_the_least_squares_line_of_all_stamps(lost: float, seed: int) -> None:
    arrived = stamps(600, seed=seed)
    kept = np.flatnonzero(np.random.default_rng(seed).random(600) >= lost)
    line = Line(GAP_S)
    taken = np.array([tick for tick in kept.tolist() if line.feed(tick, arrived[tick])])
    assert len(taken) >= len(kept) - 2
    fit = fit_of(line)
    slope, value = np.polyfit(taken - taken[-1], np.array(arrived)[taken], 1)
    assert fit.n == taken[-1]
    # what it remembers less than all of them is worth a part of the bound
    assert abs(fit.x_s - value) < 1e-3 * bound(600, 0)
    assert abs(fit.v_s - slope) < 1e-3 * sqrt(12 / 600**3)


@pytest.mark.parametrize("speed", [1.0, 0.999, 1.04, 0.9])
def test_the_error_is_that_of_the_bound_and_what_is_told_of_it(speed: float) -> None:
    errors, told = [], []
    for seed in range(40):
        line = fed(Line(GAP_S), stamps(512, seed + 900, speed=speed))
        truth_s = 511.5 * GAP_S / speed
        tick, fit = line.now(truth_s)
        errors.append((tick - 511.5) * GAP_S / speed)
        told.append(line.sigma_s * fit.spread(tick - fit.n))
    # 40 runs know their RMS to 11 %, two of which are allowed beside the limit
    assert sqrt(np.mean(np.square(errors))) < 1.2 * 1e-3 * bound(512, 0.5) * 1.22
    assert sqrt(np.mean(np.square(np.array(errors) / told))) == pytest.approx(1, abs=0.35)


def test_memory_grows_to_more_than_five_hundred_stamps_and_sigma_is_learnt() -> None:
    memories, sigmas = [], []
    for seed in range(10):
        line = fed(Line(GAP_S), stamps(1500, seed))
        memories.append(fit_of(line).memory)
        sigmas.append(line.sigma_s)
    assert sorted(memories)[1] > 500
    assert np.mean(sigmas) == pytest.approx(1e-3, rel=0.1)


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


@pytest.mark.parametrize("speed", [1.0, 1.04])
def test_coasting_after_five_seconds_holds_to_the_bound(speed: float) -> None:
    # 1.2 times the bound of 512 stamps, ten seconds after the last
    errors = []
    for seed in range(40):
        line = fed(Line(GAP_S), stamps(600, seed + 700, speed=speed))
        end_s = 599 * GAP_S / speed + 10
        errors.append((line.now(end_s)[0] - 599 - 10 * speed / GAP_S) * GAP_S / speed * 1e3)
    # 40 runs know their RMS to 11 %, two of which are allowed beside the limit
    assert sqrt(np.mean(np.square(errors))) < 1.2 * bound(512, 1200) * 1.22


def test_coasting_goes_on_along_the_fit_that_knows_the_speed_best() -> None:
    # a stamp that is late but not too late makes the clock look restless, and timecode may end just then
    line = fed(Line(GAP_S), stamps(1500, seed=1))
    calm = fit_of(line)
    late_s = line.now(calm.x_s)[1].x_s + GAP_S + 5 * line.sigma_s
    assert line.feed(1500, late_s)
    assert fit_of(line).q > calm.q
    assert line.now(late_s + 0.01)[1] == fit_of(line)
    best = line.now(late_s + 1)[1]
    assert best.n < 1500
    assert best.q <= calm.q


def test_a_hardly_known_speed_is_taken_for_the_nominal_one_unless_it_plainly_is_not() -> None:
    near, far = [], []
    for seed in range(30):
        near.append(fit_of(fed(Line(GAP_S), stamps(40, seed=seed + 30))).v_s / GAP_S - 1)
        far.append(fit_of(fed(Line(GAP_S), stamps(40, seed=seed + 30, speed=1.04))).v_s / GAP_S * 1.04 - 1)
    alone = 1e-3 * sqrt(12 / 40**3) / GAP_S  # what 40 stamps tell by themselves
    assert sqrt(np.mean(np.square(near))) < 0.5 * alone
    # two stamps that are off the same way look like a hand on the wheel for a moment: one such run is allowed
    assert np.sort(np.abs(far))[-2] < 3.5 * alone
