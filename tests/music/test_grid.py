"""Tempo maps from beats, and corrections by hand: exact, and as good as they say."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.music.beats import Beats
from sequencer.music.grid import (
    Metre,
    at_tempo,
    doubled,
    from_taps,
    halved,
    in_metre,
    nudged,
    one_here,
    one_tempo,
    stepped,
    tapped,
    tidy,
)
from sequencer.timebase.rate import Rate
from sequencer.timebase.tempo import Change, TempoMap
from tests.music import sounds
from tests.music.sounds import Floats

FILM = Rate(24000, 1001)
SONG = TempoMap(Fraction(96), 4, Fraction(1, 2), changes=(Change(beat=Fraction(16), bpm=Fraction(120)),))
bpms = st.fractions(30, 300, max_denominator=1000)
instants = st.fractions(-100, 100, max_denominator=48000)


def heard(at_s: Floats, residual_s: float = 0.0003) -> Beats:
    bpm = 60 * (len(at_s) - 1) / (at_s[-1] - at_s[0])
    return Beats(
        at_s=at_s,
        bpm=bpm,
        first_s=float(at_s[0]),
        confidence=0.9,
        residual_s=residual_s,
        steady=True,
        error_bpm=0.0,
        others=(),
    )


@pytest.mark.parametrize(("bpm", "kept"), [(96.0003, "96"), (93.7, "93.7"), (93.70004, "93.7"), (171.0, "171")])
def test_one_tempo_is_whole_where_the_beats_do_not_tell_it_from_one(bpm: float, kept: str) -> None:
    fit = one_tempo(heard(sounds.steady(bpm, 240.0)), Fraction(10), FILM)
    assert fit.tempo.bpm == Fraction(kept)
    assert fit.worst_s < 0.0015
    assert abs(float(fit.tempo.at_s) - 10.37) < 0.0015


def test_a_tempo_that_is_not_whole_is_not_made_so() -> None:
    assert tidy(95.9, 0.05) == Fraction("95.9")
    assert tidy(95.96, 0.05) == 96
    assert tidy(0.3, 0.5) == Fraction("0.3")
    long = one_tempo(heard(sounds.steady(96.02, 240.0)), Fraction(0), FILM)
    assert long.tempo.bpm == Fraction("96.02")


def test_bars_begin_at_the_beat_that_is_named() -> None:
    beats = heard(sounds.steady(120, 20.0, first_s=0.5))
    for one in (0, 1, 3, 6):
        fit = one_tempo(beats, Fraction(2), FILM, Metre(4), one)
        at_s = Fraction(float(beats.at_s[one])) + 2
        assert fit.tempo.in_bar(round(fit.tempo.beat(at_s))).beat == 0
    assert one_tempo(beats, Fraction(2), FILM, Metre(6, 8)).tempo.stretches[0].metre == "6/8"


def test_what_is_kept_is_what_a_project_file_holds() -> None:
    fit = one_tempo(heard(sounds.steady(93.7, 60.0)), Fraction(1, 3), FILM)
    assert (FILM.frames(fit.tempo.at_s) * 1000).denominator == 1
    assert (fit.tempo.bpm * 1000).denominator == 1


def test_music_that_gets_faster_gets_tempi_at_bars_within_ten_ms() -> None:
    beats = heard(sounds.gliding(100, 112, 240.0))
    fit = stepped(beats, Fraction(10), FILM)
    assert fit.worst_s <= 0.010
    assert 3 <= len(fit.tempo.changes) <= 40
    assert all(change.beat % 4 == 0 for change in fit.tempo.changes)
    tempi = [float(one.bpm) for one in fit.tempo.stretches]
    assert tempi == sorted(tempi)
    finer = stepped(beats, Fraction(10), FILM, within_s=0.003)
    assert finer.worst_s <= 0.003
    assert len(finer.tempo.changes) > len(fit.tempo.changes)
    assert one_tempo(beats, Fraction(10), FILM).worst_s > 0.1  # and one tempo says how far it is off


def test_steady_music_needs_no_second_tempo() -> None:
    fit = stepped(heard(sounds.steady(120, 60.0)), Fraction(0), FILM)
    assert fit.tempo.changes == ()
    assert abs(fit.tempo.bpm - 120) < Fraction(1, 100)
    short = stepped(heard(sounds.steady(120, 3.0)), Fraction(0), FILM, Metre(16))
    assert short.tempo.changes == ()


def test_a_bar_that_one_tempo_cannot_fit_is_told_by_the_worst_beat() -> None:
    at_s = sounds.steady(120, 30.0)
    at_s[10] += 0.05
    assert 0.03 < stepped(heard(at_s), Fraction(0), FILM).worst_s < 0.06


def test_double_and_halve_keep_every_instant() -> None:
    twice = doubled(SONG)
    for beat in (0, 7, 16, 33):
        assert twice.seconds(2 * beat) == SONG.seconds(beat)
    assert halved(twice) == SONG
    assert [one.bpm for one in twice.stretches] == [192, 240]
    with pytest.raises(ValueError, match="no tempo"):
        doubled(TempoMap(Fraction(800), 4))
    with pytest.raises(ValueError, match="no tempo"):
        halved(TempoMap(Fraction(1), 4))


@settings(max_examples=25)
@given(bpms, instants, instants, st.integers(1, 7))
def test_a_bar_begins_exactly_where_beat_one_was_put(bpm: Fraction, first: Fraction, at: Fraction, bar: int) -> None:
    before = TempoMap(bpm, bar, first)
    after = one_here(before, at)
    assert after.in_bar(after.beat(at)).beat == 0
    assert abs(after.at_s - before.at_s) <= bar * 60 / bpm / 2
    assert one_here(after, at) == after


@settings(max_examples=25)
@given(bpms, instants, instants, st.integers(1, 7))
def test_the_nearest_beat_becomes_one_and_none_moves(bpm: Fraction, first: Fraction, at: Fraction, bar: int) -> None:
    before = TempoMap(bpm, bar, first)
    after = one_here(before, at, onto_beat=True)
    there = before.nearest(at)
    assert after.in_bar(after.beat(there)).beat == 0
    assert after.nearest(at) == there


def test_changes_stay_where_they_are_in_time_when_bars_are_counted_anew() -> None:
    after = one_here(SONG, SONG.seconds(2), onto_beat=True)
    assert [one.at_s for one in after.stretches][1:] == [one.at_s for one in SONG.stretches][1:]
    assert after.in_bar(after.beat(SONG.seconds(2))).beat == 0
    waltz = TempoMap(Fraction(96), 4, changes=(Change(beat=Fraction(8), beats_per_bar=3),))
    with pytest.raises(ValueError, match="bar 3, beat 1 decides"):
        one_here(waltz, waltz.seconds(12), onto_beat=True)


def test_a_nudge_a_typed_tempo_and_a_metre() -> None:
    assert nudged(SONG, Fraction(-1, 100)).at_s == SONG.at_s - Fraction(1, 100)
    typed = at_tempo(SONG, Fraction("93.7"))
    assert (typed.bpm, typed.changes, typed.at_s) == (Fraction("93.7"), (), SONG.at_s)
    assert in_metre(SONG, 3).beats_per_bar == 3
    for wrong in (Fraction(0), Fraction(-5), Fraction(10**6)):
        with pytest.raises(ValueError, match="no tempo"):
            at_tempo(SONG, wrong)
    with pytest.raises(ValueError, match="at least one"):
        in_metre(SONG, 0)


def test_taps_tell_tempo_and_beat_although_one_is_bad_and_one_is_missing() -> None:
    dice = np.random.RandomState(6)
    taps = 5.0 + 0.625 * np.delete(np.arange(14), 6) + dice.normal(0, 0.012, 13)
    taps[3] += 0.15
    found = tapped(taps.tolist())
    assert found.bpm == 96
    assert abs((found.at_s - 5.0 + 0.3125) % 0.625 - 0.3125) < 0.02
    assert 0.003 < found.residual_s < 0.03
    moved = from_taps(SONG, found, FILM)
    assert abs(float(moved.nearest(Fraction(found.at_s))) - found.at_s) < 1e-3
    assert from_taps(SONG, found, FILM, phase=False).at_s == SONG.at_s


@pytest.mark.parametrize(
    ("taps", "words"),
    [
        ([], "4 taps at least; there are 0"),
        ([1.0, 1.5, 2.0], "there are 3"),
        ([1.0, 1.5, 1.55, 2.0], "too near"),
        ([2.0, 1.5, 1.0, 0.5], "too near"),
        ([0.0, 0.5, float("nan"), 1.5], "too near"),
        ([0.0, 0.3, 1.0, 1.32, 2.5, 2.7, 4.0, 4.3], "too uneven"),
    ],
)
def test_what_are_no_taps_is_refused(taps: list[float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        tapped(taps)
