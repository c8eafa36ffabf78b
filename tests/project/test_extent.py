"""The stretch that a project fills, from its first key, cue or marker to its last."""

from dataclasses import replace
from fractions import Fraction

from sequencer.project.begin import empty
from sequencer.project.extent import extent
from sequencer.score.move import Cue, Ease, Key, Marker, Move, Track


def test_it_goes_from_the_first_to_the_last_of_keys_cues_and_markers() -> None:
    keys = tuple(Key(Fraction(at), 0.0, Ease("linear")) for at in (20, 35, 50))
    move = Move(
        tracks=(Track("pan", keys),),
        cues=(Cue("one", Fraction(30), Fraction(90)),),
        markers=(Marker("in", Fraction(-5)),),
    )
    assert extent(replace(empty(), move=move)) == (Fraction(-5), Fraction(90))


def test_what_is_empty_or_one_instant_lasts_ten_seconds() -> None:
    project = empty()
    ten = project.timebase.rate.frames(Fraction(10))
    assert extent(project) == (Fraction(0), ten)
    move = Move(tracks=(), markers=(Marker("only", Fraction(100)),))
    assert extent(replace(project, move=move)) == (Fraction(100), 100 + ten)
