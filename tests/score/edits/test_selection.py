"""Which keys stay chosen while others come and go, and which an undo brings back."""

from dataclasses import replace
from fractions import Fraction

from sequencer.score.edits.keys import put, removed
from sequencer.score.edits.selection import brought, followed
from sequencer.score.move import Ease, Key, Move, Track


def key(at: int, value: float = 0.0) -> Key:
    return Key(Fraction(at), value, Ease("linear"))


MOVE = Move(tracks=(Track("pan", (key(0), key(10), key(20))), Track("tilt", (key(0), key(50)))))


def test_chosen_keys_are_the_same_ones_when_another_comes_before_them() -> None:
    after = put(MOVE, "pan", key(5))
    assert followed(MOVE, after, {"pan": {1, 2}, "tilt": {1}}) == {"pan": {2, 3}, "tilt": {1}}


def test_keys_and_tracks_that_are_gone_are_chosen_no_more() -> None:
    chosen = {"pan": {1, 2}, "tilt": {0, 1}}
    assert followed(MOVE, removed(MOVE, {"pan": {1}}), chosen) == {"pan": {1}, "tilt": {0, 1}}
    assert followed(MOVE, removed(MOVE, {"pan": {1, 2}}), chosen) == {"tilt": {0, 1}}
    assert followed(MOVE, removed(MOVE, {"tilt": {0, 1}}), chosen) == {"pan": {1, 2}}


def test_keys_that_only_moved_stay_chosen() -> None:
    moved = replace(MOVE, tracks=(Track("pan", (key(0), key(12, 3.0), key(20))), MOVE.tracks[1]))
    assert followed(MOVE, moved, {"pan": {1}}) == {"pan": {1}}


def test_what_is_brought_back_are_the_keys_that_were_not_there() -> None:
    assert brought(removed(MOVE, {"pan": {1}, "tilt": {0, 1}}), MOVE) == {"pan": {1}, "tilt": {0, 1}}
    assert brought(MOVE, removed(MOVE, {"pan": {1}})) == {}
    assert brought(MOVE, MOVE) == {}
