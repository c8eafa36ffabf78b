"""The program's own time."""

import pytest

from sequencer.sync.internal import InternalFollower
from sequencer.sync.reading import Follower, Lock

SECOND_NS = 1_000_000_000


def test_it_waits_runs_and_stands() -> None:
    clock = InternalFollower()
    assert clock.at(1_000).lock is Lock.WAITING
    clock.start(2_000_000_000, -1.5)
    assert clock.at(1_000_000_000).position_s == -2.5
    running = clock.at(4_000_000_000)
    assert (running.lock, running.position_s, running.speed, running.steers) == (Lock.LOCKED, 0.5, 1.0, True)
    clock.halt()
    stands = clock.at(9_000_000_000)
    assert (stands.lock, stands.position_s, stands.speed, stands.steers) == (Lock.LOCATED, 0.5, 0.0, False)


def test_it_does_not_drift_over_a_day() -> None:
    clock = InternalFollower()
    clock.start(0, 0.0)
    for second in range(0, 86_401, 100):
        last = clock.at(second * 1_000_000_000)
    assert last.position_s == 86_400.0


def test_it_is_a_follower_like_any_other() -> None:
    clock = InternalFollower()
    follower: Follower = clock
    follower.feed(0, b"\xf1\x00")
    clock.start(5, 1.0)
    assert follower.sightings() == ((5, 1.0),)
    assert follower.sightings() == ()
    assert follower.troubles() == ()
    assert follower.counts.quarter_frames == 0
    first = follower.at(10).jumps
    clock.start(20, 2.0)
    assert follower.at(30).jumps == first + 1


def test_it_starts_halts_and_starts_again_from_where_it_stands_exact_to_the_stamps() -> None:
    """The stamps lie between the ticks at which it is asked, 4 ms apart."""
    clock = InternalFollower()
    clock.at(0)
    clock.start(1_300_000)
    assert clock.at(4_000_000).position_s == pytest.approx(0.002_7, abs=1e-12)
    clock.at(8_000_000)
    clock.halt(9_100_000)
    assert clock.at(12_000_000).position_s == pytest.approx(0.007_8, abs=1e-12)
    # a stamp before the last look counts just as well
    clock.start(10_000_000)
    assert clock.at(20_000_000).position_s == pytest.approx(0.017_8, abs=1e-12)
    clock.halt(19_000_000)
    assert clock.at(24_000_000).position_s == pytest.approx(0.016_8, abs=1e-12)


def test_a_clock_that_runs_is_not_disturbed_by_another_start() -> None:
    clock = InternalFollower()
    clock.start(0)
    before = clock.at(SECOND_NS)
    clock.start(SECOND_NS)
    after = clock.at(2 * SECOND_NS)
    assert (after.position_s, after.jumps) == (before.position_s + 1, before.jumps)
    assert clock.sightings() == ((0, 0.0),)


def test_a_clock_that_stands_goes_on_standing_where_it_is() -> None:
    clock = InternalFollower()
    clock.locate(7.0)
    clock.at(SECOND_NS)
    clock.halt(5 * SECOND_NS)
    assert clock.at(6 * SECOND_NS).position_s == 7.0


@pytest.mark.parametrize("runs", [False, True])
def test_a_locate_stands_there_and_counts_as_a_jump(runs: bool) -> None:
    clock = InternalFollower()
    if runs:
        clock.start(0, 3.0)
    jumps = clock.at(SECOND_NS).jumps
    clock.locate(12.5)
    for now_ns in (SECOND_NS, 9 * SECOND_NS):
        there = clock.at(now_ns)
        assert (there.lock, there.position_s, there.speed) == (Lock.LOCATED, 12.5, 0.0)
        assert (there.jumps, there.uncertainty_s) == (jumps + 1, 0.0)
    clock.start(10 * SECOND_NS)
    assert clock.at(11 * SECOND_NS).position_s == 13.5
