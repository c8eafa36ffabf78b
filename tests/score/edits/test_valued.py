"""Giving an axis a value at an instant: the key that stands there, or a new one."""

from fractions import Fraction

import pytest

from sequencer.errors import ProjectError
from sequencer.score.edits.valued import valued
from sequencer.score.laws import bezier, hold, linear, poly345, spline
from sequencer.score.move import Ease, Key, Move, Track

LAWS = {one.KIND.name: one.KIND for one in (bezier, hold, linear, poly345, spline)}
LINEAR = Ease("linear")
MOVE = Move(
    tracks=(
        Track("pan", (Key(Fraction(0), 1.0, LINEAR), Key(Fraction(10), 2.0, Ease("poly345"), pin=True))),
        Track("focus", (Key(Fraction(5), 0.5, LINEAR), Key(Fraction(15), 0.7, Ease("poly345")))),
    )
)


def keys(move: Move, axis: str) -> list[tuple[int, float, str]]:
    return [(int(key.at), key.value, key.ease.law) for one in move.tracks if one.axis == axis for key in one.keys]


def test_a_key_that_stands_there_takes_the_value_and_keeps_its_law() -> None:
    after = valued(MOVE, "focus", Fraction(5), 0.25, LAWS)
    assert keys(after, "focus") == [(5, 0.25, "linear"), (15, 0.7, "poly345")]
    assert after.tracks[0] == MOVE.tracks[0]
    eased = valued(MOVE, "focus", Fraction(5), 0.25, LAWS, ease=Ease("poly345"))
    assert keys(eased, "focus")[0] == (5, 0.25, "poly345")


def test_a_new_key_moves_on_as_the_leg_did() -> None:
    assert keys(valued(MOVE, "focus", Fraction(8), 0.6, LAWS), "focus")[1] == (8, 0.6, "linear")
    assert keys(valued(MOVE, "focus", Fraction(2), 0.6, LAWS), "focus")[0] == (2, 0.6, "linear")
    assert keys(valued(MOVE, "focus", Fraction(20), 0.6, LAWS), "focus")[2] == (20, 0.6, "poly345")
    assert keys(valued(MOVE, "focus", Fraction(8), 0.6, LAWS, ease=Ease("poly345")), "focus")[1][2] == "poly345"


def test_what_was_drawn_for_another_leg_is_not_drawn_again() -> None:
    drawn = Ease("spline", spline.Spline(((0.0, 0.0, 0.0, 0.0), (0.5, 0.1, 0.0, 0.0), (1.0, 0.0, 0.0, 0.0))))
    move = Move(tracks=(Track("focus", (Key(Fraction(0), 0.1, drawn), Key(Fraction(9), 0.9, LINEAR))),))
    assert keys(valued(move, "focus", Fraction(4), 0.5, LAWS), "focus")[1] == (4, 0.5, "poly345")


def test_before_a_leg_that_holds_a_new_key_does_not_hold() -> None:
    move = Move(tracks=(Track("focus", (Key(Fraction(5), 0.1, Ease("hold")), Key(Fraction(9), 0.1, LINEAR))),))
    assert keys(valued(move, "focus", Fraction(2), 0.5, LAWS), "focus")[0] == (2, 0.5, "poly345")


def test_an_axis_without_keys_gets_its_first() -> None:
    after = valued(MOVE, "zoom", Fraction(3), 0.2, LAWS)
    assert keys(after, "zoom") == [(3, 0.2, "poly345")]
    assert after.tracks[:2] == MOVE.tracks


def test_a_pinned_key_and_a_value_that_is_none_are_refused() -> None:
    with pytest.raises(ProjectError, match="is pinned; unpin it first"):
        valued(MOVE, "pan", Fraction(10), 3.0, LAWS)
    for at in (5, 6):
        with pytest.raises(ValueError, match="cannot stand at"):
            valued(MOVE, "focus", Fraction(at), float("nan"), LAWS)
