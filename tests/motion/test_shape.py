"""A shape is what the check finds; an edited track, of which a part is worked out, has the shape of the whole."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.motion import shape as room
from sequencer.motion.check import check
from sequencer.motion.compile import compile_move
from sequencer.motion.shape import Shape, reshaped, shape
from sequencer.rig.axis import Axis
from sequencer.score.laws.s_curve import SCurve
from sequencer.score.move import PASSINGS, TURNS, Ease, Key, Move, Track
from sequencer.timebase.rate import Rate
from tests.motion.machines import LAWS, rig, seeded_keys, track
from tests.score.edits.moves import DRAWN, EASES, tracks

RATE = Rate(25)
ALL = (*EASES, Ease("s-curve"), Ease("s-curve", SCurve(0.3, "limits")), Ease("modified-sine"), Ease("hold"))
NOT_RUN = tuple(ease for ease in EASES if ease.law != "through")
MANY_RUNS = (*[Ease("through")] * 5, Ease("poly345"), Ease("s-curve"))


def axis(travel: tuple[float, float] | None = None) -> Axis:
    return rig(1, travel).axes[0]


def same(found: Shape, whole: Shape, left: float = 0.0) -> None:
    """Assert that two shapes are one but for rounding, and a part `left` of the range, to which runs are solved."""
    assert found.track is whole.track
    assert (found.fault, found.speed, found.rate) == (whole.fault, whole.speed, whole.rate)
    assert np.array_equal(found.place, whole.place)
    assert np.array_equal(found.runs, whole.runs)
    assert np.allclose(found.at_s, whole.at_s, rtol=0, atol=1e-12)
    assert np.allclose(found.from_s, whole.from_s, rtol=0, atol=1e-12)
    size = float(np.ptp(whole.value)) + 1e-9
    assert np.allclose(found.value, whole.value, rtol=0, atol=1e-9)
    t_s = np.linspace(whole.at_s[0] - 1, whole.at_s[-1] + 1, 2000)
    assert np.abs(found.sample(t_s) - whole.sample(t_s)).max() <= (left + 2e-9) * size
    for name in ("low", "high"):
        assert np.abs(getattr(found, name) - getattr(whole, name)).max(initial=0) <= (left + 2e-9) * size
    jumps = np.isinf(whole.peak)
    assert np.array_equal(np.isinf(found.peak), jumps)
    # a leg's own pace is what its derivatives are measured by
    pace = np.diff(whole.at_s)[None] ** -np.array([1.0, 2.0, 3.0])[:, None] * size
    finite = ~jumps
    assert (np.abs(found.peak[finite] - whole.peak[finite]) <= ((left + 1e-8) * 200 * pace)[finite]).all()
    assert np.allclose(found.peak_at[jumps], whole.peak_at[jumps], rtol=0, atol=1e-9)


@st.composite
def edits(draw: st.DrawFn, before: Track, eases: tuple[Ease, ...], turns: bool) -> Track:
    """Draw an edit of a few keys that stand together: moved, put in, taken out, another law."""
    keys = list(before.keys)
    place = draw(st.integers(0, len(keys) - 1))
    how = draw(st.sampled_from(("move", "value", "insert", "remove", "law", "passing", "turn")))
    until = min(place + draw(st.integers(1, 3)), len(keys))
    if how == "remove" and until - place < len(keys):
        return replace(before, keys=tuple(keys[:place] + keys[until:]))
    if how == "insert":
        after = keys[place + 1].at if place + 1 < len(keys) else keys[place].at + 20
        key = Key((keys[place].at + after) / 2, draw(st.integers(-400, 400)) / 4, draw(st.sampled_from(eases)))
        return replace(before, keys=(*keys[: place + 1], key, *keys[place + 1 :]))
    for number in range(place, until):
        key = keys[number]
        if how == "move":
            low = keys[number - 1].at if number else key.at - 40
            high = keys[number + 1].at if number + 1 < len(keys) else key.at + 40
            part = Fraction(draw(st.integers(1, 15)), 16)
            keys[number] = replace(key, at=low + (high - low) * part, value=draw(st.integers(-400, 400)) / 4)
        elif how == "law":
            keys[number] = replace(key, ease=draw(st.sampled_from(eases)))
        elif how == "passing":
            keys[number] = replace(key, passing=draw(st.sampled_from(PASSINGS)))
        elif how == "turn" and turns:
            keys[number] = replace(key, turn=draw(st.sampled_from((None, *TURNS))))
        else:
            # beside it, so that a leg comes to rest
            keys[number] = replace(key, value=keys[max(number - 1, 0)].value)
    return replace(before, keys=tuple(keys))


@settings(deadline=None, max_examples=60)
@given(st.data(), st.sampled_from([ALL, NOT_RUN, MANY_RUNS]), st.sampled_from([Fraction(1), Fraction(3, 2)]))
def test_a_track_that_is_edited_step_by_step_has_the_shape_of_the_whole(
    data: st.DataObject, eases: tuple[Ease, ...], speed: Fraction
) -> None:
    ends = data.draw(st.sampled_from([None, (-60.0, 60.0)]))
    own = axis(ends)
    now = data.draw(tracks(eases=eases, least=2))
    found = shape(own, now, RATE, LAWS, speed)
    for _ in range(3):
        now = data.draw(edits(now, eases, turns=ends is None))
        found = reshaped(found, now, RATE, LAWS)
        same(found, shape(own, now, RATE, LAWS, speed))


def long_track(seed: int, law: str = "through", count: int = 160) -> Track:
    at_s, values = seeded_keys("beats", seed, count)
    return track([Fraction(at).limit_denominator(1000) * 25 for at in at_s], values.tolist(), law)


def whole_is_not_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have a shape of the whole track fail, so that only a part can have been worked out."""

    def fail(*args: object, **named: object) -> None:
        raise AssertionError("the whole track was worked out")

    monkeypatch.setattr(room, "shape", fail)


@pytest.mark.parametrize("law", ["poly345", "s-curve", "linear", "cycloidal"])
@pytest.mark.parametrize("number", [0, 1, 80, 158, 159])
def test_a_key_among_many_is_worked_out_alone(monkeypatch: pytest.MonkeyPatch, law: str, number: int) -> None:
    before = shape(axis(), long_track(1, law), RATE, LAWS)
    keys = list(before.track.keys)
    keys[number] = replace(keys[number], at=keys[number].at + Fraction(1, 3), value=keys[number].value + 3.0)
    moved = replace(before.track, keys=tuple(keys))
    fewer = replace(before.track, keys=(*keys[:number], *keys[number + 1 :]))
    wanted = [shape(axis(), after, RATE, LAWS) for after in (moved, fewer)]
    whole_is_not_asked_for(monkeypatch)
    for after, whole in zip((moved, fewer), wanted, strict=True):
        found = reshaped(before, after, RATE, LAWS)
        same(found, whole)
        # what is far away are the very numbers that were there
        far = slice(0, 40) if number > 79 else slice(-40, None)
        assert np.array_equal(found.peak[:, far], before.peak[:, far])


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("number", [0, 5, 80, 159])
def test_a_long_smooth_run_is_solved_as_far_as_a_change_reaches(
    monkeypatch: pytest.MonkeyPatch, seed: int, number: int
) -> None:
    """Far from the key the run stays as it was; from the whole solution it is no further than that one's own error."""
    before = shape(axis(), long_track(seed), RATE, LAWS)
    keys = list(before.track.keys)
    keys[number] = replace(keys[number], value=keys[number].value + 3.0)
    after = replace(before.track, keys=tuple(keys))
    whole = shape(axis(), after, RATE, LAWS)
    whole_is_not_asked_for(monkeypatch)
    found = reshaped(before, after, RATE, LAWS)
    same(found, whole, left=2e-7)
    far = slice(0, 10) if number > 79 else slice(-20, None)
    assert np.array_equal(found.coeffs[:, far], before.coeffs[:, far])
    assert not np.array_equal(found.coeffs, before.coeffs)


def test_a_change_that_is_felt_too_far_away_is_solved_further(monkeypatch: pytest.MonkeyPatch) -> None:
    before = shape(axis(), long_track(2), RATE, LAWS)
    keys = list(before.track.keys)
    keys[80] = replace(keys[80], value=keys[80].value + 3.0)
    after = replace(before.track, keys=tuple(keys))
    monkeypatch.setattr(room, "_REACHES", (1, 40))
    wanted = shape(axis(), after, RATE, LAWS)
    whole_is_not_asked_for(monkeypatch)
    same(reshaped(before, after, RATE, LAWS), wanted, left=2e-7)


def test_a_drag_of_many_steps_stays_with_the_whole() -> None:
    now = shape(axis(), long_track(3), RATE, LAWS)
    for step in range(40):
        keys = list(now.track.keys)
        keys[80] = replace(keys[80], value=keys[80].value + 0.5, at=keys[80].at + Fraction(step, 50))
        now = reshaped(now, replace(now.track, keys=tuple(keys)), RATE, LAWS)
    same(now, shape(axis(), now.track, RATE, LAWS), left=2e-7)


def test_the_shape_is_what_the_check_finds() -> None:
    own = axis((-60.0, 60.0))
    move = Move(tracks=(replace(long_track(4, "poly345"), axis="pan0"),))
    found = shape(own, move.tracks[0], RATE, LAWS, Fraction(2))
    checked = check(rig(1, (-60.0, 60.0)), move, RATE, LAWS, Fraction(2))
    assert list(found.over()) == checked.over()
    assert found.over()
    assert [found.leg(key) for key in range(len(found.excess))] == list(checked.legs())


@pytest.mark.parametrize("order", [0, 1, 2, 3])
def test_a_sample_is_that_of_the_trajectory_and_holds_outside(order: int) -> None:
    keys = (*long_track(5, "through", 20).keys[:-1], *track([1000, 1100], [3, 4], [DRAWN, Ease("linear")]).keys)
    own = Track("pan0", keys)
    found = shape(axis(), own, RATE, LAWS)
    t_s = np.random.default_rng(1).uniform(-5, 50, 3000)
    wanted = compile_move(rig(), Move(tracks=(own,)), RATE, LAWS).sample(t_s, order)[:, 0]
    assert found.sample(t_s, order) == pytest.approx(wanted, rel=1e-9, abs=1e-7)
    outside = found.sample(np.array([-100.0, 100.0]), order).tolist()
    assert outside == ([keys[0].value, keys[-1].value] if order == 0 else [0.0, 0.0])
    with pytest.raises(ValueError, match="order 0 to 3"):
        found.sample(t_s, 4)


def test_a_track_of_one_key_has_no_legs() -> None:
    found = shape(axis(), track([3], [7], "linear"), RATE, LAWS)
    assert found.sample(np.array([0.0, 1.0])).tolist() == [7.0, 7.0]
    assert found.sample(np.array([0.0]), 1).tolist() == [0.0]
    assert found.over() == ()
    assert found.excess.shape == (0,)
    more = track([3, 30], [7, 8], "linear")
    same(reshaped(found, more, RATE, LAWS), shape(axis(), more, RATE, LAWS))


def test_a_fault_has_words_and_straight_lines_and_goes_again() -> None:
    good = track([0, 25, 50], [0, 10, 20], "poly345")
    bad = replace(good, keys=(good.keys[0], replace(good.keys[1], ease=Ease("hold")), good.keys[2]))
    before = shape(axis(), good, RATE, LAWS)
    found = reshaped(before, bad, RATE, LAWS)
    assert "should hold" in found.fault
    assert found.sample(np.array([0.5, 1.5])).tolist() == pytest.approx([5.0, 15.0])
    same(reshaped(found, good, RATE, LAWS), before)
    assert reshaped(before, good, RATE, LAWS) is before
    assert reshaped(before, good, Rate(50), LAWS).at_s.tolist() == [0.0, 0.5, 1.0]


def test_turns_are_counted_in_what_follows() -> None:
    keys = list(track([0, 25, 50, 75, 100, 125, 150], [350, 10, 20, 30, 40, 50, 60], "poly345").keys)
    before = shape(axis(), Track("pan0", tuple(keys)), RATE, LAWS)
    keys[0] = replace(keys[0], turn="short")
    after = Track("pan0", tuple(keys))
    found = reshaped(before, after, RATE, LAWS)
    assert found.value.tolist() == [350, 370, 380, 390, 400, 410, 420]
    same(found, shape(axis(), after, RATE, LAWS))
    keys[4] = replace(keys[4], value=45.0)
    moved = Track("pan0", tuple(keys))
    same(reshaped(found, moved, RATE, LAWS), shape(axis(), moved, RATE, LAWS))
