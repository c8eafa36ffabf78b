"""The follower as the tick uses it: stamped bytes in, clocks out, against where the master truly was."""

from itertools import islice

import numpy as np
import pytest

from sequencer.sync.address import standing
from sequencer.sync.mtc import mtc_follower
from sequencer.sync.reading import Follow, Follower, Lock
from sequencer.timebase.rate import RATES, Rate
from sequencer.timebase.timecode import Counting, Timebase, Timecode, count, label, parse
from sequencer.wire.mtc import Address, FullFrame
from tests.sync.master import COUNTINGS, Sent, chance, first, gap_s, later, run, ten_o_clock, timebase, until, watch

MTC_25 = COUNTINGS["25"]
TEN = ten_o_clock(MTC_25)
GAP_S = gap_s(MTC_25)
MS = 1e-3


@pytest.mark.parametrize("name", COUNTINGS)
@pytest.mark.parametrize("backward", [False, True], ids=["forward", "backward"])
@pytest.mark.parametrize("skip", range(8))
def test_joining_at_any_phase(name: str, skip: int, backward: bool) -> None:
    counting = COUNTINGS[name]
    gap = gap_s(counting)
    frame = ten_o_clock(counting) + 1000 + 37 * skip
    sent = run(counting, frame, 1.0, chance(skip), skip=skip, backward=backward)
    clocks = list(watch(mtc_follower(timebase(counting)), sent, 1.0, tick_s=0.001))
    begun = sent[0].due_s
    assert first(clocks, lambda clock: clock.lock is not Lock.WAITING) - begun <= 7 * gap + 5 * MS
    assert first(clocks, lambda clock: clock.steers) - begun <= 15 * gap + 5 * MS
    way = -1 if backward else 1
    start_s = (frame - ten_o_clock(counting)) * 4 * gap
    for clock in clocks:
        if clock.lock is not Lock.WAITING:
            assert clock.position_s - (start_s + way * clock.at_ns * 1e-9) == pytest.approx(0, abs=4 * MS)
    assert clocks[-1].speed == pytest.approx(way, abs=0.01)
    assert clocks[-1].jumps == 1


def test_positions_and_sightings_are_exact_without_jitter() -> None:
    counting = COUNTINGS["30 drop"]
    follower = mtc_follower(timebase(counting))
    frame = ten_o_clock(counting) + 3 * 1798
    clocks = list(watch(follower, run(counting, frame, 3.0, chance(0), sigma_s=0), 2.5))
    for clock in clocks:
        if clock.steers:
            truth = float(counting.rate.seconds(frame - ten_o_clock(counting))) + clock.at_ns * 1e-9
            assert clock.position_s == pytest.approx(truth, abs=1e-9)
    sightings = follower.sightings()
    assert len(sightings) > 250
    for stamp_ns, position_s in sightings:
        assert position_s - stamp_ns * 1e-9 == pytest.approx(float(counting.rate.seconds(3 * 1798)), abs=2e-9)
    assert follower.sightings() == ()


def test_the_same_bytes_give_the_same_clocks() -> None:
    sent = run(MTC_25, TEN, 2.0, chance(4))
    once = list(watch(mtc_follower(timebase(MTC_25)), sent, 3.0))
    # split bytes arrive with the same stamps
    split = [Sent(one.at_s, one.due_s, one.quarter, part) for one in sent for part in (one.data[:1], one.data[1:])]
    assert list(watch(mtc_follower(timebase(MTC_25)), split, 3.0)) == once


def test_error_over_uncertainty_is_near_one() -> None:
    ratios: list[float] = []
    steady: list[float] = []
    for seed in range(30):
        sent = run(MTC_25, TEN, 7.0, chance(seed + 300))
        for clock in watch(mtc_follower(timebase(MTC_25)), sent, 7.0, tick_s=0.05):
            if clock.steers:
                ratio = (clock.position_s - clock.at_ns * 1e-9) / clock.uncertainty_s
                (steady if clock.at_ns > 6e9 else ratios).append(ratio)
    # errors of one run hang together, so that 30 runs know this to some 15 %
    assert np.sqrt(np.mean(np.square(steady))) == pytest.approx(1, abs=0.3)
    assert np.sqrt(np.mean(np.square(ratios))) == pytest.approx(1, abs=0.3)


def test_uncertainty_grows_while_coasting_and_speed_is_held() -> None:
    sent = until(run(MTC_25, TEN, 6.0, chance(1)), 5.0)
    clocks = list(watch(mtc_follower(timebase(MTC_25), Follow(freewheel_s=4.0)), sent, 10.0))
    coasting = [clock for clock in clocks if clock.lock is Lock.FREEWHEEL]
    assert coasting[0].at_ns * 1e-9 == pytest.approx(5.05, abs=0.02)
    assert coasting[-1].at_ns * 1e-9 == pytest.approx(8.99, abs=0.03)
    assert coasting[-1].uncertainty_s > 2 * coasting[0].uncertainty_s
    for clock in coasting:
        assert clock.position_s == pytest.approx(clock.at_ns * 1e-9, abs=1.5 * MS)
        assert clock.speed == pytest.approx(1, abs=2e-3)
    lost = clocks[-1]
    assert (lost.lock, lost.speed, lost.uncertainty_s, lost.steers) == (Lock.LOST, 0.0, float("inf"), False)
    assert lost.position_s == pytest.approx(8.99, abs=0.03)


def test_lost_is_told_and_running_code_is_taken_up_again() -> None:
    follower = mtc_follower(timebase(MTC_25), Follow(freewheel_s=0.5))
    sent = until(run(MTC_25, TEN, 2.0, chance(1)), 1.0) + run(MTC_25, TEN + 5000, 2.0, chance(2), at_s=4.0)
    clocks = list(watch(follower, sent, 5.5))
    assert follower.troubles() == ("timecode stopped at 10:00:00:24",)
    assert first(clocks, lambda clock: clock.lock is Lock.LOST) == pytest.approx(1.5, abs=0.02)
    assert clocks[-1].lock is Lock.LOCKED
    assert clocks[-1].position_s == pytest.approx(200 + clocks[-1].at_ns * 1e-9 - 4, abs=2 * MS)


def test_one_piece_alone_does_not_end_a_coast() -> None:
    whole = run(MTC_25, TEN, 4.0, chance(9))
    lone = next(one for one in whole if one.due_s > 2.5)
    clocks = list(watch(mtc_follower(timebase(MTC_25), Follow(freewheel_s=1.0)), [*until(whole, 2.0), lone], 4.0))
    assert not any(clock.lock is Lock.LOCKED for clock in clocks if clock.at_ns > 2.1e9)
    assert first(clocks, lambda clock: clock.lock is Lock.LOST) == pytest.approx(3.0, abs=0.02)


def test_a_fifth_of_the_speed_is_followed_and_less_is_not() -> None:
    counting = COUNTINGS["24"]
    sent = run(counting, ten_o_clock(counting), 6.0, chance(1), speed=0.205)
    clocks = list(watch(mtc_follower(timebase(counting)), sent, 6.0))
    assert all(clock.lock is Lock.LOCKED for clock in clocks if clock.at_ns > 1e9)
    assert clocks[-1].position_s == pytest.approx(0.205 * clocks[-1].at_ns * 1e-9, abs=1 * MS)
    follower = mtc_follower(timebase(counting))
    crawl = run(counting, ten_o_clock(counting), 60.0, chance(1), speed=0.05)
    assert all(clock.lock is Lock.WAITING for clock in watch(follower, crawl, 60.0))
    assert follower.troubles() == ("quarter frames arrive, but they do not make a timecode",)


@pytest.mark.parametrize("hole_s", [0.03, 0.2, 1.0, 5.0])
def test_after_a_dropout_it_goes_on_without_a_jump(hole_s: float) -> None:
    whole = run(MTC_25, TEN, 6.0 + hole_s, chance(9))
    sent = [one for one in whole if not 5.0 < one.due_s < 5.0 + hole_s]
    clocks = list(watch(mtc_follower(timebase(MTC_25), Follow(freewheel_s=15.0)), sent, 6.0 + hole_s))
    assert clocks[-1].jumps == 1
    back = [clock for clock in clocks if clock.at_ns * 1e-9 > 5.0 + hole_s + 3 * GAP_S]
    assert all(clock.lock is Lock.LOCKED for clock in back)
    for clock in clocks:
        if clock.at_ns > 4e9:
            assert clock.position_s == pytest.approx(clock.at_ns * 1e-9, abs=1.5 * MS)


def test_a_wrong_rate_is_told_once_and_never_locks() -> None:
    follower = mtc_follower(timebase(MTC_25))
    counting = COUNTINGS["30"]
    clocks = list(watch(follower, run(counting, ten_o_clock(counting), 20.0, chance(5)), 20.0))
    assert all(clock.lock in (Lock.WAITING, Lock.LOCKING) for clock in clocks)
    assert follower.troubles() == (
        "the timecode says 30 frames a second, the project 25 frames a second; set one of them",
    )
    assert follower.counts.wrong_rate > 100
    follower.feed(21_000_000_000, standing(counting, 5))
    assert follower.at(21_000_000_000).lock is Lock.WAITING


def test_a_master_set_to_the_right_rate_starts_from_its_full_frame_at_once() -> None:
    follower = mtc_follower(timebase(MTC_25))
    counting = COUNTINGS["30"]
    sent = until(run(counting, ten_o_clock(counting), 2.0, chance(5)), 1.5)
    sent += [Sent(2.0, 2.0, 4 * TEN, standing(MTC_25, TEN))]
    sent += run(MTC_25, TEN, 1.0, chance(6), at_s=2.5)
    clocks = list(watch(follower, sent, 3.4))
    assert first(clocks, lambda clock: clock.steers) - 2.5 <= 2 * GAP_S + 7 * MS
    assert all(clock.lock is Lock.LOCKED for clock in clocks if clock.at_ns > 2.52e9)


def test_a_refused_rate_does_not_start_where_a_full_frame_was() -> None:
    # the first two pieces carry no rate, so that what was refused before has to be remembered
    follower = mtc_follower(timebase(MTC_25))
    counting = COUNTINGS["30"]
    start = ten_o_clock(counting)
    sent = [Sent(0.0, 0.0, 4 * TEN, standing(MTC_25, TEN))]
    sent += until(run(counting, start - 9000 + 15, 2.0, chance(5), at_s=0.5), 1.5)
    sent += run(counting, start, 1.0, chance(6), at_s=1.5)
    assert not any(clock.steers for clock in watch(follower, sent, 2.4))
    assert follower.counts.wrong_rate > 10


def test_a_rate_that_changes_while_running_coasts_and_is_lost() -> None:
    follower = mtc_follower(timebase(COUNTINGS["30"]), Follow(freewheel_s=1.0))
    drop = Counting(Rate(30000, 1001), drop=True)
    sent = until(run(COUNTINGS["30"], ten_o_clock(COUNTINGS["30"]), 3.0, chance(5)), 2.0)
    sent += run(drop, ten_o_clock(drop) + 60, 4.0, chance(6), at_s=2.0)
    clocks = list(watch(follower, sent, 5.9))
    assert clocks[-1].lock is Lock.LOST
    assert any("30 frames a second with drop-frame" in told for told in follower.troubles())


PAIRS = {"48": "24", "50": "25", "60000/1001": "30000/1001", "60": "30"}


@pytest.mark.parametrize("rate", PAIRS)
@pytest.mark.parametrize("start", [0, 1, 3])
def test_a_project_above_thirty_frames_follows_a_master_at_half_its_rate(rate: str, start: int) -> None:
    ours, theirs = (Counting(RATES[name], drop="1001" in name) for name in (rate, PAIRS[rate]))
    # frames from midnight of a project that begins on any frame, over dropped labels
    begin = int(count(parse("10:00:59:20", ours), ours)) + start
    base = Timebase(ours, label(begin, ours))
    follower = mtc_follower(base)
    frame = begin // 2 + 10
    clocks = list(watch(follower, run(theirs, frame, 2.0, chance(8)), 2.0))
    first_s = float(ours.rate.seconds(2 * frame - begin))
    assert follower.at(clocks[-1].at_ns).lock is Lock.LOCKED
    for clock in clocks:
        if clock.steers:
            assert clock.position_s == pytest.approx(first_s + clock.at_ns * 1e-9, abs=3 * MS)
    assert follower.told.endswith("a frame for two of the project's")


@pytest.mark.parametrize("speed", [0.9, 0.95, 0.997, 1.003, 1.05, 1.1])
@pytest.mark.parametrize("backward", [False, True], ids=["forward", "backward"])
@pytest.mark.parametrize("name", COUNTINGS)
def test_varispeed_is_followed_and_its_speed_told(name: str, speed: float, backward: bool) -> None:
    counting = COUNTINGS[name]
    gap = gap_s(counting) / speed
    way = -1 if backward else 1
    follower = mtc_follower(timebase(counting))
    sent = run(counting, ten_o_clock(counting), 6.0, chance(9), speed=speed, backward=backward)
    clocks = list(watch(follower, sent, 6.0))
    assert first(clocks, lambda clock: clock.steers) <= 15 * gap + 2 * gap + 5 * MS
    settled = [clock for clock in clocks if clock.at_ns > 1e9]
    assert all(clock.lock is Lock.LOCKED for clock in settled)
    for clock in settled:
        assert clock.position_s == pytest.approx(way * speed * clock.at_ns * 1e-9, abs=1.5 * MS)
    assert clocks[-1].speed == pytest.approx(way * speed, abs=1e-3)
    assert clocks[-1].jumps == 1
    assert follower.troubles() == (("timecode runs backward",) if backward else ())


def house(counting: Counting, speed: float, seconds: float, sigma_s: float = 1e-3) -> tuple[str, ...]:
    follower = mtc_follower(timebase(counting))
    sent = run(counting, ten_o_clock(counting), seconds, chance(5), speed=speed, sigma_s=sigma_s)
    list(watch(follower, sent, seconds))
    return follower.troubles()


SLOW, FAST = 1000 / 1001, 1001 / 1000


@pytest.mark.parametrize(
    ("counting", "speed", "way"),
    [
        (Counting(Rate(24)), SLOW, "slow"),
        (Counting(Rate(24000, 1001)), FAST, "fast"),
        (Counting(Rate(30)), SLOW, "slow"),
        (Counting(Rate(30000, 1001)), FAST, "fast"),
    ],
    ids=str,
)
def test_a_master_at_the_other_of_two_speeds_under_one_code_is_told(counting: Counting, speed: float, way: str) -> None:
    told = f"timecode runs 0.1 % {way}: master and project differ by 1000/1001; set one of their rates"
    assert house(counting, speed, 8.0) == (told,)
    # not before 256 quarter frames agree
    assert house(counting, speed, 255 * gap_s(counting)) == ()
    # as the project has it, or at any other speed, there is nothing to tell
    for other in (1.0, 1.0 + 4 * (speed - 1), 1.0 - 2 * (speed - 1)):
        assert house(counting, other, 8.0) == ()


def test_midnight_is_crossed_in_the_short_way() -> None:
    counting = COUNTINGS["30 drop"]
    base = Timebase(counting, Timecode(23, 59, 59, 0, drop=True))
    clocks = list(watch(mtc_follower(base), run(counting, counting.day - 30, 4.0, chance(8)), 4.0))
    for clock in clocks:
        if clock.steers:
            assert clock.position_s == pytest.approx(clock.at_ns * 1e-9, abs=3 * MS)
    after = list(watch(mtc_follower(base), run(counting, 0, 1.0, chance(8)), 1.0))
    assert after[-1].position_s == pytest.approx(30 * 1001 / 30000 + after[-1].at_ns * 1e-9, abs=3 * MS)


@pytest.mark.parametrize("name", COUNTINGS)
def test_midnight_is_crossed_backward_too(name: str) -> None:
    counting = COUNTINGS[name]
    base = Timebase(counting, Timecode(0, 0, 0, 0, drop=counting.drop))
    follower = mtc_follower(base)
    clocks = list(watch(follower, run(counting, 30, 4.0, chance(8), backward=True), 4.0))
    start_s = float(counting.rate.seconds(30))
    for clock in clocks:
        if clock.steers:
            assert clock.position_s == pytest.approx(start_s - clock.at_ns * 1e-9, abs=3 * MS)
    assert clocks[-1].position_s < -2
    assert (clocks[-1].jumps, follower.counts.jumps, follower.counts.misread) == (1, 0, 0)


def test_full_frames_of_labels_that_do_not_exist_move_nothing() -> None:
    counting = COUNTINGS["30 drop"]
    follower = mtc_follower(timebase(counting))
    left_out = Address(2, 10, 1, 0, 1)
    for number, wrong in enumerate(
        (left_out, Address(2, 24, 0, 0, 0), Address(2, 10, 0, 60, 0), Address(2, 10, 0, 0, 30))
    ):
        follower.feed(number * 1_000_000, FullFrame(wrong).data())
        assert follower.at(number * 1_000_000).lock is Lock.WAITING
    assert follower.counts.misread == 4


@pytest.mark.parametrize("backward", [False, True], ids=["forward", "backward"])
def test_a_known_delay_of_the_cable_is_taken_off(backward: bool) -> None:
    way = -1 if backward else 1
    sent = later(run(MTC_25, TEN, 4.0, chance(8), backward=backward), 0.04)
    follower = mtc_follower(timebase(MTC_25), Follow(delay_s=0.04))
    clocks = list(watch(follower, sent, 4.0))
    assert all(clock.lock is Lock.LOCKED for clock in clocks if clock.at_ns > 1e9)
    assert clocks[-1].position_s == pytest.approx(way * clocks[-1].at_ns * 1e-9, abs=1 * MS)
    stamp_ns, position_s = follower.sightings()[-1]
    assert position_s == pytest.approx(way * stamp_ns * 1e-9, abs=5 * MS)


@pytest.mark.parametrize("bad", [{"freewheel_s": -1.0}, {"freewheel_s": float("nan")}, {"delay_s": 2.0}])
def test_settings_that_make_no_sense_are_refused(bad: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="must"):
        Follow(**bad)


def test_a_day_of_running_does_not_drift() -> None:
    # the last seconds of a day after the first ones: arithmetic that drifts would show here
    base_s = 86_000.0
    early = run(MTC_25, TEN, 5.0, chance(1), sigma_s=0)
    ahead = int(base_s * 25)
    late = later(run(MTC_25, TEN + ahead, 2.0, chance(2), sigma_s=0), base_s)
    follower: Follower = mtc_follower(timebase(MTC_25), Follow(freewheel_s=90_000.0))
    for one in [*early, *late]:
        follower.feed(one.at_ns, one.data)
    clock = follower.at(late[-1].at_ns)
    assert clock.position_s == pytest.approx(clock.at_ns * 1e-9, abs=1e-6)


def test_silence_in_the_middle_of_locking_is_given_up() -> None:
    sent = list(islice(run(MTC_25, TEN, 1.0, chance(2)), 10))
    clocks = list(watch(mtc_follower(timebase(MTC_25)), sent, 1.0))
    assert any(clock.lock is Lock.LOCKING for clock in clocks)
    assert clocks[-1].lock is Lock.WAITING
