"""Marks become keys: where, of which axes, and what happens to the keys that were there."""

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.errors import ProjectError
from sequencer.score.edits.from_marks import evenly, keyed, on_beats
from sequencer.score.marks import Mark
from sequencer.score.move import Ease, Key, Move, Track
from sequencer.shell.kinds import laws
from sequencer.timebase.rate import RATES
from sequencer.timebase.tempo import Change, TempoMap

LAWS = laws()
SINE = Ease("modified-sine")
OLD = Ease("linear")
QUAY = Mark("quay", (("pan", -20.0), ("tilt", 4.0)))
LAMP = Mark("lamp", (("pan", 30.0),))
SHED = Mark("shed", (("tilt", 9.0), ("focus", 0.5)))


def at(*frames: int) -> tuple[Fraction, ...]:
    return tuple(map(Fraction, frames))


def move(pin: bool = False) -> Move:
    keys = tuple(Key(frame, 1.0, OLD, pin=pin and frame == 30) for frame in at(0, 10, 30, 50, 90))
    return Move(tracks=(Track("pan", keys),))


def rows(after: Move, axis: str) -> list[tuple[int, float, str]]:
    return [
        (int(key.at), key.value, key.ease.law) for track in after.tracks if track.axis == axis for key in track.keys
    ]


def test_one_mark_becomes_a_key_of_each_of_its_axes() -> None:
    after, chosen = keyed(move(), [QUAY], at(20), SINE, LAWS)
    assert rows(after, "pan")[2] == (20, -20.0, "modified-sine")
    assert len(rows(after, "pan")) == 6
    assert rows(after, "tilt") == [(20, 4.0, "modified-sine")]
    assert chosen == {"pan": {2}, "tilt": {0}}


def test_an_axis_that_a_mark_does_not_name_stays_where_it_was() -> None:
    after, _ = keyed(Move(tracks=()), [QUAY, LAMP, SHED], at(10, 20, 30), SINE, LAWS)
    assert [row[:2] for row in rows(after, "pan")] == [(10, -20.0), (20, 30.0), (30, 30.0)]
    assert [row[:2] for row in rows(after, "tilt")] == [(10, 4.0), (20, 4.0), (30, 9.0)]
    assert [row[:2] for row in rows(after, "focus")] == [(30, 0.5)]  # where it stood before is not known


def test_keys_at_the_same_instants_give_way_and_others_stay_or_go() -> None:
    kept, _ = keyed(move(), [QUAY, LAMP], at(10, 50), SINE, LAWS)
    assert [row[:2] for row in rows(kept, "pan")] == [(0, 1.0), (10, -20.0), (30, 1.0), (50, 30.0), (90, 1.0)]
    gone, chosen = keyed(move(), [QUAY, LAMP], at(10, 50), SINE, LAWS, clear=True)
    assert rows(gone, "pan") == [
        (0, 1.0, "linear"),
        (10, -20.0, "modified-sine"),
        (50, 30.0, "modified-sine"),
        (90, 1.0, "linear"),
    ]
    assert chosen["pan"] == {1, 2}


def test_a_pinned_key_is_not_taken_away() -> None:
    for clear, instants in ((False, at(30, 40)), (True, at(10, 50))):
        with pytest.raises(ProjectError, match="is pinned"):
            keyed(move(pin=True), [QUAY, LAMP], instants, SINE, LAWS, clear=clear)
    assert keyed(move(pin=True), [QUAY, LAMP], at(10, 50), SINE, LAWS)[0].tracks[0].keys[2].pin


def test_what_makes_no_keys_is_refused() -> None:
    for marks, instants, ease, words in (
        ([], (), SINE, "no mark is chosen"),
        ([QUAY, LAMP], at(10), SINE, "2 marks have 1 instants; give each mark one"),
        ([QUAY, LAMP], at(10, 10), SINE, "two of them would come to one instant"),
        ([QUAY, LAMP], at(20, 10), SINE, "one after the other"),
        ([QUAY], at(10), Ease("wobble"), "wobble"),
    ):
        with pytest.raises(ValueError, match=words):
            keyed(move(), marks, instants, ease, LAWS)


@given(st.integers(2, 40), st.fractions(-1000, 1000), st.fractions(Fraction(1, 10), 1000))
def test_even_instants_are_exactly_even(count: int, start: Fraction, lasts: Fraction) -> None:
    found = evenly(count, start, start + lasts)
    assert (len(found), found[0], found[-1]) == (count, start, start + lasts)
    assert {b - a for a, b in pairwise(found)} == {lasts / (count - 1)}


def test_no_even_instants_for_one_or_backward() -> None:
    with pytest.raises(ValueError, match="choose two marks or more"):
        evenly(1, Fraction(0), Fraction(10))
    with pytest.raises(ValueError, match="choose a later end"):
        evenly(2, Fraction(10), Fraction(10))


def test_beats_are_counted_from_the_nearest_one() -> None:
    # by hand: at 96 BPM and 25 frames a second a beat is 15.625 frames
    tempo = TempoMap(Fraction(96), 4)
    beat = Fraction(125, 8)
    assert on_beats(3, Fraction(16), 2, tempo, RATES["25"]) == (beat, 3 * beat, 5 * beat)
    assert on_beats(2, Fraction(24), 1, tempo, RATES["25"]) == (2 * beat, 3 * beat)
    with pytest.raises(ValueError, match="come every 0 beats"):
        on_beats(2, Fraction(16), 0, tempo, RATES["25"])


def test_beats_follow_the_tempo_and_begin_anew_with_a_metre() -> None:
    # by hand, at a frame a second for each second: beats at 0, 1, 2; from beat 2.5 on a new metre, half as long
    changes = (Change(beat=Fraction(5, 2), bpm=Fraction(120), beats_per_bar=3),)
    tempo = TempoMap(Fraction(60), 4, changes=changes)
    found = on_beats(6, Fraction(0), 1, tempo, RATES["25"])
    assert [frame / 25 for frame in found] == [0, 1, 2, Fraction(5, 2), 3, Fraction(7, 2)]
