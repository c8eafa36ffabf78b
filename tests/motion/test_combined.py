"""Limits that tie axes together: exact against dense samples, in words, and part of the check."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from sequencer.motion.check import check
from sequencer.motion.compile import compile_move
from sequencer.motion.peaks import Peak, combined_peaks, over
from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Rig
from sequencer.rig.limits import Combined, SumLimit, WhileLimit
from sequencer.score.laws.bezier import Bezier
from sequencer.score.move import Ease, Move, Track
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, Timecode
from tests.motion.machines import LAWS, SECONDS, rig, seeded_keys, track

TIMEBASE = Timebase(Counting(Rate(25)), Timecode(10, 0, 0, 0))
EASES = ("through", "poly345", "harmonic", Ease("bezier", Bezier((0.3, -0.4, 0.6, 1.5))), "cycloidal")


def tied(*limits: Combined, axes: int = 3) -> Rig:
    return replace(rig(axes), combined=limits)


def moving(seed: int, axes: int = 3) -> Move:
    """Return a move whose axes have keys at instants of their own."""
    tracks = []
    for number in range(axes):
        at_s, values = seeded_keys("uneven", 10 * seed + number, 8)
        ease = EASES[(seed + number) % len(EASES)]
        tracks.append(track([float(t) + number / 7 for t in at_s], values.tolist(), ease, f"pan{number}"))
    return Move(tracks=tuple(tracks))


def only(trajectory: Trajectory, machine: Rig) -> Peak:
    (peak,) = combined_peaks(trajectory, machine)
    assert peak is not None
    return peak


def instants(trajectory: Trajectory) -> np.ndarray:
    """Return dense instants with all breaks, from both sides."""
    breaks_s = np.unique(trajectory.from_s)
    dense_s = np.linspace(trajectory.start_s - 1, trajectory.end_s + 1, 400_001)
    return np.sort(np.concatenate((dense_s, breaks_s, np.nextafter(breaks_s, -np.inf))))


def close(exact: float, sampled: float) -> None:
    assert exact >= sampled - 1e-9 * max(abs(sampled), 1)
    assert exact == pytest.approx(sampled, rel=2e-4, abs=1e-4)


@pytest.mark.parametrize("seed", range(5))
def test_a_weighted_sum_is_that_of_dense_samples(seed: int) -> None:
    limit = SumLimit(name="all", sum=(("pan2", -0.5), ("pan0", 1.0), ("pan1", 2.0)), speed=1.0)
    machine = tied(limit)
    trajectory = compile_move(machine, moving(seed), SECONDS, LAWS)
    peak, t_s = only(trajectory, machine), instants(trajectory)
    weights = np.array([1.0, 2.0, -0.5])
    sums = [trajectory.sample(t_s, order) @ weights for order in range(4)]
    close(peak.speed.value, np.abs(sums[1]).max())
    close(peak.high.value, sums[0].max())
    close(-peak.low.value, -sums[0].min())
    for extreme, values in ((peak.acceleration, sums[2]), (peak.jerk, sums[3])):
        if np.isfinite(extreme.value):
            close(extreme.value, np.abs(values).max())
    there = trajectory.sample(np.array([peak.speed.at_s]), 1)[0] @ weights
    assert abs(there) == pytest.approx(peak.speed.value, rel=1e-6)


@pytest.mark.parametrize("seed", range(5))
def test_while_another_axis_is_in_a_range_is_that_of_dense_samples_in_it(seed: int) -> None:
    move = moving(seed, 2)
    trajectory = compile_move(rig(2), move, SECONDS, LAWS)
    t_s = instants(trajectory)
    position, speed = trajectory.sample(t_s), trajectory.sample(t_s, 1)
    low, high = np.quantile(position[:, 1], (0.35, 0.7)).tolist()
    machine = tied(WhileLimit(name="slow", axis="pan0", other="pan1", between=(low, high), speed=1.0), axes=2)
    inside = (position[:, 1] >= low) & (position[:, 1] <= high)
    assert 0 < inside.sum() < len(t_s)
    peak = only(trajectory, machine)
    # between two samples the range may be entered, at what speed the axis has there
    gap = 2 * np.abs(np.diff(speed[:, 0])[np.diff(t_s) > 1e-9]).max(initial=0) + 1e-9
    sampled = np.abs(speed[inside, 0]).max()
    assert sampled - 1e-9 <= peak.speed.value <= max(sampled + gap, sampled * 1.001)
    assert peak.high.value == pytest.approx(position[inside, 0].max(), abs=1e-2)
    assert peak.low.value == pytest.approx(position[inside, 0].min(), abs=1e-2)
    at = trajectory.sample(np.array([peak.speed.at_s]))[0, 1]
    assert low - 1e-6 <= at <= high + 1e-6


def straight(*tracks: Track) -> Move:
    return Move(tracks=tracks)


def test_opposite_axes_cancel_and_equal_ones_add() -> None:
    move = straight(*(track([0, 2], [0, 32], "poly345", f"pan{number}") for number in range(2)))
    both = SumLimit(name="both", sum=(("pan0", 1.0), ("pan1", 1.0)), acceleration=1.0)
    apart = SumLimit(name="apart", sum=(("pan0", 1.0), ("pan1", -1.0)), acceleration=1.0)
    machine = tied(both, apart, axes=2)
    added, cancelled = combined_peaks(compile_move(machine, move, SECONDS, LAWS), machine)
    assert added is not None
    assert cancelled is not None
    # Source: Cam Design Handbook (Rothbart ed., McGraw-Hill 2004), from memory: 15/8 and 10/sqrt(3)
    assert added.speed.value == pytest.approx(2 * 32 / 2 * 15 / 8, rel=1e-12)
    assert added.acceleration.value == pytest.approx(2 * 32 / 4 * 10 / np.sqrt(3), rel=1e-12)
    assert cancelled.speed.value == pytest.approx(0.0, abs=1e-12)


def test_a_jolt_of_one_axis_is_one_of_the_sum() -> None:
    limit = SumLimit(name="both", sum=(("pan0", 1.0), ("pan1", 1.0)), acceleration=100.0)
    machine = tied(limit, axes=2)
    for begin, at_s in ((0, 0.0), (3, 3.0)):  # also where the very first thing that happens is the jolt
        jolt = track([begin, begin + 2], [0, 4], "linear", "pan1")
        gentle = track([1, 5], [0, 10], "poly345", "pan0")
        peak = only(compile_move(machine, straight(gentle, jolt), SECONDS, LAWS), machine)
        assert peak.jump == ("speed", at_s)
    # two jolts against each other are none
    there, back = track([0, 2], [0, 4], "linear", "pan0"), track([0, 2], [0, -4], "linear", "pan1")
    peak = only(compile_move(machine, straight(there, back), SECONDS, LAWS), machine)
    assert peak.jump is None


def test_only_jolts_inside_the_range_count() -> None:
    # the tilt passes 5 at 1.0 s, in the middle of its leg
    gate = track([0, 2], [0, 10], "linear", "pan1")
    early, late = (track([at, at + 3], [0, 9], "linear", "pan0") for at in (0.5, 1.5))
    limit = WhileLimit(name="gate", axis="pan0", other="pan1", between=(5.0, 20.0), acceleration=50.0)
    machine = tied(limit, axes=2)
    for one, jump in ((early, 3.5), (late, 1.5)):
        peak = only(compile_move(machine, straight(one, gate), SECONDS, LAWS), machine)
        assert peak.jump == ("speed", jump)
    above = replace(limit, between=(11.0, 20.0))
    machine = tied(above, axes=2)
    assert combined_peaks(compile_move(machine, straight(early, gate), SECONDS, LAWS), machine) == (None,)


def test_a_rest_at_the_very_end_of_a_range_is_inside() -> None:
    tilt = track([0, 1, 3, 4], [0, 45, 45, 0], [Ease("poly345"), Ease("hold"), Ease("poly345"), Ease("hold")], "pan1")
    pan = track([1, 3], [0, 20], "poly345", "pan0")
    machine = tied(WhileLimit(name="up", axis="pan0", other="pan1", between=(45.0, 90.0), speed=10.0), axes=2)
    peak = only(compile_move(machine, straight(pan, tilt), SECONDS, LAWS), machine)
    assert peak.speed.value == pytest.approx(20 / 2 * 15 / 8)


def test_an_axis_may_be_limited_by_where_it_is_itself() -> None:
    near_the_end = WhileLimit(name="end", axis="pan0", other="pan0", between=(16.0, 40.0), speed=10.0)
    machine = tied(near_the_end, axes=1)
    one = only(compile_move(machine, straight(track([0, 2], [0, 32], "poly345")), SECONDS, LAWS), machine)
    assert (one.speed.value, one.speed.at_s) == pytest.approx((30.0, 1.0))
    assert one.low.value == pytest.approx(16.0)


def test_what_is_over_together_is_said_in_words() -> None:
    move = straight(
        track([0, 2], [0, 32], "poly345", "pan0"),
        track([0, 2], [0, 16], "poly345", "pan1"),
    )
    machine = tied(
        SumLimit(name="head and slide", sum=(("pan0", 1.0), ("pan1", -0.5)), speed=20.0, travel=(-10.0, 24.0)),
        WhileLimit(name="raised", axis="pan0", other="pan1", between=(4.0, 12.0), speed=25.0, jerk=1000.0),
        WhileLimit(name="wall", axis="pan0", other="pan1", between=(8.0, 90.0), travel=(-5.0, 30.0)),
        axes=2,
    )
    words = [one.words(TIMEBASE) for one in over(compile_move(machine, move, SECONDS, LAWS), machine)]
    assert words == [
        "head and slide (pan0 - 0.5 pan1) asks 22.5 of speed at 10:00:01:00, limit 20; "
        "give the leg more time or a gentler ease",
        "pan0, while pan1 is between 4 and 12, asks 30 deg/s at 10:00:01:00, limit 25; "
        "give the leg more time or a gentler ease",
        "pan0, while pan1 is between 8 and 90, goes to 32 deg at 10:00:02:00, its travel ends at 30; "
        "move the key inside the travel, or choose an ease that does not overshoot",
    ]


def test_combined_limits_are_part_of_the_check() -> None:
    move = straight(track([0, 2], [0, 32], "poly345", "pan0"), track([0, 2], [0, 16], "poly345", "pan1"))
    limit = SumLimit(name="both", sum=(("pan0", 1.0), ("pan1", 1.0)), speed=36.0)
    done = check(tied(limit, axes=2), move, SECONDS, LAWS)
    assert not done.ok
    assert done.over() == []
    ((broken, asked),) = done.combined_over()
    assert (broken, asked.of) == (limit, "speed")
    assert (asked.value, asked.at_s) == pytest.approx((45.0, 1.0))
    assert done.reserve == pytest.approx(-0.25)
    assert done.speed_factor == pytest.approx(0.8)
    slower = check(tied(limit, axes=2), move, SECONDS, LAWS, Fraction(4, 5))
    assert slower.ok
    assert slower.reserve == pytest.approx(0.0, abs=1e-9)
    (peak,) = slower.combined
    assert peak is not None
    assert (peak.speed.value, peak.speed.at_s) == pytest.approx((36.0, 1.0))
