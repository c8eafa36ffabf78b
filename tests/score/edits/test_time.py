"""Edits of time: stretch, offset, ripple and snap keep keys in order, undo each other, and say what they refuse."""

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.errors import ProjectError
from sequencer.score.edits.offset import offset
from sequencer.score.edits.ripple import ripple
from sequencer.score.edits.selection import between, everything
from sequencer.score.edits.snap import Beats, Grid, snap
from sequencer.score.edits.stretch import stretch
from sequencer.score.move import Cue, Marker, Move
from sequencer.timebase.rate import RATES, Rate
from sequencer.timebase.tempo import Change, TempoMap
from tests.motion.machines import track
from tests.score.edits.moves import moves

FRACTIONS = st.fractions(Fraction(1, 50), 50, max_denominator=1001)
SMALL = Move(
    tracks=(track([0, 25, 50], [0, 10, 20], "poly345"), track([10, 50], [1, 2], "linear", "pan1")),
    cues=(Cue("one", Fraction(0), Fraction(30)), Cue("two", Fraction(30), Fraction(60))),
    markers=(Marker("drop", Fraction(40)),),
)


def instants(move: Move) -> list[list[Fraction]]:
    return [[key.at for key in track.keys] for track in move.tracks]


@given(moves(), FRACTIONS, st.fractions(-1000, 1000, max_denominator=1001))
def test_a_stretch_is_undone_by_its_inverse_exactly(move: Move, factor: Fraction, about: Fraction) -> None:
    there = stretch(move, everything(move), factor, about, cues=True)
    assert stretch(there, everything(move), 1 / factor, about, cues=True) == move
    assert there.markers == move.markers


def test_a_stretch_moves_chosen_keys_and_no_others() -> None:
    found = stretch(SMALL, {"pan0": {1, 2}}, Fraction(3, 2), Fraction(25))
    assert instants(found) == [[0, 25, Fraction(125, 2)], [10, 50]]
    assert found.cues == SMALL.cues


@pytest.mark.parametrize("factor", [Fraction(0), Fraction(-1)])
def test_a_stretch_does_not_turn_time_round(factor: Fraction) -> None:
    with pytest.raises(ValueError, match="reverse"):
        stretch(SMALL, everything(SMALL), factor, Fraction(0))


def test_keys_that_would_pass_one_that_stays_are_named() -> None:
    with pytest.raises(ProjectError, match=r"tracks\[0\]\.keys\[2\]\.at.*@50 would come before.*@25"):
        stretch(SMALL, {"pan0": {1}}, Fraction(3), Fraction(0))
    with pytest.raises(ProjectError, match="@25 would come at the same instant as the one at @0"):
        offset(SMALL, {"pan0": {1}}, frames=Fraction(-25))


def test_an_axis_or_a_key_that_is_not_there_is_named() -> None:
    with pytest.raises(ValueError, match="no track moves 'tilt'; there are tracks for pan0, pan1"):
        offset(SMALL, {"tilt": {0}}, value=1.0)
    with pytest.raises(ValueError, match="pan1 has no key 2; it has 2"):
        offset(SMALL, {"pan1": {2}}, value=1.0)


@given(moves(), *[st.fractions(-1000, 1000, max_denominator=1001)] * 2, *[st.integers(-500, 500)] * 2)
def test_offsets_add_up(move: Move, a: Fraction, b: Fraction, up: int, more: int) -> None:
    all_keys = everything(move)
    twice = offset(offset(move, all_keys, frames=a, value=up / 4), all_keys, frames=b, value=more / 4)
    assert twice == offset(move, all_keys, frames=a + b, value=(up + more) / 4)
    assert offset(twice, all_keys, frames=-a - b, value=-(up + more) / 4) == move


def test_an_offset_is_a_number() -> None:
    with pytest.raises(ValueError, match="nan"):
        offset(SMALL, everything(SMALL), value=float("nan"))


def test_a_span_of_time_chooses_keys() -> None:
    assert between(SMALL, Fraction(10), Fraction(25)) == {"pan0": {1}, "pan1": {0}}
    assert between(SMALL, Fraction(10), Fraction(25), {"pan1"}) == {"pan1": {0}}


@given(moves(), st.fractions(-500, 500, max_denominator=100), st.fractions(0, 500, max_denominator=100))
def test_time_that_was_put_in_can_be_taken_out(move: Move, at: Fraction, frames: Fraction) -> None:
    longer = ripple(move, at, frames, markers=True)
    assert ripple(longer, at + frames, -frames, markers=True) == move
    for before, after in zip(instants(move), instants(longer), strict=True):
        assert after == [when + frames if when >= at else when for when in before]


def test_time_is_put_in_for_some_axes_and_cues_and_markers_as_asked() -> None:
    found = ripple(SMALL, Fraction(30), Fraction(5), axes={"pan0"})
    assert instants(found) == [[0, 25, 55], [10, 50]]
    assert [int(at) for cue in found.cues for at in (cue.start, cue.end)] == [0, 35, 35, 65]
    assert found.markers == SMALL.markers
    assert ripple(SMALL, Fraction(30), Fraction(5), cues=False).cues == SMALL.cues
    with pytest.raises(ValueError, match="tilt"):
        ripple(SMALL, Fraction(30), Fraction(5), axes={"tilt"})


@pytest.mark.parametrize(
    ("at", "frames", "words"),
    [
        (30, -10, "a key of pan0 stands at @25"),
        (25, -25, "a key of pan1 stands at @10"),
        (45, -10, "the marker drop stands at @40"),
        (35, -8, "the end of the cue one stands at @30"),
    ],
)
def test_time_in_which_something_stands_is_not_taken_out(at: int, frames: int, words: str) -> None:
    with pytest.raises(ProjectError, match=words):
        ripple(SMALL, Fraction(at), Fraction(frames), markers=True)


def test_no_key_is_pulled_onto_another() -> None:
    with pytest.raises(ProjectError, match="@25 would come at the same instant as the one at @0"):
        ripple(SMALL, Fraction(25), Fraction(-25), axes={"pan0"}, cues=False)


def test_a_cue_is_not_lost_with_its_time() -> None:
    move = replace(SMALL, cues=(Cue("short", Fraction(30), Fraction(40)),))
    with pytest.raises(ProjectError, match="the whole cue short"):
        ripple(move, Fraction(40), Fraction(-10))


@given(moves(), st.fractions(Fraction(1, 8), 4, max_denominator=8), st.fractions(-5, 5, max_denominator=8))
def test_snapped_keys_stand_on_the_nearest_line(move: Move, step: Fraction, origin: Fraction) -> None:
    grid = Grid(step, origin)
    found = snap(move, everything(move), grid, pinned=True)
    for before, after in zip(move.tracks, found.tracks, strict=True):
        for old, new in zip(before.keys, after.keys, strict=True):
            assert (new.at - origin) % step == 0
            assert abs(new.at - old.at) <= step / 2
            assert replace(new, at=old.at) == old
    assert snap(found, everything(move), grid, pinned=True) == found


@given(st.fractions(-200, 200, max_denominator=64), st.sampled_from([Fraction(1), Fraction(1, 2), Fraction(3)]))
def test_beats_of_a_steady_tempo_are_an_even_grid_in_exact_frames(at: Fraction, part: Fraction) -> None:
    """96 beats a minute are 15.625 frames each at 25 a second: worked by hand."""
    tempo = TempoMap(Fraction(96), 4, Fraction(1, 2))
    grid = Grid(part * Fraction(125, 8), Fraction(25, 2))
    assert Beats(tempo, Rate(25), part).nearest(at) == grid.nearest(at)
    odd = Beats(tempo, RATES["30000/1001"], Fraction(1, 2))
    origin, step = Fraction(30000, 1001) / 2, Fraction(30000, 1001) * 60 / 96 / 2
    assert odd.nearest(origin + step * Fraction(5, 2)) == origin + 3 * step
    with pytest.raises(ValueError, match="apart"):
        Beats(tempo, Rate(25), Fraction(0))


def test_beats_follow_the_changes_of_the_tempo() -> None:
    """At 25 frames a second, 60 beats a minute are 25 frames each and 120 are 12.5; beat 2 stands at frame 50."""
    tempo = TempoMap(Fraction(60), 4, changes=(Change(beat=Fraction(2), bpm=Fraction(120)),))
    grid = Beats(tempo, Rate(25))
    assert [grid.nearest(Fraction(at)) for at in (30, 49, 57, 70)] == [25, 50, Fraction(125, 2), 75]


def test_pinned_keys_snap_only_if_asked_and_no_two_keys_come_together() -> None:
    first, *others = SMALL.tracks[0].keys
    move = Move(tracks=(replace(SMALL.tracks[0], keys=(replace(first, pin=True), *others)),))
    grid = Grid(Fraction(7), Fraction(1))
    assert instants(snap(move, everything(move), grid)) == [[0, 22, 50]]
    assert instants(snap(move, everything(move), grid, pinned=True)) == [[1, 22, 50]]
    with pytest.raises(ProjectError, match="@25 would come at the same instant as the one at @0"):
        snap(move, everything(move), Grid(Fraction(80)))
    with pytest.raises(ValueError, match="apart"):
        Grid(Fraction(0))
