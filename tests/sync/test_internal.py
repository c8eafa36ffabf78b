"""The program's own time."""

from sequencer.sync.internal import InternalFollower
from sequencer.sync.reading import Follower, Lock


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
