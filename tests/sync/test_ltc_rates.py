"""Linear timecode of another rate than the project, or at another speed: told, and never steering.

Counting is of SMPTE ST 12-1.
"""

from dataclasses import replace

import pytest

from sequencer.sync.ltc import ltc_follower
from sequencer.sync.reading import Follow, Lock
from sequencer.wire.ltc_word import Word, encode
from tests.sync.master import COUNTINGS, chance, first, ten_o_clock, timebase, until, watch
from tests.sync.words import ALL, LATE_S, frame_s, run

LTC_25 = COUNTINGS["25"]
TEN = ten_o_clock(LTC_25)
WORD_S = 0.04
MS = 1e-3


@pytest.mark.parametrize("speed", [0.5, 0.75, 0.9, 1.04, 1.5, 2.0])
@pytest.mark.parametrize("backward", [False, True], ids=["forward", "backward"])
def test_half_to_double_speed_is_followed_once_a_second_has_ended(speed: float, backward: bool) -> None:
    follower = ltc_follower(timebase(LTC_25))
    words = run(LTC_25, TEN + 10, 6.0, chance(3), speed=speed, backward=backward)
    clocks = list(watch(follower, words, 5.9))
    edge_s = ((10 if backward else 15) + 1) * WORD_S / speed
    assert first(clocks, lambda clock: clock.steers) == pytest.approx(edge_s + LATE_S, abs=6 * MS)
    way = -1 if backward else 1
    for clock in clocks:
        if clock.steers:
            assert clock.position_s == pytest.approx(0.4 + way * speed * clock.at_ns * 1e-9, abs=0.3 * MS)
    assert clocks[-1].speed == pytest.approx(way * speed, rel=2e-3)
    assert clocks[-1].jumps == 1


def test_what_no_project_of_this_speed_can_be_does_not_lock_before_a_second_ends() -> None:
    """Words of 24 that run at their own speed look like words of 25 at 0.96 of theirs, until a second ends."""
    follower = ltc_follower(timebase(LTC_25))
    ours = COUNTINGS["24"]
    clocks = list(watch(follower, run(ours, ten_o_clock(ours), 10.0, chance(5)), 10.0))
    assert {clock.lock for clock in clocks} == {Lock.WAITING, Lock.LOCKING}
    assert follower.troubles() == (
        "the timecode says 24 frames a second, the project 25 frames a second; set one of them",
    )
    assert follower.counts.wrong_rate >= 2


@pytest.mark.parametrize("master", COUNTINGS)
@pytest.mark.parametrize("project", COUNTINGS)
@pytest.mark.parametrize("backward", [False, True], ids=["forward", "backward"])
def test_another_rate_never_steers_and_is_told_within_three_seconds(master: str, project: str, backward: bool) -> None:
    if master == project:
        return
    theirs = COUNTINGS[master]
    follower = ltc_follower(timebase(COUNTINGS[project]))
    frame = ten_o_clock(theirs) + 17 * 60 * 30
    clocks = list(watch(follower, run(theirs, frame, 3.1, chance(5), backward=backward), 3.1))
    assert not any(clock.steers for clock in clocks)
    (told,) = [words for words in follower.troubles() if words.startswith("the timecode says")]
    rate = {"24": "24", "25": "25", "30": "30", "30 drop": "30"}[master] + " frames a second"
    assert told.startswith(f"the timecode says {rate}{' with drop-frame' if theirs.drop else ''}, the project ")


@pytest.mark.parametrize("project", ["48", "50", "60", "60000/1001 drop"])
def test_above_thirty_frames_the_rate_of_half_the_frames_is_watched(project: str) -> None:
    counting = ALL[project]
    theirs = COUNTINGS["30" if project in ("48", "50") else "25"]
    follower = ltc_follower(timebase(counting))
    clocks = list(watch(follower, run(theirs, ten_o_clock(theirs), 3.0, chance(5)), 3.0))
    assert not any(clock.steers for clock in clocks)
    assert any(words.startswith("the timecode says ") for words in follower.troubles())


def test_a_master_set_to_the_right_rate_is_followed_after_the_end_of_a_second() -> None:
    follower = ltc_follower(timebase(LTC_25))
    wrong = COUNTINGS["30"]
    words = run(wrong, ten_o_clock(wrong) + 5, 2.0, chance(5)) + run(LTC_25, TEN + 12, 3.0, chance(6), at_s=2.5)
    clocks = list(watch(follower, words, 5.0))
    assert first(clocks, lambda clock: clock.steers) - 2.5 == pytest.approx(14 * WORD_S + LATE_S, abs=3 * WORD_S)
    assert clocks[-1].position_s == pytest.approx(0.48 + clocks[-1].at_ns * 1e-9 - 2.5, abs=0.3 * MS)


def test_a_rate_that_changes_while_running_coasts_and_is_lost() -> None:
    follower = ltc_follower(timebase(LTC_25), Follow(freewheel_s=1.0))
    theirs = COUNTINGS["24"]
    words = until(run(LTC_25, TEN, 4.0, chance(5)), 2.99)
    words += run(theirs, ten_o_clock(theirs) + 72, 6.0, chance(6), at_s=3.0)
    clocks = list(watch(follower, words, 8.9))
    assert {clock.lock for clock in clocks if clock.at_ns > 6e9} == {Lock.WAITING}
    assert any("the timecode says 24 frames a second" in told for told in follower.troubles())


def test_a_master_at_the_other_house_rate_is_told() -> None:
    follower = ltc_follower(timebase(COUNTINGS["30"]))
    list(watch(follower, run(COUNTINGS["30"], ten_o_clock(COUNTINGS["30"]), 8.0, chance(5), speed=1000 / 1001), 8.0))
    assert follower.troubles() == (
        "timecode runs 0.1 % slow: master and project differ by 1000/1001; set one of their rates",
    )


def test_labels_that_drop_frame_counting_leaves_out_are_named_and_not_used() -> None:
    counting = COUNTINGS["30 drop"]
    follower = ltc_follower(timebase(counting))
    start = ten_o_clock(counting) + 1800 - 60  # two seconds before 10:01:00;02
    words = run(counting, start, 4.0, chance(5))
    bad = encode(Word(10, 1, 0, 2, drop=True), 30)
    # frame 0 of that minute: the bits of the frames' units are the lowest four
    left_out = bytes((bad[0] & 0xF0,)) + bad[1:]
    words[60] = replace(words[60], data=words[60].data[:-10] + left_out)
    clocks = list(watch(follower, words, 3.9))
    assert follower.counts.misread == 1
    (told,) = follower.troubles()
    assert told.startswith("a word of the timecode is not used: 10:01:00;00 does not exist")
    for clock in clocks:
        if clock.steers:
            assert clock.position_s == pytest.approx(1740 * frame_s(counting) + clock.at_ns * 1e-9, abs=0.3 * MS)
    assert clocks[-1].jumps == 1
