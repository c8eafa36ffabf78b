"""Two masters on one port: whose piece is whose cannot be told, so none of them may move the rig anywhere."""

import pytest

from sequencer.sync.followed import Followed
from sequencer.sync.mtc import mtc_follower
from sequencer.sync.reading import Clock, Lock
from tests.sync.master import COUNTINGS, Sent, chance, gap_s, later, run, ten_o_clock, timebase, until, watch

TWO = "two timecodes arrive on this port; leave only one of them connected"
MS = 1e-3


def together(*masters: list[Sent]) -> list[Sent]:
    return sorted((one for sent in masters for one in sent), key=lambda one: one.at_s)


def followed(sent: list[Sent], name: str, until_s: float) -> tuple[Followed, list[Clock]]:
    follower = mtc_follower(timebase(COUNTINGS[name]))
    return follower, list(watch(follower, sent, until_s))


@pytest.mark.parametrize("name", COUNTINGS)
@pytest.mark.parametrize("phase", [0.0, 0.3, 1.5, 3.2, 4.7, 6.4])
@pytest.mark.parametrize("frames", [1, 32, -1800, 54_000])
def test_two_timecodes_from_the_start_never_steer(name: str, phase: float, frames: int) -> None:
    counting = COUNTINGS[name]
    start = ten_o_clock(counting)
    other = run(counting, start + frames, 2.5, chance(2), at_s=phase * gap_s(counting))
    _, clocks = followed(together(run(counting, start, 2.5, chance(1)), other), name, 2.5)
    assert not any(clock.steers for clock in clocks)


@pytest.mark.parametrize("name", COUNTINGS)
@pytest.mark.parametrize("phase", [0.4, 1.5, 3.2, 4.7, 6.4])
@pytest.mark.parametrize("frames", [32, -1800, 54_000])
def test_a_second_timecode_ends_the_following_of_the_first_without_a_jump(name: str, phase: float, frames: int) -> None:
    counting = COUNTINGS[name]
    start = ten_o_clock(counting)
    first = run(counting, start, 7.0, chance(1))
    # it is taken away again after three seconds
    second = until(run(counting, start + frames, 7.0, chance(2), at_s=phase * gap_s(counting)), 6.0)
    follower, clocks = followed(together(first, [one for one in second if one.due_s > 3]), name, 7.0)
    assert follower.troubles()[0] == TWO
    assert follower.counts.mixed > 100
    assert follower.counts.jumps == 0
    for clock in clocks:
        if clock.steers:
            # it coasts on from where the first one was, with a speed that both have bent
            assert clock.position_s == pytest.approx(clock.at_ns * 1e-9, abs=120 * MS)
    assert any(clock.lock is Lock.LOST for clock in clocks)


@pytest.mark.parametrize("name", COUNTINGS)
def test_the_same_timecode_twice_a_few_milliseconds_apart_is_followed_and_told(name: str) -> None:
    counting = COUNTINGS[name]
    first = run(counting, ten_o_clock(counting), 6.0, chance(1), sigma_s=3e-4)
    second = later(run(counting, ten_o_clock(counting), 6.0, chance(2), sigma_s=3e-4), 4 * MS)
    follower, clocks = followed(together(first, second), name, 6.0)
    assert follower.troubles() == ("each quarter frame arrives twice; is the master connected twice?",)
    assert follower.counts.doubled > 300
    assert clocks[-1].jumps == 1
    for clock in clocks:
        if clock.steers:
            # the earlier of the two
            assert clock.position_s == pytest.approx(clock.at_ns * 1e-9, abs=2 * MS)


@pytest.mark.parametrize("gaps", [1.4, 2.5, 5.6])
def test_the_same_timecode_twice_further_apart_is_two_timecodes(gaps: float) -> None:
    counting = COUNTINGS["25"]
    whole = run(counting, ten_o_clock(counting), 6.0, chance(1))
    second = [one for one in later(run(counting, ten_o_clock(counting), 6.0, chance(2)), gaps * 0.01) if one.due_s > 2]
    follower, clocks = followed(together(whole, second), "25", 6.0)
    assert follower.troubles()[0] == TWO
    for clock in clocks:
        if clock.steers:
            assert clock.position_s == pytest.approx(clock.at_ns * 1e-9, abs=30 * MS)
    assert clocks[-1].lock is Lock.LOST


def test_one_timecode_with_all_its_faults_is_not_taken_for_two() -> None:
    # the faults' own tests look at positions; this one at the words
    counting = COUNTINGS["30 drop"]
    generator = chance(3)
    sent = run(counting, ten_o_clock(counting), 30.0, generator)
    sent = [one for one in sent if generator.random() > 0.1]
    spoilt = []
    for one in sent:
        spoilt.append(one)
        if generator.random() < 0.1:
            spoilt.append(Sent(one.at_s, one.due_s, one.quarter, bytes((0xF1, int(generator.integers(128))))))
    follower, clocks = followed(spoilt, "30 drop", 30.0)
    assert TWO not in follower.troubles()
    assert follower.counts.mixed == 0
    assert clocks[-1].lock is Lock.LOCKED
