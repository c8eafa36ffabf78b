"""Beats fall exactly where the arithmetic of the tempo puts them."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.timebase.rate import Rate
from sequencer.timebase.tempo import TempoMap

tempi = st.builds(
    TempoMap,
    st.fractions(min_value=Fraction(1, 1000), max_value=1000),
    st.integers(1, 12),
    st.fractions(min_value=-(10**5), max_value=10**5),
)


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


@given(tempi, st.fractions(min_value=-(10**6), max_value=10**6))
def test_beat_is_the_inverse_of_seconds(tempo: TempoMap, beat: Fraction) -> None:
    assert tempo.beat(tempo.seconds(beat)) == beat


@given(tempi, st.integers(-(10**6), 10**6))
def test_no_drift_however_many_beats(tempo: TempoMap, beats: int) -> None:
    one = tempo.seconds(1) - tempo.seconds(0)
    assert tempo.seconds(beats) - tempo.seconds(0) == beats * one


@pytest.mark.parametrize(
    ("bpm", "bar", "message"),
    [
        (Fraction(0), 4, "tempo is 0 beats a minute; it must be above zero"),
        (Fraction(-96), 4, "tempo is -96 beats a minute"),
        (Fraction(96), 0, "a bar has 0 beats; it needs at least one"),
    ],
)
def test_a_tempo_that_is_none(bpm: Fraction, bar: int, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        TempoMap(bpm, bar)
