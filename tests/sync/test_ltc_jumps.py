"""A master by linear timecode that goes elsewhere, and words that are dirt."""

from dataclasses import replace

import numpy as np
import pytest

from sequencer.sync.ltc import ltc_follower
from sequencer.sync.reading import Clock, Lock
from sequencer.wire.ltc import Heard, packed
from sequencer.wire.ltc_word import Word, encode
from tests.sync.master import COUNTINGS, chance, first, ten_o_clock, timebase, until, watch
from tests.sync.words import LATE_S, bits, frame_s, run, sent

LTC_25 = COUNTINGS["25"]
TEN = ten_o_clock(LTC_25)
WORD_S = 0.04
MS = 1e-3


@pytest.mark.parametrize("goal", [9, -400, 1500, 45_000, 1, -1, 2])
@pytest.mark.parametrize("name", COUNTINGS)
def test_a_jump_is_followed_within_three_words_and_told(name: str, goal: int) -> None:
    counting = COUNTINGS[name]
    start = ten_o_clock(counting)
    word = frame_s(counting)
    jump_s = 50 * word
    words = until(run(counting, start, 4.0, chance(1)), jump_s - word / 2)
    words += run(counting, start + 50 + goal, 2.0, chance(2), at_s=jump_s)
    follower = ltc_follower(timebase(counting))
    clocks = list(watch(follower, words, jump_s + 1.9, tick_s=0.002))

    def there(clock: Clock) -> bool:
        truth = goal * word + clock.at_ns * 1e-9
        return clock.steers and abs(clock.position_s - truth) < MS

    assert (
        first(clocks, lambda clock: clock.at_ns * 1e-9 > jump_s and there(clock)) - jump_s <= 3 * word + LATE_S + 3 * MS
    )
    assert all(there(clock) for clock in clocks if clock.at_ns * 1e-9 > jump_s + 4 * word)
    assert (clocks[-1].jumps, follower.counts.jumps) == (2, 1)
    (told,) = follower.troubles()
    assert told.startswith("timecode jumped from 10:00:0")
    # until it was proved, the master was taken to go on
    old = [position_s for stamp_ns, position_s in follower.sightings() if stamp_ns * 1e-9 < jump_s]
    assert max(old) <= jump_s + MS


def test_single_words_from_elsewhere_never_throw_the_clock() -> None:
    follower = ltc_follower(timebase(LTC_25))
    dirt = np.random.default_rng(4)
    words = run(LTC_25, TEN, 15.0, chance(1))
    strange = 0
    for number, one in enumerate(words):
        if number > 10 and dirt.random() < 0.2:
            strange += 1
            elsewhere = bits(LTC_25, int(dirt.integers(LTC_25.day)))
            words[number] = replace(one, data=one.data[:-10] + elsewhere)
    for clock in watch(follower, words, 15.1):
        if clock.steers:
            assert clock.position_s == pytest.approx(clock.at_ns * 1e-9, abs=0.3 * MS)
            assert clock.jumps == 1
    assert follower.counts.misread == strange
    assert follower.counts.jumps == 0


def test_single_words_the_other_way_from_elsewhere_never_turn_the_clock() -> None:
    words = run(LTC_25, TEN, 4.0, chance(1))
    for number in range(10, 100, 7):
        marks = tuple((number + part / 4) * WORD_S for part in range(5))
        words[number] = sent(bits(LTC_25, TEN + number + 50), marks, 0, backward=True)
    follower = ltc_follower(timebase(LTC_25))
    for clock in watch(follower, words, 3.9):
        if clock.steers:
            assert clock.position_s == pytest.approx(clock.at_ns * 1e-9, abs=0.3 * MS)
    assert (clock.jumps, follower.counts.turns, follower.counts.misread) == (1, 0, 13)


def test_it_locks_on_three_words_of_which_others_are_lost_between() -> None:
    words = run(LTC_25, TEN, 1.0, chance(1))[::3]
    clocks = list(watch(ltc_follower(timebase(LTC_25)), words, 1.0, 0.002))
    assert first(clocks, lambda clock: clock.steers) == pytest.approx(7 * WORD_S + LATE_S, abs=3 * MS)


@pytest.mark.parametrize("apart", [0.6, 1.4, 1.6])
def test_words_from_elsewhere_that_do_not_come_when_they_should_are_no_jump(apart: float) -> None:
    words = until(run(LTC_25, TEN, 2.0, chance(1)), 0.99)
    for number in range(10):
        begin_s = 1.0 + apart * number * WORD_S
        marks = tuple(begin_s + part / 4 * WORD_S for part in range(5))
        words.append(sent(bits(LTC_25, TEN + 5000 + number), marks, 0))
    clocks = list(watch(ltc_follower(timebase(LTC_25)), words, 1.5))
    assert clocks[-1].jumps == 1
    assert clocks[-1].position_s == pytest.approx(clocks[-1].at_ns * 1e-9, abs=MS)


def test_random_words_never_lock() -> None:
    follower = ltc_follower(timebase(LTC_25))
    dirt = np.random.default_rng(5)
    for number in range(1000):
        stamp_ns = number * 40_000_000
        word = bits(LTC_25, int(dirt.integers(LTC_25.day)))
        a, b, c, d, e = (float(stamp_ns - 20_000_000 + mark * 10_000_000) for mark in range(-4, 1))
        follower.feed(stamp_ns, packed(Heard(word, bool(dirt.random() < 0.5), (a, b, c, d, e)), stamp_ns))
        assert not follower.at(stamp_ns).steers
    assert any("do not follow one another" in told for told in follower.troubles())


def test_it_turns_with_the_master_and_back() -> None:
    for name, counting in COUNTINGS.items():
        word = frame_s(counting)
        start = ten_o_clock(counting)
        turn_s = 50 * word
        words = until(run(counting, start, 4.0, chance(1)), turn_s - word / 2)
        back = run(counting, start + 50, 30 * word, chance(2), at_s=turn_s, backward=True)
        again_s = turn_s + 30 * word
        words += back + run(counting, start + 20, 2.0, chance(3), at_s=again_s)
        follower = ltc_follower(timebase(counting))
        clocks = list(watch(follower, words, again_s + 1.5, tick_s=0.002))
        for clock in clocks:
            at_s = clock.at_ns * 1e-9
            if not clock.steers:
                continue
            if at_s < turn_s:
                truth = at_s
            elif turn_s + word + LATE_S + 3 * MS < at_s < again_s:
                truth = 2 * turn_s - at_s
            elif at_s > again_s + word + LATE_S + 3 * MS:
                truth = 20 * word + at_s - again_s
            else:
                continue
            assert clock.position_s == pytest.approx(truth, abs=MS), name
        assert follower.counts.turns == 2
        assert "timecode runs backward" in follower.troubles()


def test_a_word_from_elsewhere_does_not_move_a_master_that_stands() -> None:
    numbers = [0] * 10 + [700] + [0] * 10
    words = [
        sent(bits(LTC_25, TEN + number), tuple((at + part / 4) * WORD_S for part in range(5)), 0)
        for at, number in enumerate(numbers)
    ]
    clocks = list(watch(ltc_follower(timebase(LTC_25)), words, 0.9))
    stood = first(clocks, lambda clock: clock.lock is Lock.LOCATED)
    assert {(clock.lock, clock.position_s) for clock in clocks if clock.at_ns * 1e-9 >= stood} == {(Lock.LOCATED, 0.0)}


def test_a_master_that_repeats_a_word_stands_there_and_runs_on() -> None:
    follower = ltc_follower(timebase(LTC_25))
    words = until(run(LTC_25, TEN, 3.0, chance(1)), 1.99)
    for number in range(50):
        begin_s = 2.0 + number * WORD_S
        words.append(sent(bits(LTC_25, TEN + 49), tuple(begin_s + part * WORD_S / 4 for part in range(5)), 0))
    words += run(LTC_25, TEN + 50, 2.0, chance(2), at_s=4.0)
    clocks = list(watch(follower, words, 5.9))
    # the first of them was the frame's own, so that two more are enough
    assert first(clocks, lambda clock: clock.lock is Lock.LOCATED) - 2.0 <= 2 * WORD_S + LATE_S + 6 * MS
    for clock in clocks:
        at_s = clock.at_ns * 1e-9
        if 2.2 < at_s < 4:
            assert (clock.lock, clock.position_s, clock.speed) == (Lock.LOCATED, 49 / 25, 0.0)
            assert clock.uncertainty_s < 1 / 25
        if at_s > 4 + 3 * WORD_S + LATE_S + 6 * MS:
            assert clock.lock is Lock.LOCKED
            assert clock.position_s == pytest.approx(at_s - 2, abs=0.5 * MS)
    assert not any(clock.lock is Lock.FREEWHEEL for clock in clocks)


@pytest.mark.parametrize("data", [b"", b"\xf1\x00", bytes(200)])
def test_bytes_that_are_no_word_are_counted_and_told(data: bytes) -> None:
    follower = ltc_follower(timebase(LTC_25))
    follower.feed(1_000_000_000, data)
    assert follower.counts.garbage_bytes == len(data)
    assert follower.troubles() == ("what arrives as linear timecode is none; check what is connected",)
    assert follower.at(2_000_000_000).lock is Lock.WAITING


@pytest.mark.parametrize("length_ns", [0, 2_000_000, 900_000_000, -40_000_000])
def test_a_word_that_takes_no_time_or_far_too_much_is_not_used(length_ns: int) -> None:
    follower = ltc_follower(timebase(LTC_25))
    a, b, c, d, e = (float(part * length_ns // 4) for part in range(5))
    follower.feed(0, packed(Heard(bits(LTC_25, TEN), False, (a, b, c, d, e)), 0))
    assert (follower.counts.misread, follower.at(0).lock) == (1, Lock.WAITING)


def test_a_word_that_comes_twice_counts_once() -> None:
    words = run(LTC_25, TEN, 2.0, chance(3))
    follower = ltc_follower(timebase(LTC_25))
    twice = [one for word in words for one in (word, word)]
    for clock in watch(follower, twice, 1.9):
        if clock.steers:
            assert clock.position_s == pytest.approx(clock.at_ns * 1e-9, abs=0.3 * MS)
    assert clock.lock is Lock.LOCKED
    assert follower.counts.doubled == follower.counts.words // 2


def test_a_word_cut_off_by_a_jump_does_not_put_it_off() -> None:
    # half a word of the old place and half of the new may be a word too, with a drop-frame flag that does not fit
    counting = COUNTINGS["30 drop"]
    word = frame_s(counting)
    start = ten_o_clock(counting)
    words = until(run(counting, start, 4.0, chance(1)), 49.5 * word)
    cut = encode(Word(10, 1, 11, 0), 30)
    words.append(sent(cut, tuple((50 + part / 4) * word for part in range(5)), 0))
    words += run(counting, start + 1551, 1.0, chance(2), at_s=51 * word)
    clocks = list(watch(ltc_follower(timebase(counting)), words, 51 * word + 0.9, tick_s=0.002))
    there = [clock.at_ns * 1e-9 for clock in clocks if clock.steers and clock.position_s > 40]
    assert there[0] - 51 * word <= 3 * word + LATE_S + 3 * MS
