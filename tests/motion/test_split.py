"""A key put into a leg leaves the curve as it is."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.errors import ProjectError
from sequencer.motion.compile import compile_move
from sequencer.motion.split import split
from sequencer.score.edits.join import join
from sequencer.score.laws.bezier import Bezier
from sequencer.score.laws.s_curve import SCurve
from sequencer.score.move import TURNS, Ease, Key, Move, Track, Turn
from sequencer.timebase.rate import Rate
from tests.motion.machines import LAWS, SECONDS, rig, track
from tests.score.edits.moves import DRAWN, tracks

RATE = Rate(25)
QUINTIC = (
    Ease("linear"),
    Ease("poly345"),
    Ease("bezier", Bezier((0.3, 0.1, 0.6, 0.9))),
    Ease("s-curve"),
    Ease("s-curve", SCurve(0.3, 0.3)),
    DRAWN,
    Ease("through"),
)


def sampled(move: Move, order: int = 0) -> np.ndarray:
    trajectory = compile_move(rig(), move, RATE, LAWS)
    inside_s = np.linspace(trajectory.start_s, trajectory.end_s, 2003)[1:-1]
    return trajectory.sample(inside_s, order)[:, 0]


def three_legs(ease: Ease) -> Move:
    return Move(tracks=(track([0, 30, 75, 130], [0, 20, -15, -30], ease),))


@settings(deadline=None, max_examples=40)
@given(st.sampled_from(QUINTIC), st.fractions(Fraction(1), 129, max_denominator=50))
def test_a_split_leg_is_the_same_curve(ease: Ease, at: Fraction) -> None:
    move = three_legs(ease)
    if at in (30, 75):
        return
    found = split(rig(), move, RATE, LAWS, "pan0", at)
    assert [key.at for key in found.tracks[0].keys] == sorted(
        [Fraction(0), Fraction(30), Fraction(75), Fraction(130), at]
    )
    assert sampled(found) == pytest.approx(sampled(move), abs=1e-12 * 30)
    # where pieces meet, one of two values of the jerk is as good as the other
    for order, scale in ((1, 100), (2, 1000)):
        assert sampled(found, order) == pytest.approx(sampled(move, order), abs=1e-9 * scale)


@pytest.mark.parametrize("at", [15, 52.5, 102.5])
def test_a_split_in_the_middle_of_a_leg_of_a_run_falls_on_the_run_s_own_piece(at: float) -> None:
    move = three_legs(Ease("through"))
    found = split(rig(), move, Rate(24000, 1001), LAWS, "pan0", Fraction(at))
    before = compile_move(rig(), move, Rate(24000, 1001), LAWS)
    after = compile_move(rig(), found, Rate(24000, 1001), LAWS)
    t_s = np.linspace(before.start_s, before.end_s, 1001)
    assert after.sample(t_s) == pytest.approx(before.sample(t_s), abs=1e-11)


@pytest.mark.parametrize("law", ["poly4567", "cycloidal", "modified-sine", "modified-trapezoid", "harmonic"])
def test_a_law_above_the_fifth_degree_is_drawn_within_the_tolerance_of_fits(law: str) -> None:
    move = three_legs(Ease(law))
    found = split(rig(), move, RATE, LAWS, "pan0", Fraction(50))
    assert sampled(found) == pytest.approx(sampled(move), abs=1e-9 * 35)
    assert sampled(found, 3) == pytest.approx(sampled(move, 3), abs=1e-3 * np.abs(sampled(move, 3)).max())


def test_a_leg_of_even_speed_and_one_at_rest_keep_their_law() -> None:
    found = split(rig(), three_legs(Ease("linear")), RATE, LAWS, "pan0", Fraction(40)).tracks[0].keys
    assert [key.ease.law for key in found] == ["linear"] * 5
    still = Move(tracks=(track([0, 10], [3, 3], "hold"),))
    found = split(rig(), still, RATE, LAWS, "pan0", Fraction(4)).tracks[0].keys
    assert [(int(key.at), key.ease.law) for key in found] == [(0, "hold"), (4, "hold"), (10, "hold")]
    assert {key.value for key in found} == {3.0}


def test_only_the_split_leg_is_drawn() -> None:
    found = split(rig(), three_legs(Ease("cycloidal")), RATE, LAWS, "pan0", Fraction(40)).tracks[0].keys
    assert [key.ease.law for key in found] == ["cycloidal", "spline", "spline", "cycloidal", "cycloidal"]


@settings(deadline=None, max_examples=40)
@given(
    tracks(eases=(Ease("through"),), least=3), st.fractions(Fraction(1, 100), Fraction(99, 100), max_denominator=997)
)
def test_a_run_with_choices_at_its_keys_is_split_and_joined_again(one: Track, part: Fraction) -> None:
    at = one.keys[0].at + (one.keys[-1].at - one.keys[0].at) * part
    if any(abs(key.at - at) < 1 for key in one.keys):
        return
    move = Move(tracks=(one,))
    found = split(rig(), move, RATE, LAWS, "pan0", at)
    place = [key.at for key in found.tracks[0].keys].index(at)
    old, new = ([replace(key, ease=Ease("through")) for key in each.tracks[0].keys] for each in (move, found))
    assert new[:place] + new[place + 1 :] == old
    for after in (found, join(found, {"pan0": {place}}, LAWS)):
        assert sampled(after) == pytest.approx(sampled(move), abs=1e-9 * 200)


@settings(deadline=None, max_examples=40)
@given(st.sampled_from(("poly345", "s-curve", "through")), st.integers(31, 74))
def test_what_was_split_can_be_joined_again(law: str, at: int) -> None:
    move = three_legs(Ease(law))
    found = split(rig(), move, RATE, LAWS, "pan0", Fraction(at))
    back = join(found, {"pan0": {2}}, LAWS)
    assert [key.at for key in back.tracks[0].keys] == [0, 30, 75, 130]
    assert sampled(back) == pytest.approx(sampled(move), abs=1e-10)


@settings(deadline=None, max_examples=40)
@given(
    st.lists(st.tuples(st.integers(-720, 720), st.sampled_from((*TURNS, None))), min_size=2, max_size=5),
    st.sampled_from(("poly345", "linear", "through")),
    st.data(),
)
def test_an_axis_that_goes_round_goes_on_the_same_way(
    written: list[tuple[int, Turn | None]], law: str, data: st.DataObject
) -> None:
    keys = [Key(Fraction(at * 10), float(value), Ease(law), turn=turn) for at, (value, turn) in enumerate(written)]
    move = Move(tracks=(Track("pan0", tuple(keys)),))
    at = Fraction(data.draw(st.integers(1, 10 * (len(keys) - 1) - 1)))
    if at % 10 == 0:
        return
    found = split(rig(), move, SECONDS, LAWS, "pan0", at)
    t_s = np.linspace(0, 10 * (len(keys) - 1), 501)
    before = compile_move(rig(), move, SECONDS, LAWS).sample(t_s)
    assert compile_move(rig(), found, SECONDS, LAWS).sample(t_s) == pytest.approx(before, abs=1e-9)
    back = join(found, {"pan0": {[key.at for key in found.tracks[0].keys].index(at)}}, LAWS)
    assert compile_move(rig(), back, SECONDS, LAWS).sample(t_s) == pytest.approx(before, abs=1e-9)


def test_where_no_key_can_be_put_is_said() -> None:
    move = three_legs(Ease("linear"))
    for at in (0, 130, 200):
        with pytest.raises(ValueError, match="no leg at @"):
            split(rig(), move, RATE, LAWS, "pan0", Fraction(at))
    second = Move(tracks=(*move.tracks, replace(move.tracks[0], axis="pan1")))
    for beside in (Fraction(0), Fraction(1, 10**7), -Fraction(1, 10**7)):
        with pytest.raises(ProjectError, match=r"tracks\[1\].keys\[1\]: a key of pan1 stands at @30 already"):
            split(rig(2), second, RATE, LAWS, "pan1", 30 + beside)
    with pytest.raises(ValueError, match="the acceleration jumps inside"):
        split(rig(), three_legs(Ease("trapezoid")), RATE, LAWS, "pan0", Fraction(40))


def test_a_swing_that_no_turn_can_say_is_refused_with_a_place_that_works() -> None:
    """330 degrees down from 350 to 20, of which the handle makes many rounds upward first."""
    turned = track([0, 100], [350, 20], Ease("bezier", Bezier((0.3, -20.0, 0.6, 0.9))))
    move = Move(tracks=(replace(turned, keys=(replace(turned.keys[0], turn="down"), turned.keys[1])),))
    words = "pan0 swings beyond its own keys by a whole round at @30, which no turn can say; split nearer to the end"
    with pytest.raises(ValueError, match=words):
        split(rig(), move, RATE, LAWS, "pan0", Fraction(30))
    found = split(rig(), move, RATE, LAWS, "pan0", Fraction(90))
    assert sampled(found) == pytest.approx(sampled(move), abs=1e-6)
