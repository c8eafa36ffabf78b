"""MIDI clock followed as the tick does it: moves written in beats, against where the music truly was."""

import re
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest

from sequencer.sync.midi_clock import clock_follower
from sequencer.sync.reading import Clock, Follow, Lock
from sequencer.timebase.tempo import Change, TempoMap
from sequencer.wire.midi_clock import SongPosition
from tests.sync.band import CLOCK, CONTINUE, START, STOP, clocks, idle, said, seconds_of
from tests.sync.master import COUNTINGS, Sent, chance, first, timebase, until, watch

BASE = timebase(COUNTINGS["25"])
SONG = TempoMap(Fraction(96), 4)
GAP_S = 60 / 96 / 24  # 24 clocks a quarter note: MIDI 1.0
CHANGING = TempoMap(
    Fraction(96),
    4,
    Fraction(2),
    changes=(Change(beat=Fraction(8), bpm=Fraction(120)), Change(beat=Fraction(24), bpm=Fraction(80))),
)
MS = 1e-3
USUAL = Follow()


def followed(
    sent: list[Sent], until_s: float, tempo: TempoMap = SONG, how: Follow = USUAL, tick_s: float = 0.01
) -> tuple[list[Clock], tuple[str, ...]]:
    """Return the clocks of each tick, and what was told."""
    follower = clock_follower(BASE, tempo, how)
    return list(watch(follower, sorted(sent, key=lambda one: one.at_s), until_s, tick_s)), follower.troubles()


def started(sent: list[Sent]) -> list[Sent]:
    return [said(sent[0].due_s - 0.01, START), *sent]


def off(clock: Clock, *, at_s: float = 0.5, from_s: float = 0.0, speed: float = 1.0) -> float:
    """Return how far a clock is off a master that was at `from_s` at `at_s`."""
    return clock.position_s - from_s - (clock.at_ns * 1e-9 - at_s) * speed


def test_the_clock_after_start_is_the_first_beat_and_24_are_a_quarter_note() -> None:
    found, told = followed(started(clocks(CHANGING, 8.0, chance(0), sigma_s=0)), 8.0, CHANGING, tick_s=0.001)
    assert told == ()
    assert first(found, lambda clock: clock.lock is Lock.LOCATED) == pytest.approx(0.49, abs=2 * MS)
    assert first(found, lambda clock: clock.lock is Lock.LOCKING) == pytest.approx(0.5, abs=2 * MS)
    assert first(found, lambda clock: clock.steers) == pytest.approx(0.5 + 15 * GAP_S, abs=2 * MS)
    for clock in found:
        if clock.steers:
            assert off(clock, from_s=2.0) == pytest.approx(0, abs=2e-6)
            assert clock.speed == pytest.approx(1, abs=1e-5)
        elif clock.lock is Lock.LOCATED:
            assert (clock.position_s, clock.speed) == (2.0, 0.0)  # the first beat stands two seconds in


@pytest.mark.parametrize("bpm", [24, 60, 100, 144])
def test_the_move_runs_in_the_masters_tempo(bpm: int) -> None:
    """A master at 100 where the project has 96: the timeline runs at 100/96."""
    speed = bpm / 96
    found, told = followed(started(clocks(SONG, 20.0, chance(bpm), speed=speed)), 20.0)
    assert found[-1].lock is Lock.LOCKED
    assert found[-1].speed == pytest.approx(speed, rel=2e-3)
    assert all(abs(off(clock, speed=speed)) < 2 * MS for clock in found if clock.at_ns > 6e9)
    assert len(told) == 1
    theirs, percent = re.findall(r"at ([0-9.]+) BPM where the project has 96: the move runs at ([0-9.]+)%", told[0])[0]
    assert float(theirs) == pytest.approx(bpm, rel=5e-3)
    assert float(percent) == pytest.approx(100 * speed, rel=5e-3)


@pytest.mark.parametrize("speed", [0.7, 1.0, 1.04, 1.3])
def test_nothing_happens_where_project_and_master_change_tempo_together(speed: float) -> None:
    found, _ = followed(started(clocks(CHANGING, 30 / speed, chance(3), speed=speed)), 30 / speed, CHANGING)
    late = [clock for clock in found if clock.at_ns > 4e9]
    assert all(clock.lock is Lock.LOCKED for clock in late)
    assert max(abs(off(clock, from_s=2.0, speed=speed)) for clock in late) < 2 * MS
    assert max(abs(clock.speed - speed) for clock in late) < 0.02
    assert late[-1].jumps == late[0].jumps


def test_a_master_that_keeps_its_tempo_where_the_project_changes_is_followed_in_beats() -> None:
    steady = TempoMap(Fraction(96), 4, Fraction(2))
    found, _ = followed(started(clocks(steady, 12.0, chance(3))), 12.0, CHANGING)
    # 8 beats at 96, then each beat lasts 0.625 s where the project gives it 0.5 s
    change_s = 0.5 + 8 * 0.625
    after = [clock for clock in found if clock.at_ns * 1e-9 > change_s + 0.9]
    assert all(clock.lock is Lock.LOCKED for clock in after)
    assert after[-1].speed == pytest.approx(0.8, abs=0.005)
    assert max(abs(off(clock, at_s=change_s, from_s=7.0, speed=0.8)) for clock in after) < 4 * MS
    between = [clock for clock in found if change_s < clock.at_ns * 1e-9 < change_s + 0.9]
    assert max(abs(off(clock, at_s=change_s, from_s=7.0, speed=0.8)) for clock in between) < 40 * MS


@pytest.mark.parametrize("bpm", [48, 72, 92, 110, 120, 140])
def test_a_master_that_changes_its_tempo_by_itself_is_caught_up_with(bpm: int) -> None:
    other = TempoMap(Fraction(96), 4, changes=(Change(beat=Fraction(16), bpm=Fraction(bpm)),))
    found, _ = followed(started(clocks(other, 17.0, chance(bpm))), 17.0)
    after = [clock for clock in found if clock.at_ns > 15.5e9]
    assert all(clock.lock is Lock.LOCKED for clock in found if clock.at_ns > 2e9)
    assert max(abs(off(clock, at_s=10.5, from_s=10.0, speed=bpm / 96)) for clock in after) < 4 * MS
    assert after[-1].jumps == 2


def test_clocks_alone_say_no_place() -> None:
    found, told = followed(clocks(SONG, 10.0, chance(1)), 10.0)
    assert {clock.lock for clock in found} == {Lock.WAITING}
    assert told == ("MIDI clock is heard, but not where it is: start the master, or locate it",)
    found, told = followed([said(0.2, CONTINUE), *clocks(SONG, 3.0, chance(1))], 3.0)
    assert {clock.lock for clock in found} == {Lock.WAITING}
    assert told[0] == "MIDI clock continues from a place that was never said; locate the master, or start it"


def test_once_lost_clocks_and_continue_say_no_place_until_it_is_told() -> None:
    sent = started(clocks(SONG, 4.0, chance(1)))
    again = clocks(SONG, 5.0, chance(2), at_s=7.0, clock=250)
    # what is lost on the way, and would be counted while locked, tells nothing either
    sent += [*again[:60], *again[62:], said(12.1, STOP), said(12.2, CONTINUE)]
    sent += [*clocks(SONG, 2.5, chance(3), at_s=12.5, clock=400), said(15.1, SongPosition(0).data())]
    found, told = followed(sent, 15.2)
    lost = [clock.lock for clock in found if 6.6e9 < clock.at_ns < 15.09e9]
    assert set(lost) == {Lock.LOST}
    assert found[-1].lock is Lock.LOCATED
    assert "MIDI clock continues from a place that was never said; locate the master, or start it" in told


def test_a_locate_counts_as_a_jump_where_it_is_one() -> None:
    places = ((0.1, 4), (0.3, 4), (0.5, 8))
    found, _ = followed([said(at_s, SongPosition(place).data()) for at_s, place in places], 0.7)
    jumps = [next(clock.jumps for clock in found if clock.at_ns > at_s * 1e9) for at_s in (0.2, 0.4, 0.6)]
    assert jumps == [1, 1, 2]


def test_clocks_while_it_stands_let_it_run_at_once() -> None:
    sent = [*idle(GAP_S, 0.0, 2.0), said(1.99, START), *clocks(SONG, 5.0, chance(1), at_s=2.0, sigma_s=0)]
    found, _ = followed(sent, 5.0, tick_s=0.001)
    assert first(found, lambda clock: clock.steers) == pytest.approx(2.0, abs=2 * MS)
    assert all(abs(off(clock, at_s=2.0)) < 1e-5 for clock in found if clock.steers)
    # a master whose clocks begin anew with the start is out of step with those before
    sent = [*idle(GAP_S, 0.0, 2.0), said(2.001, START), *clocks(SONG, 5.0, chance(1), at_s=2.01, sigma_s=0)]
    found, _ = followed(sent, 5.0, tick_s=0.001)
    assert first(found, lambda clock: clock.steers) == pytest.approx(2.01 + 15 * GAP_S, abs=2 * MS)
    assert all(abs(off(clock, at_s=2.01)) < 1e-5 for clock in found if clock.steers)


def test_clocks_while_it_stands_say_nothing_of_a_place_with_another_tempo() -> None:
    """The tenth beat is in the project's 120 BPM, and the clocks before it came at 96."""
    sent = [*idle(GAP_S, 0.0, 2.0), said(1.0, SongPosition(40).data()), said(1.99, CONTINUE)]
    sent += clocks(CHANGING, 12.0, chance(1), at_s=2.0, clock=240, sigma_s=0)
    found, _ = followed(sent, 12.0, CHANGING, tick_s=0.005)
    assert first(found, lambda clock: clock.steers) == pytest.approx(2.0 + 15 * 60 / 120 / 24, abs=6 * MS)
    assert max(abs(off(clock, at_s=2.0, from_s=8.0)) for clock in found if clock.steers) < 1e-5


def test_a_tempo_of_the_project_that_drops_to_a_third_and_back_is_no_lost_clock() -> None:
    tempo = TempoMap(
        Fraction(180),
        4,
        changes=(Change(beat=Fraction(24), bpm=Fraction(60)), Change(beat=Fraction(28), bpm=Fraction(180))),
    )
    follower = clock_follower(BASE, tempo)
    found = list(watch(follower, started(clocks(tempo, 16.0, chance(6), sigma_s=0.5 * MS)), 16.0, 0.01))
    assert follower.troubles() == ()
    assert (follower.counts.lost, follower.counts.doubled, follower.counts.set_aside) == (0, 0, 0)
    assert max(abs(off(clock)) for clock in found if clock.at_ns > 3e9) < 3 * MS


def test_a_master_that_is_lost_past_a_change_of_tempo_stands_where_the_coast_ended() -> None:
    found, _ = followed(started(clocks(CHANGING, 4.5, chance(7), sigma_s=0)), 8.0, CHANGING)
    # the newest clock comes within a gap before 5 s, at 6.5 s of the timeline; the tempo changes at 7 s
    assert found[-1].lock is Lock.LOST
    assert found[-1].position_s == pytest.approx(6.5 + USUAL.freewheel_s, abs=GAP_S)


def test_a_song_position_counts_sixteenths_of_six_clocks() -> None:
    """MIDI 1.0: one MIDI beat is six clocks; 32 of them are 8 quarter notes, where this project changes its tempo."""
    sent = [said(0.1, SongPosition(32).data()), said(0.4, CONTINUE)]
    sent += clocks(CHANGING, 4.0, chance(1), clock=192, sigma_s=0)
    found, _ = followed(sent, 4.0, CHANGING)
    stands = [clock for clock in found if clock.lock is Lock.LOCATED]
    assert stands[0].position_s == 2 + 8 * 0.625
    assert stands[0].at_ns == pytest.approx(0.1e9, abs=1.1e7)
    assert found[-1].lock is Lock.LOCKED
    assert off(found[-1], from_s=7.0) == pytest.approx(0, abs=1e-5)
    assert found[-1].speed == pytest.approx(1, abs=1e-5)


def test_stop_stands_at_once_and_continue_goes_on_from_there() -> None:
    before = until(clocks(SONG, 4.0, chance(2), sigma_s=0), 2.51)
    resumes = before[-1].quarter + 1
    sent = [*started(before), said(2.515, STOP), said(3.9, CONTINUE)]
    sent += clocks(SONG, 3.0, chance(3), at_s=4.0, clock=resumes, sigma_s=0)
    found, told = followed(sent, 7.0, tick_s=0.005)
    stands = [clock for clock in found if 2.52e9 < clock.at_ns < 3.99e9]
    assert {clock.lock for clock in stands} == {Lock.LOCATED}
    assert {clock.speed for clock in stands} == {0.0}
    assert abs(stands[0].position_s - 2.015) < GAP_S
    assert found[-1].lock is Lock.LOCKED
    assert off(found[-1], at_s=4.0, from_s=seconds_of(SONG, resumes)) == pytest.approx(0, abs=1e-5)
    assert told == ()


def test_a_start_while_running_is_a_jump_and_is_told() -> None:
    sent = until(started(clocks(SONG, 8.0, chance(2))), 6.0)
    last = sent[-1].due_s + GAP_S
    sent += [said(last - 0.01, START), *clocks(SONG, 4.0, chance(3), at_s=last)]
    found, told = followed(sent, 9.0)
    assert told == ("MIDI clock jumped from 10:00:05:12.11 (bar 3, beat 1) to 10:00:00:00 (bar 1, beat 1)",) or (
        len(told) == 1 and told[0].endswith(" to 10:00:00:00 (bar 1, beat 1)")
    )
    assert found[-1].lock is Lock.LOCKED
    assert abs(off(found[-1], at_s=last)) < 2 * MS
    # the spacing is known, so that it runs again at the first clock
    stands = [clock for clock in found if clock.at_ns > 3e9 and not clock.steers]
    assert len(stands) <= 3


def test_a_song_position_while_running_mends_more_than_a_sixteenth() -> None:
    run = clocks(SONG, 10.0, chance(2))
    here = next(one for one in run if one.quarter == 240)
    inside = Sent(here.at_s - 0.005, here.due_s, 0, SongPosition(39).data())  # the sixteenth before: 234
    found, told = followed(started([*run, inside]), 9.0)
    assert told == ()
    assert all(abs(off(clock)) < 3 * MS for clock in found if clock.at_ns > 3e9)
    elsewhere = Sent(here.at_s - 0.005, here.due_s, 0, SongPosition(48).data())
    found, told = followed(started([*run, elsewhere]), 9.0)
    assert len(told) == 1
    assert told[0].endswith("to 10:00:07:12.5 (bar 4, beat 1)")
    assert abs(off(found[-1], from_s=48 * GAP_S)) < 2 * MS


@pytest.mark.parametrize("share", [0.005, 0.02, 0.05])
@pytest.mark.parametrize("fault", ["lost", "doubled"])
def test_lost_and_doubled_clocks_are_seen_by_the_spacing_and_counted(fault: str, share: float) -> None:
    draw = chance(17)
    run = clocks(SONG, 40.0, chance(5))
    sent: list[Sent] = []
    spoilt = 0
    for one in run:
        bad = one.quarter > 40 and one.at_s < 38 and draw.random() < share
        spoilt += bad
        if fault == "doubled" or not bad:
            sent.append(one)
        if fault == "doubled" and bad:
            sent.append(Sent(one.at_s + 5e-4, one.due_s, one.quarter, one.data))
    follower = clock_follower(BASE, SONG)
    found = list(watch(follower, started(sent), 39.0, 0.01))
    assert spoilt > 3
    assert (follower.counts.lost, follower.counts.doubled) == ((spoilt, 0) if fault == "lost" else (0, spoilt))
    assert all(clock.lock is Lock.LOCKED for clock in found if clock.at_ns > 2e9)
    assert max(abs(off(clock)) for clock in found if clock.at_ns > 4e9) < 2 * MS
    assert follower.counts.jumps == 0


@pytest.mark.parametrize("seed", [1, 5, 13])
def test_clocks_that_are_lost_while_others_are_held_back_are_counted_too(seed: int) -> None:
    """Stalls of 10 to 60 ms, after which all that was held comes at once, and 2 % lost."""
    draw = chance(seed)
    held_s, stalls_s = 0.0, 2.0
    sent = []
    for one in clocks(SONG, 20.0, draw):
        if one.at_s > stalls_s:
            held_s = one.at_s + float(draw.uniform(0.01, 0.06))
            stalls_s = held_s + float(draw.exponential(0.2))
        if one.due_s < 2 or draw.random() > 0.02:
            sent.append(Sent(max(one.at_s, held_s), one.due_s, one.quarter, one.data))
    found, _ = followed(started(sent), 20.0, tick_s=0.05)
    assert max(abs(off(clock)) for clock in found[-100:]) < 2 * MS


def test_clocks_held_back_and_let_go_at_once_are_not_lost_ones() -> None:
    run = [
        Sent(max(one.at_s, 6.2) if 6.0 < one.at_s < 6.2 else one.at_s, one.due_s, one.quarter, one.data)
        for one in clocks(SONG, 12.0, chance(5))
    ]
    follower = clock_follower(BASE, SONG)
    found = list(watch(follower, started(run), 12.0, 0.01))
    assert (follower.counts.lost, follower.counts.doubled) == (0, 0)
    assert follower.counts.set_aside > 3
    assert max(abs(off(clock)) for clock in found if clock.at_ns > 4e9) < 2 * MS


@pytest.mark.parametrize("hole_s", [0.1, 0.5, 3.0])
def test_after_a_dropout_the_count_is_put_right(hole_s: float) -> None:
    run = [one for one in clocks(SONG, 14.0, chance(9)) if not 8.0 < one.due_s < 8.0 + hole_s]
    found, _ = followed(started(run), 14.0, how=Follow(freewheel_s=5.0))
    coasts = [clock for clock in found if clock.lock is Lock.FREEWHEEL]
    assert bool(coasts) is (hole_s > 0.2)
    assert found[-1].lock is Lock.LOCKED
    assert found[-1].jumps == 2
    assert max(abs(off(clock)) for clock in found if clock.at_ns > 4e9) < 3 * MS


def test_a_clock_that_ends_is_lost_and_says_where() -> None:
    sent = until(started(clocks(SONG, 8.0, chance(9))), 5.5)
    sent += clocks(SONG, 3.0, chance(10), at_s=9.0)  # without a word on where it is
    found, told = followed(sent, 12.0, how=Follow(freewheel_s=1.0))
    assert first(found, lambda clock: clock.lock is Lock.LOST) == pytest.approx(6.5, abs=0.05)
    assert found[-1].lock is Lock.LOST
    assert found[-1].position_s == pytest.approx(6.0, abs=0.05)
    assert len(told) >= 1
    assert told[0].startswith("MIDI clock stopped at 10:00:0")
    assert "(bar 2, beat " in told[0]


@pytest.mark.parametrize("later_s", [0.001, 0.006, 0.013, 0.02])
@pytest.mark.parametrize("bpm", [96, 97, 110])
def test_two_masters_on_one_port_never_lock(later_s: float, bpm: int) -> None:
    other = clocks(TempoMap(Fraction(bpm), 4), 15.0, chance(4), at_s=0.5 + later_s)
    found, told = followed([*started(clocks(SONG, 15.0, chance(5))), *other], 15.0)
    assert not any(clock.steers for clock in found)
    assert all("two masters on one port" in words for words in told)
    assert told


def test_a_second_master_that_comes_in_is_not_followed() -> None:
    other = clocks(TempoMap(Fraction(101), 4), 8.0, chance(4), at_s=6.007)
    follower = clock_follower(BASE, SONG, Follow(freewheel_s=1.0))
    sent = sorted([*started(clocks(SONG, 15.0, chance(5))), *other], key=lambda one: one.at_s)
    found = list(watch(follower, sent, 14.0, 0.01))
    assert found[-1].lock is Lock.LOST
    assert max(abs(off(clock)) for clock in found if clock.steers and clock.at_ns > 4e9) < 30 * MS
    assert any("two masters on one port" in words for words in follower.troubles())


def test_noise_alone_never_steers() -> None:
    """Clocks that come at random, with starts and positions between them."""
    draw = chance(11)
    at_s, sent = 0.0, []
    kinds = [CLOCK] * 30 + [START, CONTINUE, STOP, SongPosition(7).data()]
    for _ in range(10_000):
        at_s += float(draw.exponential(GAP_S))
        sent.append(said(at_s, kinds[draw.integers(len(kinds))]))
    found, _ = followed(sent, at_s, tick_s=0.02)
    assert not any(clock.steers for clock in found)


def test_the_same_bytes_give_the_same_clocks_however_split() -> None:
    run = started(clocks(SONG, 6.0, chance(4)))
    run.insert(100, Sent(run[100].at_s, 0, 0, b"\x90\x3c\x40\xf2\x05"))
    run.insert(102, Sent(run[101].at_s, 0, 0, b"\x00"))
    once = followed(run, 6.0)
    split = [Sent(one.at_s, 0, 0, one.data[i : i + 1]) for one in run for i in range(len(one.data))]
    assert followed(split, 6.0) == once


def test_sightings_are_clocks_by_their_place() -> None:
    follower = clock_follower(BASE, SONG)
    list(watch(follower, started(clocks(SONG, 4.0, chance(0), sigma_s=0)), 4.0))
    seen = follower.sightings()
    assert len(seen) > 100
    for (stamp_ns, position_s), (_, after_s) in pairwise(seen):
        assert position_s - (stamp_ns * 1e-9 - 0.5) == pytest.approx(0, abs=1e-6)
        assert after_s - position_s == pytest.approx(GAP_S)


def test_error_over_uncertainty_is_near_one() -> None:
    ratios: list[float] = []
    for seed in range(12):
        found, _ = followed(started(clocks(SONG, 12.0, chance(seed))), 12.0, tick_s=0.05)
        ratios += [off(clock) / clock.uncertainty_s for clock in found if clock.steers and clock.at_ns > 6e9]
    assert 0.6 < np.sqrt(np.mean(np.square(ratios))) < 1.4


def test_what_is_followed_is_told_in_quarter_notes() -> None:
    assert clock_follower(BASE, SONG).told == "MIDI clock, 96 BPM"
    assert clock_follower(BASE, CHANGING).told == "MIDI clock, 80 to 120 BPM"
    assert clock_follower(BASE, TempoMap(Fraction(240), 6, beat_note=8)).told == "MIDI clock, 120 BPM"


def test_a_project_without_a_tempo_has_no_beats_to_follow() -> None:
    with pytest.raises(ValueError, match="the project has no tempo; write one, or read one with twintake tempo"):
        clock_follower(BASE, None)


def test_clocks_that_were_used_already_are_not_used_again_when_the_count_goes_back() -> None:
    """Two dozen clocks at once, as of a port that was stuck, are too many: the count goes back behind those used."""
    sent = [said(0.01, START), *(said(0.03 + 0.02 * n, CLOCK) for n in range(37))]
    sent += [said(0.79, CLOCK)] * 24 + [said(0.81 + 0.02 * n, CLOCK) for n in range(120)]
    found, told = followed(sent, 3.0)
    assert any("too many" in words for words in told)
    assert found[-1].lock in (Lock.LOCKED, Lock.FREEWHEEL, Lock.LOST)
