"""Edits of shape: mirror, scale, reverse and join do to the compiled curve what they say."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.errors import ProjectError
from sequencer.motion.compile import compile_move
from sequencer.score.edits.join import join
from sequencer.score.edits.offset import offset
from sequencer.score.edits.reverse import reverse
from sequencer.score.edits.scale import mirror, scale
from sequencer.score.edits.selection import everything
from sequencer.score.laws.bezier import Bezier
from sequencer.score.laws.spline import Spline
from sequencer.score.move import TURNS, Ease, Key, Move, Track, Turn
from sequencer.timebase.rate import Rate
from tests.motion.machines import LAWS, SECONDS, rig, track
from tests.score.edits.moves import DRAWN, EASES, moves

NO_RUN = tuple(ease for ease in EASES if ease.law != "through")
EXACT = tuple(ease for ease in NO_RUN if ease.law not in ("bezier", "spline"))


def curves(move: Move, parts: int = 301) -> tuple[np.ndarray, float, float]:
    """Return the curve at even parts of the time that the move lasts, and when that begins and ends."""
    trajectory = compile_move(rig(2), move, Rate(25), LAWS)
    t_s = np.linspace(trajectory.start_s, trajectory.end_s, parts)
    return trajectory.sample(t_s), trajectory.start_s, trajectory.end_s


@given(moves(), st.integers(-100, 100))
def test_mirrored_twice_is_as_before(move: Move, about: int) -> None:
    once = mirror(move, everything(move), LAWS, about=about / 4)
    assert mirror(once, everything(move), LAWS, about=about / 4) == move


@settings(deadline=None, max_examples=40)
@given(moves(), st.floats(-20, 20).filter(lambda factor: abs(factor) > 0.01), st.floats(-50, 50))
def test_a_scaled_move_has_a_scaled_curve(move: Move, factor: float, about: float) -> None:
    before, *span = curves(move)
    after, *same = curves(scale(move, everything(move), LAWS, factor=factor, about=about))
    assert span == same
    # a smooth run is solved to 1e-9 of its range
    assert after == pytest.approx(about + (before - about) * factor, abs=1e-9 * (abs(factor) * 300 + 50))


@settings(deadline=None, max_examples=40)
@given(moves(NO_RUN), st.floats(0.01, 20))
def test_without_a_run_the_scaled_curve_is_exact(move: Move, factor: float) -> None:
    before, *_ = curves(move)
    after, *_ = curves(scale(move, everything(move), LAWS, factor=factor))
    assert after == pytest.approx(before * factor, rel=1e-12, abs=1e-12 * factor * 300)


@pytest.mark.parametrize("factor", [0.0, float("inf"), float("nan")])
def test_a_scale_is_a_number(factor: float) -> None:
    move = Move(tracks=(track([0, 1], [0, 1], "linear"),))
    with pytest.raises(ValueError, match="other than zero"):
        scale(move, everything(move), LAWS, factor=factor)


def test_no_edit_leads_where_no_axis_can_be() -> None:
    move = Move(tracks=(track([0, 1], [0, 1], "linear"),))
    words = r"a key cannot stand at {}; give a number in the axis's unit, below ten million either way"
    with pytest.raises(ValueError, match=words.format(r"1e\+300")):
        scale(move, everything(move), LAWS, factor=1e300)
    with pytest.raises(ValueError, match=words.format("-10000000.0")):
        mirror(move, everything(move), LAWS, about=-5e6)
    with pytest.raises(ValueError, match=words.format("-10000000.0")):
        offset(move, everything(move), value=-1e7)
    assert offset(move, everything(move), value=9e6).tracks[0].keys[0].value == 9e6


def test_between_a_chosen_key_and_one_that_stays_the_drawn_part_stays() -> None:
    move = Move(tracks=(track([0, 1, 2], [0, 4, 8], DRAWN),))
    found = scale(move, {"pan0": {0, 1}}, LAWS, factor=2.0).tracks[0].keys
    assert [key.value for key in found] == [0, 8, 8]
    assert found[0].ease != DRAWN
    assert found[1].ease == DRAWN


@given(moves(EXACT))
def test_reversed_twice_is_as_before(move: Move) -> None:
    assert reverse(reverse(move, everything(move), LAWS), everything(move), LAWS) == move


@settings(deadline=None, max_examples=40)
@given(moves(NO_RUN))
def test_a_reversed_move_has_the_curve_run_backward(move: Move) -> None:
    before, begin_s, end_s = curves(move)
    after, *span = curves(reverse(move, everything(move), LAWS))
    assert span == pytest.approx([begin_s, end_s], abs=1e-12)
    assert after == pytest.approx(before[::-1], abs=3e-9 * 200)  # a fitted law strays by 1e-9 of the way


@settings(deadline=None, max_examples=40)
@given(moves((Ease("linear"), Ease("poly345"), Ease("poly4567"), DRAWN)))
def test_a_law_that_is_a_polynomial_is_run_backward_exactly(move: Move) -> None:
    before, *_ = curves(move)
    after, *_ = curves(reverse(move, everything(move), LAWS))
    assert after == pytest.approx(before[::-1], abs=1e-12 * 1000)


@settings(deadline=None, max_examples=40)
@given(moves((Ease("through"), Ease("through"), DRAWN)))
def test_a_smooth_run_is_run_backward_with_what_it_does_at_its_keys(move: Move) -> None:
    before, *_ = curves(move)
    after, *_ = curves(reverse(move, everything(move), LAWS))
    assert after == pytest.approx(before[::-1], abs=1e-8)


def test_what_a_key_says_goes_with_it_and_the_way_stays_with_its_leg() -> None:
    eases = [Ease("linear"), Ease("bezier", Bezier((0.1, 0.2, 0.6, 0.7))), Ease("cycloidal"), Ease("poly345")]
    keys = list(track([0, 10, 40, 50], [1, 2, 3, 4], eases).keys)
    keys[1] = replace(keys[1], pin=True, passing="stop")
    found = reverse(Move(tracks=(Track("pan0", tuple(keys)),)), {"pan0": {0, 1, 2}}, LAWS).tracks[0].keys
    assert [(int(key.at), int(key.value)) for key in found] == [(0, 3), (30, 2), (40, 1), (50, 4)]
    assert [key.pin for key in found] == [False, True, False, False]
    assert [key.passing for key in found] == ["pass", "stop", "pass", "pass"]
    assert [key.ease.law for key in found] == ["bezier", "linear", "cycloidal", "poly345"]
    assert found[0].ease.how == Bezier((1 - 0.6, 1 - 0.7, 1 - 0.1, 1 - 0.2))


def test_a_gap_in_what_is_reversed_is_named() -> None:
    move = Move(tracks=(track([0, 10, 40], [1, 2, 3], "linear"),))
    with pytest.raises(ProjectError, match=r"keys\[1\].*@10 is between"):
        reverse(move, {"pan0": {0, 2}}, LAWS)
    assert reverse(move, {}, LAWS) == move


@given(st.lists(st.tuples(st.integers(-720, 720), st.sampled_from((*TURNS, None))), min_size=2, max_size=8))
def test_an_axis_that_goes_round_is_reversed_and_mirrored_with_its_turns(
    written: list[tuple[int, Turn | None]],
) -> None:
    keys = [Key(Fraction(at), float(value), Ease("linear"), turn=turn) for at, (value, turn) in enumerate(written)]
    keys[-1] = replace(keys[-1], turn=None)
    move = Move(tracks=(Track("pan0", tuple(keys)),))

    def ways(edited: Move) -> np.ndarray:
        t_s = np.arange(len(keys), dtype=np.float64)
        return np.diff(compile_move(rig(1), edited, SECONDS, LAWS).sample(t_s)[:, 0])

    before = ways(move)
    assert ways(reverse(move, everything(move), LAWS)) == pytest.approx(-before[::-1])
    assert ways(mirror(move, everything(move), LAWS, about=10.0)) == pytest.approx(-before)


def test_a_turn_is_not_scaled_into_another_one() -> None:
    keys = (Key(Fraction(0), 350.0, Ease("linear"), turn="short"), Key(Fraction(1), 10.0, Ease("linear")))
    move = Move(tracks=(Track("pan0", keys),))
    with pytest.raises(ProjectError, match=r"keys\[0\]\.turn.*remove the turn"):
        scale(move, everything(move), LAWS, factor=0.5)


def test_joined_legs_have_the_law_of_the_first_or_the_one_that_is_asked_for() -> None:
    move = Move(tracks=(track([0, 1, 2, 3], [0, 5, 1, 2], [Ease("cycloidal"), *[Ease("linear")] * 3]),))
    found = join(move, {"pan0": {1, 2}}, LAWS).tracks[0].keys
    assert [(int(key.at), int(key.value), key.ease.law) for key in found] == [(0, 0, "cycloidal"), (3, 2, "linear")]
    asked = join(move, {"pan0": {1}}, LAWS, ease=Ease("poly345")).tracks[0].keys
    assert [key.ease.law for key in asked] == ["poly345", "linear", "linear"]


def test_what_cannot_be_joined_is_named() -> None:
    move = Move(tracks=(track([0, 1, 2, 3], [0, 0, 1, 2], [Ease("hold"), *[Ease("linear")] * 3]),))
    with pytest.raises(ProjectError, match="@0 is at the end of the track"):
        join(move, {"pan0": {0}}, LAWS)
    with pytest.raises(ProjectError, match="would hold, but goes from 0 to 1"):
        join(move, {"pan0": {1}}, LAWS)
    keys = move.tracks[0].keys
    pinned = Move(tracks=(Track("pan0", (*keys[:2], replace(keys[2], pin=True), keys[3])),))
    with pytest.raises(ProjectError, match=r"keys\[2\].*is pinned; unpin"):
        join(pinned, {"pan0": {2}}, LAWS)
    mixed = Move(tracks=(track([0, 1, 2], [0, 1, 2], [DRAWN, Ease("linear"), Ease("linear")]),))
    with pytest.raises(ProjectError, match="say which law"):
        join(mixed, {"pan0": {1}}, LAWS)
    jolt = Move(tracks=(track([0, 1, 2], [0, 1, 2], DRAWN),))
    with pytest.raises(ProjectError, match="jumps at @1"):
        join(jolt, {"pan0": {1}}, LAWS)


def test_a_turn_is_not_lost_when_legs_are_joined() -> None:
    at = [(Fraction(0), 0.0), (Fraction(1), 200.0), (Fraction(2), 40.0)]
    keys = tuple(Key(when, value, Ease("linear"), turn="up") for when, value in at)
    with pytest.raises(ProjectError, match="goes 400 deg over these keys, which is further than one leg"):
        join(Move(tracks=(Track("pan0", keys),)), {"pan0": {1}}, LAWS)


@pytest.mark.parametrize(
    ("turns", "values", "joined"),
    [
        (("short", "short"), (350.0, 80.0, 200.0), "up"),  # 90 and 120: the short way for each, not for both
        (("down", "short"), (10.0, 200.0, 190.0), "down"),
        ((None, "short"), (350.0, 355.0, 5.0), "up"),
        (("short", None), (10.0, 350.0, 170.0), "down"),
        (("short", "short"), (350.0, 355.0, 5.0), "short"),
        (("up", "down"), (0.0, 30.0, 10.0), "up"),
        ((None, None), (0.0, 400.0, 500.0), None),
    ],
)
def test_a_joined_leg_goes_round_as_far_as_its_legs_did(
    turns: tuple[Turn | None, ...], values: tuple[float, ...], joined: Turn | None
) -> None:
    rows = zip(values, (*turns, None), strict=True)
    keys = tuple(Key(Fraction(at), value, Ease("poly345"), turn=turn) for at, (value, turn) in enumerate(rows))
    move = Move(tracks=(Track("pan0", keys),))
    found = join(move, {"pan0": {1}}, LAWS)
    assert found.tracks[0].keys[0].turn == joined
    ends = [compile_move(rig(1), each, SECONDS, LAWS).at(2.0)[0][0] for each in (move, found)]
    assert ends[1] == pytest.approx(ends[0])


def test_drawn_legs_are_joined_into_the_same_curve() -> None:
    state = ((0.0, 0.0, 2.0, 0.0), (0.5, 1.0, 0.5, -3.0), (1.0, 0.0, 1.0, 4.0))
    # the second leg lasts twice as long and goes another way: the same speed and acceleration are other slopes over u
    speed, bend = 10.0 + 1.0, 4.0
    second = ((0.0, 0.0, 2 * speed - 6.0, 4 * bend), (1.0, 0.0, 0.0, 0.0))
    eases = [Ease("spline", Spline(state)), Ease("spline", Spline(second)), Ease("linear")]
    move = Move(tracks=(track([0, 1, 3], [0, 10, 16], eases),))
    before, *_ = curves(move)
    joined = join(move, {"pan0": {1}}, LAWS)
    assert len(joined.tracks[0].keys) == 2
    assert curves(joined)[0] == pytest.approx(before, abs=1e-12)
