"""The ruler: labels that never touch, get finer as one zooms, and say what the timebase says."""

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.timebase.rate import Rate
from sequencer.timebase.tempo import Change, TempoMap
from sequencer.timebase.timecode import Counting, Timebase, Timecode
from ui.timeline import beats, ticks
from ui.timeline.ticks import Ticks

WIDTH_PX = 1600.0
LETTER_PX = 7.5

BASES = [
    Timebase(Counting(Rate(25)), Timecode(10, 0, 0, 0)),
    Timebase(Counting(Rate(24000, 1001)), Timecode(1, 0, 3, 7)),
    Timebase(Counting(Rate(30000, 1001), drop=True), Timecode(0, 0, 0, 0)),
    Timebase(Counting(Rate(30000, 1001), drop=True), Timecode(0, 58, 59, 28)),
    Timebase(Counting(Rate(60000, 1001), drop=True), Timecode(23, 59, 50, 0)),
]
TEMPO = TempoMap(
    Fraction(96),
    4,
    Fraction(1, 3),
    changes=(Change(beat=Fraction(16), bpm=Fraction(140)), Change(beat=Fraction(33), beats_per_bar=3)),
)


def wide(words: str) -> float:
    return LETTER_PX * len(words)


def made(how: str, base: Timebase, begin_s: float, lasts_s: float, tempo: TempoMap = TEMPO) -> Ticks:
    span = (begin_s, begin_s + lasts_s, WIDTH_PX / lasts_s, wide)
    if how == "timecode":
        return ticks.timecode(base, *span)
    if how == "frames":
        return ticks.frames(base, *span)
    return ticks.seconds(*span) if how == "seconds" else beats.bars(tempo, *span)


spans = st.tuples(st.floats(-500, 4000), st.floats(0.05, 40_000).filter(lambda lasts: lasts > 0.05))


@given(how=st.sampled_from(["timecode", "frames", "seconds"]), base=st.sampled_from(BASES), span=spans)
def test_labels_never_touch_and_all_lines_are_in_sight(how: str, base: Timebase, span: tuple[float, float]) -> None:
    found = made(how, base, *span)
    px_a_s = WIDTH_PX / span[1]
    for (one_s, words), (other_s, _) in pairwise(found.labelled):
        assert (other_s - one_s) * px_a_s >= wide(words) - 1e-6
    for at_s in (*found.finer_s, *(at_s for at_s, _ in found.labelled)):
        assert span[0] - 1e-6 <= at_s <= sum(span) + 1e-6
    assert len(found.finer_s) < WIDTH_PX


@given(span=st.tuples(st.floats(-20, 200), st.floats(0.1, 900)))
def test_bars_and_beats_never_touch(span: tuple[float, float]) -> None:
    found = made("bars", BASES[0], *span)
    for (one_s, words), (other_s, _) in pairwise(found.labelled):
        assert (other_s - one_s) * WIDTH_PX / span[1] >= wide(words)


@given(base=st.sampled_from(BASES), span=st.tuples(st.floats(-100, 700), st.floats(0.2, 3000)))
def test_a_label_stands_where_the_timebase_has_it(base: Timebase, span: tuple[float, float]) -> None:
    for at_s, words in made("timecode", base, *span).labelled:
        assert str(base.label_at(at_s)) == words


@pytest.mark.parametrize("base", BASES)
def test_closer_looks_have_finer_labels(base: Timebase) -> None:
    for how in ("timecode", "frames", "seconds", "bars"):
        apart = []
        for lasts_s in (3000.0, 300.0, 30.0, 3.0):
            labelled = made(how, base, 4.0, lasts_s, TempoMap(Fraction(96), 4)).labelled
            if len(labelled) > 1:
                apart.append(min(other - one for (one, _), (other, _) in pairwise(labelled)))
        assert len(apart) >= 3
        assert apart == sorted(apart, reverse=True)


def test_dropped_labels_are_not_written_and_minutes_begin_with_what_there_is() -> None:
    base = BASES[2]
    assert "00:01:00;02" in [words for _, words in made("timecode", base, 50.0, 20.0).labelled]
    words = [words for _, words in made("timecode", base, 59.0, 2.0).labelled]
    assert "00:01:00;05" in words
    assert not [each for each in words if each.endswith((":00;00", ":00;01")) and each.startswith("00:01")]


def test_numbers_are_written_as_people_count() -> None:
    assert made("seconds", BASES[0], 0.0, 2.0).labelled[1] == (0.1, "0.1 s")
    assert made("frames", BASES[0], 0.0, 4.0).labelled[0] == (0.0, "0")
    named = [words for _, words in made("bars", BASES[0], 0.3, 4.0).labelled]
    assert named[:5] == ["1", "1.2", "1.3", "1.4", "2"]


def test_bars_and_beats_of_lanes_are_those_of_the_tempo() -> None:
    bars_s, beats_s = beats.beats(TEMPO, 0.0, 12.0, 100.0)
    assert bars_s == [float(TEMPO.seconds(beat)) for _, beat in TEMPO.bars(0, 12)]
    assert sorted([*bars_s, *beats_s]) == [float(TEMPO.seconds(beat)) for beat in TEMPO.grid(0, 12)]
    coarse, none = beats.beats(TEMPO, 0.0, 1000.0, 1.0)
    assert none == []
    assert all(other - one >= 11 for one, other in pairwise(coarse))
