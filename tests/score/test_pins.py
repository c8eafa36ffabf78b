"""Pins: on keys that stand on a beat, a cue's ends or a marker, and on no others."""

from fractions import Fraction

from sequencer.score.move import Ease, Key, Move, Track
from sequencer.score.pins import at_instants, on_beats, pinned, unpinned
from sequencer.timebase.rate import Rate
from sequencer.timebase.tempo import TempoMap

HALF = Fraction(1, 2)


def move(*at: Fraction | int) -> Move:
    return Move(tracks=(Track("pan", tuple(Key(Fraction(each), 0.0, Ease("hold")) for each in at)),))


def pins(of: Move) -> list[bool]:
    return [key.pin for track in of.tracks for key in track.keys]


def test_keys_on_a_beat_are_pinned_and_those_beside_it_are_not() -> None:
    """96 beats a minute at 25 frames a second: a beat is 15.625 frames."""
    tempo = TempoMap(Fraction(96), 4, at_s=Fraction(2, 5))
    beat = Fraction(125, 8)
    written = move(10, 10 + beat, 10 + beat + HALF, 10 + 3 * beat, 10 + 3 * beat + Fraction(1, 100))
    assert pins(pinned(written, on_beats(tempo, Rate(25)))) == [True, True, False, True, False]


def test_a_beat_that_no_file_can_write_exactly_still_pins_its_key() -> None:
    """A beat of 100/7 frames, in a file to nine decimals."""
    tempo = TempoMap(Fraction(105), 4)
    written = move(Fraction(14_285_714_286, 10**9), Fraction(14_285_714, 10**6))
    assert pins(pinned(written, on_beats(tempo, Rate(25)))) == [True, False]


def test_keys_at_given_instants_are_pinned() -> None:
    assert pins(pinned(move(1, 2, 3), at_instants([Fraction(2), Fraction(7)]))) == [False, True, False]


def test_pins_are_kept_beside_new_ones_and_all_can_be_taken_away() -> None:
    both = pinned(pinned(move(1, 2, 3), at_instants([Fraction(2)])), at_instants([Fraction(3)]))
    assert pins(both) == [False, True, True]
    assert unpinned(both) == move(1, 2, 3)
    assert pins(pinned(move(1, 2))) == [True, True]
