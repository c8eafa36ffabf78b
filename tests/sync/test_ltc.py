"""The follower of linear timecode: words in, clocks out, against where the master truly was.

Labels, drop-frame counting and the word for two frames are of SMPTE ST 12-1.
"""

from dataclasses import replace
from itertools import islice

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.sync.ltc import ltc_follower
from sequencer.sync.reading import Follow, Lock
from sequencer.timebase.timecode import Counting, Timebase, Timecode, count
from tests.sync.master import COUNTINGS, Sent, chance, first, ten_o_clock, timebase, until, watch
from tests.sync.sound import heard, steady
from tests.sync.words import ALL, LATE_S, bits, frame_s, run, sent

LTC_25 = COUNTINGS["25"]
TEN = ten_o_clock(LTC_25)
WORD_S = 0.04
MS = 1e-3


def word_s(counting: Counting) -> float:
    return frame_s(counting) * (2 if counting.rate.nominal > 30 else 1)


def moved(words: list[Sent], by_s: float) -> list[Sent]:
    """Return the same words later; what is inside them counts from their arrival."""
    return [replace(one, at_s=one.at_s + by_s, due_s=one.due_s + by_s) for one in words]


@pytest.mark.parametrize("name", ALL)
@pytest.mark.parametrize("backward", [False, True], ids=["forward", "backward"])
def test_three_words_lock_at_every_rate(name: str, backward: bool) -> None:
    counting = ALL[name]
    start = int(count(Timecode(10, 0, 0, 0, drop=counting.drop), counting))
    frame = start + 1000
    words = run(counting, frame, 2.0, chance(1), backward=backward)
    follower = ltc_follower(timebase(counting))
    clocks = list(watch(follower, words, 2.1, tick_s=0.001))
    assert first(clocks, lambda clock: clock.lock is Lock.LOCKING) <= word_s(counting) + LATE_S + 2 * MS
    assert first(clocks, lambda clock: clock.steers) <= 3 * word_s(counting) + LATE_S + 2 * MS
    way = -1 if backward else 1
    for clock in clocks:
        if clock.lock is not Lock.WAITING:
            truth = 1000 * frame_s(counting) + way * clock.at_ns * 1e-9
            assert clock.position_s == pytest.approx(truth, abs=0.3 * MS)
    assert clocks[-1].speed == pytest.approx(way, abs=1e-3)
    assert clocks[-1].jumps == 1
    assert follower.troubles() == (("timecode runs backward",) if backward else ())
    assert follower.counts.words == len(words)
    assert follower.counts.lost == follower.counts.misread == 0


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("25", "LTC, 25 frames a second"),
        ("24000/1001", "LTC, 24 frames a second"),
        ("30000/1001 drop", "LTC, 30 frames a second with drop-frame"),
        ("50", "LTC, 25 frames a second, a word for two frames"),
        ("60000/1001 drop", "LTC, 30 frames a second with drop-frame, a word for two frames"),
    ],
)
def test_what_is_followed_is_told(name: str, told: str) -> None:
    assert ltc_follower(timebase(ALL[name])).told == told


def test_positions_and_sightings_are_exact_without_jitter() -> None:
    counting = COUNTINGS["30 drop"]
    follower = ltc_follower(timebase(counting))
    frame = ten_o_clock(counting) + 3 * 1798
    words = run(counting, frame, 3.0, chance(0), sigma_s=0)
    for clock in watch(follower, words, 2.5):
        if clock.steers:
            truth = float(counting.rate.seconds(3 * 1798)) + clock.at_ns * 1e-9
            assert clock.position_s == pytest.approx(truth, abs=4e-9)
    sightings = follower.sightings()
    assert len(sightings) > 250
    begun_ns = words[0].at_ns
    for stamp_ns, position_s in sightings:
        truth = float(counting.rate.seconds(3 * 1798)) + stamp_ns * 1e-9
        assert position_s == pytest.approx(truth, abs=4e-9)
    assert sightings[0][0] > begun_ns
    assert follower.sightings() == ()


@settings(max_examples=80, deadline=None)
@given(
    name=st.sampled_from(sorted(ALL)),
    part=st.floats(0, 1, exclude_max=True),
    start=st.floats(0, 1, exclude_max=True),
    backward=st.booleans(),
)
def test_any_place_of_the_day_is_found_from_any_start(name: str, part: float, start: float, backward: bool) -> None:
    counting = ALL[name]
    pair = 2 if counting.rate.nominal > 30 else 1
    frame = int(part * counting.day) // pair * pair
    base = Timebase(
        counting, Timebase(counting, Timecode(0, 0, 0, 0, drop=counting.drop)).label(int(start * counting.day))
    )
    follower = ltc_follower(base)
    words = list(islice(run(counting, frame, 0.5, chance(1), sigma_s=0, backward=backward), 3))
    for one in words:
        follower.feed(one.at_ns, one.data)
    clock = follower.at(words[-1].at_ns)
    assert clock.lock is Lock.LOCKED
    way = -1 if backward else 1
    # wherever the start is, a place is given the short way round the day; what runs on passes over it
    off = clock.position_s - way * clock.at_ns * 1e-9 - float(counting.rate.seconds(base.wrap(frame)))
    day_s = float(counting.rate.seconds(counting.day))
    assert min(abs(off), abs(abs(off) - day_s)) < 1e-6


def test_midnight_is_crossed_in_the_short_way_and_back() -> None:
    for name, counting in COUNTINGS.items():
        base = Timebase(counting, Timecode(23, 59, 59, 0, drop=counting.drop))
        nominal = counting.rate.nominal
        words = run(counting, counting.day - nominal, 4.0, chance(8))
        words += moved(run(counting, 3 * nominal, 4.0, chance(9), backward=True), 4 * nominal * frame_s(counting))
        turn_s = 4 * nominal * frame_s(counting)
        clocks = list(watch(ltc_follower(base), words, 7.8))
        assert {clock.jumps for clock in clocks if clock.steers} == {1, 2}, name
        for clock in clocks:
            at_s = clock.at_ns * 1e-9
            if clock.steers and not turn_s - 0.01 < at_s < turn_s + 0.1:
                assert clock.position_s == pytest.approx(at_s if at_s < turn_s else 2 * turn_s - at_s, abs=0.5 * MS)


@pytest.mark.parametrize("name", ["25", "30 drop"])
@pytest.mark.parametrize("part", [0.0, 0.7])
@pytest.mark.parametrize("speed", [0.96, 0.98, 1.02, 1.04])
def test_a_step_of_speed_is_followed_from_the_word_that_tells_it(name: str, part: float, speed: float) -> None:
    """The step comes `part` of a word after its beginning, and is heard when that has ended and has come.

    For a word, half of one, and its delay 4 percent make 3.2 ms; then the played-out clock has to turn.
    """
    counting = COUNTINGS[name]
    word, start = frame_s(counting), ten_o_clock(counting)
    step_s = (100 + part) * word

    def at_s(mark: float) -> float:
        return step_s + (mark * word - step_s) / (speed if mark * word > step_s else 1)

    jitter = chance(4)
    words = []
    for number in range(140):
        marks = tuple(at_s(number + quarter / 4) + 3e-6 * jitter.standard_normal() for quarter in range(5))
        words.append(sent(bits(counting, start + number), marks, 0, noise=2e-5))  # as of a card's callbacks
    clocks = list(watch(ltc_follower(timebase(counting)), words, words[-1].at_s, 0.002))
    assert clocks[-1].jumps == 1
    for clock in clocks:
        t_s = clock.at_ns * 1e-9
        truth = t_s if t_s < step_s else step_s + speed * (t_s - step_s)
        if clock.steers:
            allowed = (
                0.1 if t_s < step_s or t_s > step_s + 0.8 else 1.0 if t_s > step_s + 0.3 else 1 + 75 * abs(speed - 1)
            )
            assert clock.position_s == pytest.approx(truth, abs=allowed * MS)


@pytest.mark.parametrize("hole_s", [0.2, 0.4, 2.0])
def test_a_hole_is_coasted_over_without_a_jump(hole_s: float) -> None:
    whole = run(LTC_25, TEN, 6.0 + hole_s, chance(9))
    words = [one for one in whole if not 4.0 < one.due_s < 4.0 + hole_s]
    follower = ltc_follower(timebase(LTC_25), Follow(freewheel_s=5.0))
    clocks = list(watch(follower, words, 5.9 + hole_s))
    assert clocks[-1].jumps == 1
    assert any(clock.lock is Lock.FREEWHEEL for clock in clocks)
    back_s = 4 + hole_s + 2 * WORD_S + LATE_S + 6 * MS
    assert all(clock.lock is Lock.LOCKED for clock in clocks if clock.at_ns * 1e-9 > back_s)
    for clock in clocks:
        if clock.steers:
            assert clock.position_s == pytest.approx(clock.at_ns * 1e-9, abs=0.3 * MS)
    assert follower.counts.lost == len(whole) - len(words)


def test_silence_freewheels_and_is_lost_after_what_the_operator_allows() -> None:
    follower = ltc_follower(timebase(LTC_25), Follow(freewheel_s=1.0))
    words = until(run(LTC_25, TEN, 4.0, chance(9)), 2.99)
    clocks = list(watch(follower, words, 6.0))
    heard_s = 3.0 + LATE_S
    assert first(clocks, lambda clock: clock.lock is Lock.FREEWHEEL) - heard_s == pytest.approx(4 * WORD_S, abs=8 * MS)
    assert first(clocks, lambda clock: clock.lock is Lock.LOST) - heard_s == pytest.approx(1.0, abs=8 * MS)
    assert clocks[-1].position_s == pytest.approx(heard_s + 1, abs=MS)
    assert not clocks[-1].steers
    assert follower.troubles() == ("timecode stopped at 10:00:03:00",)
    coasting = [clock for clock in clocks if clock.lock is Lock.FREEWHEEL]
    assert coasting[-1].uncertainty_s > coasting[0].uncertainty_s


def test_nothing_that_arrives_is_waiting() -> None:
    follower = ltc_follower(timebase(LTC_25))
    assert follower.at(0).lock is Lock.WAITING
    assert follower.at(60_000_000_000).lock is Lock.WAITING
    assert follower.troubles() == ()


def test_two_words_and_silence_are_given_up() -> None:
    words = run(LTC_25, TEN, 0.08, chance(2))
    clocks = list(watch(ltc_follower(timebase(LTC_25)), words, 1.5))
    assert any(clock.lock is Lock.LOCKING for clock in clocks)
    assert not any(clock.steers for clock in clocks)
    assert clocks[-1].lock is Lock.WAITING


def test_a_day_of_running_does_not_drift() -> None:
    early = run(LTC_25, TEN, 5.0, chance(1), sigma_s=0)
    late = run(LTC_25, TEN + 86_000 * 25, 2.0, chance(2), at_s=86_000.0, sigma_s=0)
    follower = ltc_follower(timebase(LTC_25), Follow(freewheel_s=90_000.0))
    for one in [*early, *late]:
        follower.feed(one.at_ns, one.data)
    clock = follower.at(late[-1].at_ns)
    assert clock.position_s == pytest.approx(clock.at_ns * 1e-9, abs=1e-6)


@pytest.mark.parametrize(("name", "snr_db"), [("25", 20.0), ("30", 10.0)])
def test_from_sound_to_position(name: str, snr_db: float) -> None:
    """Tone, noise, card, reader, sample clock, chase, played-out position: the study's 0.0275 ms is the limit.

    Jitter of the callbacks 0.3 ms, one in a hundred 5 ms late, the card up to 100 ppm off.
    """
    counting = COUNTINGS[name]
    frame = ten_o_clock(counting) + 500
    errors, ratios = [], []
    follower = ltc_follower(timebase(counting))
    words = heard(counting, steady(counting, frame), 10.0, chance(7), snr_db=snr_db)
    for clock in watch(follower, words, 10.0, tick_s=0.02):
        if clock.at_ns > 6e9:
            errors.append(clock.position_s - 500 * frame_s(counting) - clock.at_ns * 1e-9)
            ratios.append(errors[-1] / clock.uncertainty_s)
            assert clock.lock is Lock.LOCKED
    assert np.sqrt(np.mean(np.square(errors))) < 0.0275 * 1.5 * MS  # one run of ten seconds
    assert np.max(np.abs(errors)) < 0.1 * MS
    assert np.sqrt(np.mean(np.square(ratios))) < 2
    assert follower.counts.misread == follower.counts.lost == 0
    assert follower.troubles() == ()


@pytest.mark.parametrize("speed", [-1.0, 0.6, 1.9])
def test_from_sound_to_position_at_other_speeds(speed: float) -> None:
    words = heard(LTC_25, steady(LTC_25, TEN + 500, speed), 4.5, chance(8))
    follower = ltc_follower(timebase(LTC_25))
    clocks = [clock for clock in watch(follower, words, 4.4) if clock.at_ns > 2.5e9]
    for clock in clocks:
        assert clock.lock is Lock.LOCKED
        assert clock.position_s == pytest.approx(20 + speed * clock.at_ns * 1e-9, abs=0.5 * MS)
    assert clocks[-1].speed == pytest.approx(speed, rel=2e-3)
    assert clocks[-1].jumps == 1
