"""A master that goes elsewhere: by a jump, by a full frame, by turning round, by stalling."""

from dataclasses import replace

import pytest

from sequencer.sync.address import standing
from sequencer.sync.mtc import mtc_follower
from sequencer.sync.reading import Clock, Lock
from tests.sync.master import COUNTINGS, Sent, chance, first, gap_s, later, run, ten_o_clock, timebase, until, watch

MTC_25 = COUNTINGS["25"]
TEN = ten_o_clock(MTC_25)
GAP_S = gap_s(MTC_25)
MS = 1e-3


@pytest.mark.parametrize("back", [75, 7500, -750])
@pytest.mark.parametrize("held", [3, 6, 10])
@pytest.mark.parametrize("seed", range(3))
def test_a_full_frame_and_pieces_that_come_at_once_are_no_master_gone_wild(back: int, held: int, seed: int) -> None:
    """The machine stalls for some quarter frames while the master locates: then they come all at once."""
    frame = TEN + 5000 - back
    pieces = run(MTC_25, frame, 1.0, chance(seed), at_s=2.0, sigma_s=2e-4)
    comes_s = pieces[held].at_s
    late = [replace(one, at_s=max(one.at_s, comes_s + 2e-4 * place)) for place, one in enumerate(pieces)]
    full = Sent(comes_s, 2.0, 4 * frame, standing(MTC_25, frame))
    follower = mtc_follower(timebase(MTC_25))
    before = until(run(MTC_25, TEN + 4950, 3.0, chance(seed + 50)), 2.0)
    there_s = (frame - TEN) * 4 * GAP_S
    for clock in watch(follower, [*before, full, *late], 2.9, tick_s=0.002):
        since_s = clock.at_ns * 1e-9 - 2
        if since_s > 0 and clock.lock is Lock.LOCKED and clock.jumps > 1:
            assert 0 < clock.speed < 5.5
            assert clock.position_s == pytest.approx(there_s + since_s, abs=held * GAP_S + 0.02)


def test_pieces_that_fit_by_chance_after_a_jump_are_not_used() -> None:
    counting = COUNTINGS["30"]
    start = ten_o_clock(counting)
    sent = until(run(counting, start, 4.0, chance(1)), 2.0)
    sent += run(counting, start + 45_000, 1.0, chance(2), at_s=2.0)
    follower = mtc_follower(timebase(counting))
    list(watch(follower, sent, 2.9))
    old = [stamp_ns * 1e-9 for stamp_ns, position_s in follower.sightings() if position_s < 100]
    assert max(old) < 2.0 + 8 / 120


@pytest.mark.parametrize("name", COUNTINGS)
@pytest.mark.parametrize("seed", range(6))
def test_a_jump_without_full_frame_is_followed_within_three_cycles(name: str, seed: int) -> None:
    counting = COUNTINGS[name]
    gap = gap_s(counting)
    start = ten_o_clock(counting)
    goal = start + [9, -400, 1500, 45_000, 108_000, -61][seed]
    sent = until(run(counting, start + 50, 3.0, chance(seed)), 2.0)
    sent += run(counting, goal, 1.5, chance(seed + 50), at_s=2.0, skip=seed)
    follower = mtc_follower(timebase(counting))
    clocks = list(watch(follower, sent, 3.4, tick_s=0.002))
    goal_s = (goal - start) * 4 * gap

    def there(clock: Clock) -> bool:
        return clock.steers and abs(clock.position_s - (goal_s + clock.at_ns * 1e-9 - 2)) < 3 * MS

    begun = 2.0 + seed * gap
    # a jump that changes few pieces needs three cycles to be told from misread ones
    assert first(clocks, lambda clock: clock.at_ns > 2e9 and there(clock)) - begun <= 23 * gap + 5 * MS
    assert there(clocks[-1])
    assert clocks[-1].jumps == 2
    (told,) = follower.troubles()
    assert told.startswith("timecode jumped from 10:00:0")
    assert follower.counts.jumps == 1


@pytest.mark.parametrize("name", COUNTINGS)
@pytest.mark.parametrize("frames", [2, -2])
@pytest.mark.parametrize("phase", [0, 3, 7])
def test_a_jump_of_one_cycle_is_a_jump_at_any_jitter(name: str, frames: int, phase: int) -> None:
    # the pieces go on in their order, two frames of label further or back: the smallest step that they cannot show
    counting = COUNTINGS[name]
    gap = gap_s(counting)
    start = ten_o_clock(counting)
    jump_s = (400 + phase) * gap
    for sigma_s in (0.0, 1e-3):
        sent = until(run(counting, start, 6.0, chance(phase), sigma_s=sigma_s), jump_s - gap / 2)
        moved = run(counting, start + frames, 6.0, chance(phase + 1), sigma_s=sigma_s)
        sent += [one for one in moved if one.due_s >= jump_s - gap / 2]
        follower = mtc_follower(timebase(counting))
        clocks = [clock for clock in watch(follower, sent, jump_s + 1, tick_s=0.002) if clock.at_ns > jump_s * 1e9]

        def there(clock: Clock) -> bool:
            return clock.steers and abs(clock.position_s - clock.at_ns * 1e-9 - 4 * frames * gap) < 3 * MS

        assert first(clocks, there) - jump_s <= 23 * gap + 5 * MS
        assert all(there(clock) for clock in clocks if clock.at_ns * 1e-9 > jump_s + 24 * gap)
        assert (follower.counts.jumps, clocks[-1].jumps) == (1, 2)


def test_a_master_that_stalls_for_less_than_a_frame_is_caught_up_with_and_it_is_told() -> None:
    # no piece says anything else than the next place: the clock slows down by 6 % until it is there
    stall_s = 3 * GAP_S
    whole = run(MTC_25, TEN, 8.0, chance(2), sigma_s=3e-4)
    sent = until(whole, 4.0) + later([one for one in whole if one.due_s >= 4.0], stall_s)
    follower = mtc_follower(timebase(MTC_25))
    clocks = list(watch(follower, sent, 7.0))
    assert clocks[-1].jumps == 1
    settled = [clock for clock in clocks if clock.steers and clock.at_ns > 1e9]
    assert all(0.93 < clock.speed < 1.07 for clock in settled)
    caught_s = 4.0 + stall_s / 0.06 + 0.5
    for clock in settled:
        if clock.at_ns * 1e-9 > caught_s:
            assert clock.position_s == pytest.approx(clock.at_ns * 1e-9 - stall_s, abs=1 * MS)
        elif clock.at_ns * 1e-9 > 4.0 + stall_s + 5 * GAP_S:
            # what it still has to make up for is in what it says of its own error
            off = abs(clock.position_s - (clock.at_ns * 1e-9 - stall_s))
            assert off < 1.3 * clock.uncertainty_s + 1 * MS
    assert follower.troubles() == ("the master slipped by more than 20 ms; the rig is catching up",)


def test_a_jump_is_told_with_both_labels() -> None:
    follower = mtc_follower(timebase(MTC_25))
    sent = until(run(MTC_25, TEN, 4.0, chance(3)), 3.0) + run(MTC_25, TEN + 1500, 1.0, chance(4), at_s=3.0)
    list(watch(follower, sent, 3.9))
    assert follower.troubles() == ("timecode jumped from 10:00:03:03 to 10:01:00:03",)


def test_a_jump_with_full_frame_is_followed_within_two_gaps() -> None:
    follower = mtc_follower(timebase(MTC_25))
    sent = until(run(MTC_25, TEN, 3.0, chance(3)), 2.0)
    sent += [Sent(2.001, 2.0, 0, standing(MTC_25, TEN + 9000))]
    sent += run(MTC_25, TEN + 9000, 1.0, chance(4), at_s=2.2)
    clocks = list(watch(follower, sent, 3.0, tick_s=0.001))
    located = [clock for clock in clocks if 2.01 < clock.at_ns * 1e-9 < 2.19]
    assert all((clock.lock, clock.position_s, clock.speed) == (Lock.LOCATED, 360.0, 0.0) for clock in located)
    assert first(clocks, lambda clock: clock.at_ns > 2.19e9 and clock.steers) - 2.2 <= 2 * GAP_S + 2 * MS
    assert clocks[-1].position_s == pytest.approx(360.8, abs=3 * MS)


@pytest.mark.parametrize("frames", [25, -1500, 45_000])
@pytest.mark.parametrize("off", [0, 1])
def test_a_master_that_starts_elsewhere_than_it_was_located_steers_for_less_than_a_cycle(frames: int, off: int) -> None:
    # two pieces tell a frame's number only; the first of the others that tells another place ends it
    follower = mtc_follower(timebase(MTC_25))
    sent = [Sent(0.0, 0.0, 0, standing(MTC_25, TEN))]
    sent += run(MTC_25, TEN + frames + off, 2.0, chance(4), at_s=0.5)
    clocks = list(watch(follower, sent, 2.4, tick_s=0.001))

    def there(clock: Clock) -> bool:
        return abs(clock.position_s - (frames + off) / 25 - (clock.at_ns * 1e-9 - 0.5)) < 3 * MS

    wrong = [clock for clock in clocks if clock.steers and not there(clock)]
    assert 0 < len(wrong) <= 7 * GAP_S / 0.001
    assert {clock.lock for clock in clocks if wrong[-1].at_ns < clock.at_ns < 0.5e9 + 7 * GAP_S * 1e9} == {Lock.LOCATED}
    right = first(clocks, lambda clock: clock.steers and there(clock))
    # eight pieces, and each of them once more, from the first on
    assert right - 0.5 <= 15 * GAP_S + 5 * MS
    assert all(there(clock) for clock in clocks if clock.steers and clock.at_ns * 1e-9 >= right)
    assert follower.counts.jumps == 0


def test_full_frames_locate_a_master_that_stands() -> None:
    follower = mtc_follower(timebase(MTC_25))
    follower.feed(0, standing(MTC_25, TEN + 25))
    clock = follower.at(1_000_000_000)
    assert (clock.lock, clock.position_s, clock.speed, clock.steers) == (Lock.LOCATED, 1.0, 0.0, False)
    assert clock.uncertainty_s < 1 / 25
    follower.feed(2_000_000_000, standing(MTC_25, TEN - 25))
    assert follower.at(2_500_000_000).position_s == -1.0
    assert follower.at(2_500_000_000).jumps == 2


@pytest.mark.parametrize("off", [-1, 0, 1])
def test_a_full_frame_while_running_there_changes_nothing(off: int) -> None:
    sent = run(MTC_25, TEN, 3.0, chance(3))
    sent.append(Sent(2.0, 2.0, 0, standing(MTC_25, TEN + 50 + off)))
    sent.sort(key=lambda one: one.at_s)
    clocks = list(watch(mtc_follower(timebase(MTC_25)), sent, 2.9))
    assert all(clock.lock is Lock.LOCKED for clock in clocks if clock.at_ns > 1e9)
    assert clocks[-1].jumps == 1


@pytest.mark.parametrize("off", [-3, 3])
def test_a_full_frame_three_frames_away_is_a_jump(off: int) -> None:
    sent = [*until(run(MTC_25, TEN, 3.0, chance(3)), 2.0), Sent(2.002, 2.0, 0, standing(MTC_25, TEN + 50 + off))]
    follower = mtc_follower(timebase(MTC_25))
    clocks = list(watch(follower, sent, 2.02, tick_s=0.002))
    assert clocks[-1].lock is Lock.LOCATED
    assert clocks[-1].position_s == pytest.approx(2 + off / 25)
    assert follower.counts.jumps == 1


def test_a_master_that_stops_and_says_where_does_not_let_the_rig_run_on() -> None:
    sent = [*until(run(MTC_25, TEN, 3.0, chance(3)), 2.0), Sent(2.003, 2.0, 0, standing(MTC_25, TEN + 50))]
    clocks = list(watch(mtc_follower(timebase(MTC_25)), sent, 4.0))
    assert first(clocks, lambda clock: clock.lock is Lock.LOCATED) < 2.06
    assert clocks[-1].position_s == 2.0
    assert not any(clock.lock is Lock.FREEWHEEL for clock in clocks)


@pytest.mark.parametrize("name", COUNTINGS)
def test_it_turns_with_the_master_and_back(name: str) -> None:
    counting = COUNTINGS[name]
    gap = gap_s(counting)
    start = ten_o_clock(counting)
    there = until(run(counting, start, 3.0, chance(1)), 40 * gap * 4)
    turn_s = 160 * gap
    back = later(run(counting, start + 40, 2.0, chance(2), backward=True), turn_s)[: 4 * 30]
    again_s = back[-1].due_s + gap
    again = later(run(counting, start + 10, 2.0, chance(3)), again_s)
    follower = mtc_follower(timebase(counting))
    clocks = list(watch(follower, there + back + again, again_s + 1, tick_s=0.001))

    def good(clock: Clock) -> bool:
        at_s = clock.at_ns * 1e-9
        truth = at_s if at_s < turn_s else 2 * turn_s - at_s if at_s < again_s else 40 * gap + at_s - again_s
        return clock.steers and abs(clock.position_s - truth) < 3 * MS

    assert first(clocks, lambda clock: clock.at_ns * 1e-9 > turn_s + 2 * gap and good(clock)) - turn_s <= 5 * gap
    middle = next(clock for clock in clocks if clock.at_ns * 1e-9 > turn_s + 60 * gap)
    assert middle.speed == pytest.approx(-1, abs=0.02)
    assert first(clocks, lambda clock: clock.at_ns * 1e-9 > again_s + 2 * gap and good(clock)) - again_s <= 6 * gap
    assert follower.counts.turns == 2
    assert "timecode runs backward" in follower.troubles()
