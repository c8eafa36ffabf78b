"""Beats fall exactly where the arithmetic of the tempo puts them, through every change."""

from fractions import Fraction
from itertools import pairwise

import mido
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.timebase.rate import Rate
from sequencer.timebase.tempo import BEAT_NOTES, Change, InBar, TempoMap

bpm = st.fractions(min_value=Fraction(1, 10), max_value=1000, max_denominator=10**4)
beats = st.fractions(min_value=-(10**4), max_value=10**4, max_denominator=10**4)
tempi = st.builds(
    TempoMap, bpm, st.integers(1, 12), st.fractions(min_value=-(10**5), max_value=10**5, max_denominator=10**4)
)


@st.composite
def maps(draw: st.DrawFn) -> TempoMap:
    """Draw a tempo with changes at any beats, on a bar line or not."""
    at = sorted(draw(st.sets(st.fractions(Fraction(1, 100), 1000, max_denominator=960), max_size=4)))
    changes = []
    for beat in at:
        new = draw(st.tuples(st.none() | bpm, st.none() | st.integers(1, 12), st.none() | st.sampled_from(BEAT_NOTES)))
        if new != (None, None, None):
            changes.append(Change(beat=beat, bpm=new[0], beats_per_bar=new[1], beat_note=new[2]))
    steady = draw(tempi)
    note = draw(st.sampled_from(BEAT_NOTES))
    return TempoMap(steady.bpm, steady.beats_per_bar, steady.at_s, note, tuple(changes))


def test_96_beats_a_minute_at_25_frames_is_a_part_of_a_frame() -> None:
    """60 / 96 s is 0.625 s, which is 15.625 frames: worked by hand."""
    tempo = TempoMap(Fraction(96), 4)
    assert tempo.seconds(1) == Fraction(5, 8)
    assert Rate(25).frames(tempo.seconds(1)) == Fraction(125, 8)
    assert tempo.seconds(64) == 40
    assert tempo.beat(Fraction(10)) == 16


def test_beats_count_from_the_first() -> None:
    tempo = TempoMap(Fraction(120), 3, Fraction(3, 2))
    assert [tempo.seconds(beat) for beat in (-3, 0, Fraction(1, 2))] == [0, Fraction(3, 2), Fraction(7, 4)]
    assert tempo.beat(Fraction(0)) == -3


@settings(max_examples=60)  # drawing exact numbers takes its time
@given(maps(), beats)
def test_beat_is_the_inverse_of_seconds(tempo: TempoMap, beat: Fraction) -> None:
    assert tempo.beat(tempo.seconds(beat)) == beat
    assert tempo.at_quarter(tempo.at(beat).quarters(beat)) == beat
    bar, part = tempo.in_bar(beat)
    assert 0 <= part < tempo.at(beat).beats_per_bar
    assert tempo.beat_of(bar, part) == beat


@settings(max_examples=40)  # drawing exact numbers takes its time
@given(maps(), st.lists(beats, min_size=2, max_size=5, unique=True))
def test_later_beats_are_later_and_in_no_earlier_bar(tempo: TempoMap, some: list[Fraction]) -> None:
    for one, other in pairwise(sorted(some)):
        assert tempo.seconds(one) < tempo.seconds(other)
        assert tempo.in_bar(one) < tempo.in_bar(other)


@given(tempi, st.integers(-(10**6), 10**6))
def test_no_drift_however_many_beats(tempo: TempoMap, count: int) -> None:
    one = tempo.seconds(1) - tempo.seconds(0)
    assert tempo.seconds(count) - tempo.seconds(0) == count * one


@given(st.lists(st.tuples(st.integers(1, 10**5), st.integers(1, 0xFFFFFF)), max_size=8), st.integers(1, 10**6))
def test_seconds_are_those_of_the_general_library(steps: list[tuple[int, int]], end: int) -> None:
    """mido's tick2second and tempo2bpm, interval by interval, on a file of 480 ticks a quarter note."""
    ticks, tempo_us, seconds, at = 480, 500_000, 0.0, 0
    changes: dict[int, int] = {}
    for delta, us in steps:
        at += delta
        seconds += mido.tick2second(delta, ticks, tempo_us)
        changes[at], tempo_us = us, us
    seconds += mido.tick2second(end, ticks, tempo_us)
    tempo = TempoMap(
        Fraction(120),
        4,
        changes=tuple(
            Change(beat=Fraction(tick, ticks), bpm=Fraction(60_000_000, us)) for tick, us in sorted(changes.items())
        ),
    )
    last = Fraction(at + end, ticks)
    assert float(tempo.seconds(last)) == pytest.approx(seconds, rel=1e-12)
    assert float(tempo.at(last).quarter_bpm) == pytest.approx(mido.tempo2bpm(tempo_us), rel=1e-12)


def test_a_quarter_note_lasts_half_a_second_at_120() -> None:
    """Standard MIDI Files 1.0: 120 quarter notes a minute are 500,000 microseconds each; in 6/8 a beat is an eighth."""
    assert TempoMap(Fraction(120), 4).seconds(1) == Fraction(500_000, 10**6)
    compound = TempoMap(Fraction(240), 6, beat_note=8)
    assert compound.seconds(6) == Fraction(3, 2)  # a bar of six eighths is three quarter notes
    assert compound.stretches[0].quarter_bpm == 120
    assert compound.stretches[0].metre == "6/8"


MIXED = TempoMap(
    Fraction(120),
    4,
    Fraction(1),
    changes=(
        Change(beat=Fraction(8), beats_per_bar=3),  # bars 3 and 4 of three beats
        Change(beat=Fraction(10), bpm=Fraction(60)),  # third beat of bar 3
        Change(beat=Fraction(15), beats_per_bar=6, beat_note=8),  # cuts bar 5 short after its first beat
    ),
)


def test_changes_of_tempo_and_metre_worked_by_hand() -> None:
    bars = [(bar + 1, beat, MIXED.seconds(beat)) for bar, beat in MIXED.bars(0, 16)]
    by_hand = [(1, 0, 1), (2, 4, 3), (3, 8, 5), (4, 11, 7), (5, 14, 10), (6, 15, 11), (7, 21, 14)]
    assert bars == [(bar, Fraction(beat), Fraction(at_s)) for bar, beat, at_s in by_hand]
    places = [(2, 2), (4, 0), (5, 0), (5, 5)]
    assert [MIXED.in_bar(beat) for beat in (10, 14, 15, 20)] == [InBar(bar, Fraction(beat)) for bar, beat in places]
    assert MIXED.at(15).bpm == 120  # eighths, where a quarter note stays a second
    assert str(MIXED.in_bar(Fraction(25, 2))) == "bar 4, beat 2.5"
    assert MIXED.in_bar(Fraction(-1)) == InBar(-1, Fraction(3))
    assert MIXED.seconds(-4) == -1


def test_grid_lines_begin_anew_with_each_metre() -> None:
    assert list(MIXED.grid(9, 13, 3)) == [14, 15, 18]  # every three beats, and where six eighths begin
    assert list(MIXED.grid(1, 2)) == [0, 1, 2]
    assert list(MIXED.grid(0, Fraction(5, 4), Fraction(1, 2))) == [
        -2,
        Fraction(-3, 2),
        -1,
        Fraction(-1, 2),
        0,
        Fraction(1, 2),
    ]
    assert MIXED.nearest(Fraction(25, 4), 3) == 7  # beat 11 begins a bar of three
    with pytest.raises(ValueError, match="cannot be 0 beats apart"):
        MIXED.nearest(1, 0)


@settings(max_examples=40)  # drawing exact numbers takes its time
@given(maps(), st.fractions(-1000, 1000, max_denominator=1000), st.fractions(Fraction(1, 4), 4, max_denominator=12))
def test_the_nearest_line_is_a_line_and_none_is_nearer(tempo: TempoMap, at_s: Fraction, part: Fraction) -> None:
    found = tempo.nearest(at_s, part)
    assert tempo.nearest(found, part) == found
    away = abs(found - at_s)
    span = min(away, Fraction(1))
    for beat in tempo.grid(at_s - span, at_s + span, part):
        assert abs(tempo.seconds(beat) - at_s) >= away


@pytest.mark.parametrize(
    ("made", "message"),
    [
        (lambda: TempoMap(Fraction(0), 4), "tempo is 0 beats a minute; it must be above zero"),
        (lambda: TempoMap(Fraction(-96), 4), "tempo is -96 beats a minute"),
        (lambda: TempoMap(Fraction(96), 0), "a bar has 0 beats; it needs at least one"),
        (lambda: TempoMap(Fraction(96), 4, beat_note=3), "a beat cannot be a note of 1/3"),
        (lambda: changed(Change(beat=Fraction(4))), "the change at bar 2, beat 1 changes nothing"),
        (
            lambda: changed(Change(beat=Fraction(0), bpm=Fraction(9))),
            "bar 1, beat 1 is not after that at bar 1, beat 1",
        ),
        (
            lambda: changed(Change(beat=Fraction(9), bpm=Fraction(9)), Change(beat=Fraction(8), bpm=Fraction(7))),
            "a change at bar 3, beat 1 is not after that at bar 3, beat 2",
        ),
        (lambda: changed(Change(beat=Fraction(4), bpm=Fraction(0))), "tempo is 0 beats a minute"),
    ],
)
def test_a_tempo_that_is_none(made: object, message: str) -> None:
    assert callable(made)
    with pytest.raises(ValueError, match=message):
        made()


def changed(*changes: Change) -> TempoMap:
    return TempoMap(Fraction(96), 4, changes=changes)
