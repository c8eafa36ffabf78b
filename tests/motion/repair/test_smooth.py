"""Smoothing: keys stay, limits are kept, the cost is the least there is, and what is within limits is left alone."""

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from sequencer.motion import program
from sequencer.motion.compile import compile_move
from sequencer.motion.legs import legs
from sequencer.motion.peaks import Peak, peaks
from sequencer.motion.program import Infeasible, Unsolved
from sequencer.motion.repair.outcome import Cancelled, Impossible, Offer, Reason, Repaired, Unrepaired
from sequencer.motion.repair.smooth import smooth, stretches
from sequencer.motion.repair.stretch import stretch
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.limits import SumLimit
from sequencer.score.easing import Laws
from sequencer.score.move import Key, Move, Passing, Track
from sequencer.timebase.rate import Rate
from tests.motion.machines import LAWS, SECONDS, seeded_keys, track
from tests.motion.repair.calm import Rates, calm

Floats = NDArray[np.float64]


def one_axis(rates: Rates, travel: tuple[float, float] | None = None, name: str = "pan0") -> Axis:
    home = 0.0 if travel is None else travel[0]
    speed, acceleration, jerk = rates
    return Axis(
        name=name, kind="pan", unit="deg", travel=travel, home=home, speed=speed, acceleration=acceleration, jerk=jerk
    )


def machine(*axes: Axis) -> Rig:
    return Rig(name="bench", axes=axes)


def written(at: Sequence[float | Fraction], values: Sequence[float], law: str = "poly345", axis: str = "pan0") -> Move:
    return Move(tracks=(track(at, values, law, axis),))


def worst(peak: Peak, axis: Axis) -> float:
    """How far beyond the limits, in parts of them."""
    rates = (peak.speed.value / axis.speed, peak.acceleration.value / axis.acceleration, peak.jerk.value / axis.jerk)
    beyond = max(rates) - 1
    if axis.travel is not None:
        low, high = axis.travel
        beyond = max(beyond, (peak.high.value - high) / (high - low), (low - peak.low.value) / (high - low))
    return beyond


def check_kept(rig: Rig, before: Move, answer: Repaired | Impossible) -> Repaired:
    """All keys as they were; no limit broken, by exact extremes and at 10 kHz; no jump up to acceleration."""
    assert isinstance(answer, Repaired), answer
    for old, new in zip(before.tracks, answer.move.tracks, strict=True):
        assert [replace(key, ease=old.keys[0].ease) for key in new.keys] == [
            replace(key, ease=old.keys[0].ease) for key in old.keys
        ]
    trajectory = compile_move(rig, answer.move, SECONDS, LAWS)
    for number, (axis, peak) in enumerate(zip(rig.axes, peaks(trajectory, rig), strict=True)):
        assert worst(peak, axis) <= 1e-9, (axis.name, peak)
        from_s, coeffs = trajectory.of(number)
        t_s = np.arange(from_s[0], min(from_s[-1], from_s[0] + 60), 1e-4)
        for order, limit in ((1, axis.speed), (2, axis.acceleration), (3, axis.jerk)):
            assert np.abs(trajectory.sample(t_s, order)[:, number]).max() <= limit * (1 + 1e-9)
        key_s, value = np.array([float(key.at) for key in before.tracks[number].keys]), trajectory.sample
        keys = [key.value for key in before.tracks[number].keys]
        assert value(key_s)[:, number] == pytest.approx(keys, abs=1e-12 * (1 + np.ptp(keys)))
        ends = [np.polynomial.Polynomial(piece[::-1]) for piece in coeffs.T]
        for order, limit in ((0, np.ptp(keys)), (1, axis.speed), (2, axis.acceleration)):
            steps = [
                abs(a.deriv(order)(width) - b.deriv(order)(0.0)) if order else abs(a(width) - b(0.0))
                for (a, b), width in zip(pairwise(ends), np.diff(from_s)[:-1], strict=True)
            ]
            assert max(steps, default=0.0) <= 1e-9 * limit
    return answer


@pytest.mark.parametrize("kind", ["beats", "uneven", "one way", "holds"])
def test_seeded_moves_keep_every_limit(kind: str) -> None:
    """Fifty-five tracks of each kind, with limits a little below what the least-jerk curve asks, so that they bind."""
    tightest = []
    for seed in range(55):
        at_s, values = seeded_keys(kind, seed, 8)
        asked = calm(at_s, values) if kind != "holds" else (60.0, 120.0, 600.0)
        move = written([Fraction(round(t * 1000), 1000) for t in at_s], values.tolist())
        for factor in (0.93, 0.97, 0.99, 1.001) if kind != "holds" else (1.0, 2.0, 5.0, 20.0):
            rig = machine(one_axis((asked[0] * factor, asked[1] * factor, asked[2] * factor)))
            answer = smooth(rig, move, SECONDS, LAWS)
            if isinstance(answer, Repaired):
                check_kept(rig, move, answer)
                tightest.append(factor)
                break
    assert len(tightest) == 55
    assert kind == "holds" or sum(factor < 1 for factor in tightest) >= 20, "too few cases touch a limit"


F = Fraction
FRAME, MS, TENTH = F(1, 25), F(1, 1000), F(1, 10000)


@pytest.mark.parametrize("gap", [FRAME, MS])
@pytest.mark.parametrize("factor", [0.95, 0.99])
@pytest.mark.parametrize("late", [0, 3000])
def test_keys_very_close_together_within_long_legs(gap: Fraction, factor: float, late: int) -> None:
    at = [late + each for each in (F(0), F(5), 5 + gap, F(12), F(18), F(27))]
    values = [0.0, 20.0, 20.0 + 5 * float(gap), 3.0, -10.0, -12.0]
    asked = calm(np.array([float(each) for each in at]), np.array(values))
    rig = machine(one_axis((asked[0] * factor, asked[1] * factor, asked[2] * factor)))
    check_kept(rig, written(at, values), smooth(rig, written(at, values), SECONDS, LAWS))


@pytest.mark.parametrize("gap", [FRAME, MS, TENTH])
def test_keys_very_close_together_that_bind_nothing(gap: Fraction) -> None:
    at = [F(0), F(5), 5 + gap, F(12), F(18), F(27)]
    move = written(at, [0.0, 20.0, 20.0 + 5 * float(gap), 3.0, -10.0, -12.0])
    rig = machine(one_axis((8.0, 6.0, 10.0)))
    check_kept(rig, move, smooth(rig, move, SECONDS, LAWS))


def test_keys_that_stand_too_close_together_to_be_solved_are_said() -> None:
    rig = machine(one_axis((60.0, 120.0, 600.0)))
    at = [F(0), F(5), 5 + F(1, 10**6), F(10)]
    with pytest.raises(Unrepaired, match="keys 1 to 4 of pan0"):
        smooth(rig, written(at, [0.0, 20.0, 20.000005, 0.0], "linear"), SECONDS, LAWS, overshoot=False)


def test_ten_minutes_beside_a_frame() -> None:
    move = written([F(0), F(600), 600 + FRAME, F(1200), F(1800)], [0.0, 100.0, 100.01, 0.0, 50.0], "linear")
    rig = machine(one_axis((0.4, 0.005, 0.0001)))
    check_kept(rig, move, smooth(rig, move, SECONDS, LAWS))


def test_keys_at_both_ends_of_travel() -> None:
    rig = machine(one_axis((60.0, 150.0, 900.0), (0.0, 100.0)))
    move = written([0, 2, 4, 6, 8, 9.5], [0, 60, 55, 100, 10, 0], "linear")
    answer = check_kept(rig, move, smooth(rig, move, SECONDS, LAWS))
    trajectory = compile_move(rig, answer.move, SECONDS, LAWS)
    assert trajectory.sample(np.array([6.0]), 1)[0, 0] == pytest.approx(0, abs=1e-12)


def test_limits_a_thousand_times_anothers() -> None:
    at, values = [0, 2, 3, 5, 7], [0.0, 30.0, 10.0, 20.0, 0.0]
    small, large = one_axis((0.03, 0.1, 0.8), name="pan0"), one_axis((30.0, 100.0, 800.0), name="pan1")
    small_move = track(at, [value / 1000 for value in values], "linear", "pan0")
    move = Move(tracks=(small_move, track(at, values, "linear", "pan1")))
    rig = machine(small, large)
    answer = check_kept(rig, move, smooth(rig, move, SECONDS, LAWS))
    both = compile_move(rig, answer.move, SECONDS, LAWS).sample(np.linspace(0, 7, 701))
    assert both[:, 0] * 1000 == pytest.approx(both[:, 1], abs=1e-6)


@pytest.mark.parametrize("factor", [1.002, 1.01])
def test_a_hair_above_the_least_time_of_one_leg(factor: float) -> None:
    """30 degrees, rest to rest, at limits 60, 120, 600: seven phases, whose time has a closed form (textbook)."""
    speed, acceleration, jerk, way = 60.0, 120.0, 600.0, 30.0
    ramp = acceleration / jerk
    top = (-ramp + np.sqrt(ramp**2 + 4 * way / acceleration)) * acceleration / 2  # speed is not reached
    assert top < speed
    least_s = 2 * (top / acceleration + ramp)
    rig = machine(one_axis((speed, acceleration, jerk)))
    move = written([0, Fraction(round(least_s * factor * 10**6), 10**6)], [0, way])
    check_kept(rig, move, smooth(rig, move, SECONDS, LAWS))
    short = written([0, Fraction(round(least_s * 0.998 * 10**6), 10**6)], [0, way])
    assert isinstance(smooth(rig, short, SECONDS, LAWS), Impossible)


def test_flat_legs_stay_at_rest_and_what_is_within_limits_is_not_touched() -> None:
    rig = machine(one_axis((25.0, 40.0, 150.0)), one_axis((25.0, 40.0, 150.0), name="pan1"))
    at = [0, 2, 4, 6, 8, 10]
    move = Move(
        tracks=(
            track(at, [0, 20, 20, 10, 10, 9], "poly345", "pan0"),
            track(at, [0, 1, 1, 2, 2, 3], "poly345", "pan1"),
        )
    )
    rig = machine(one_axis((16.0, 40.0, 150.0)), rig.axes[1])
    answer = check_kept(rig, move, smooth(rig, move, SECONDS, LAWS))
    laws = [key.ease.law for key in answer.move.tracks[0].keys]
    assert laws == ["spline", "poly345", "poly345", "poly345", "poly345", "poly345"]
    assert answer.move.tracks[1] is move.tracks[1]
    assert len(answer.words) == 1
    assert "pan0" in answer.words[0]
    trajectory = compile_move(rig, answer.move, SECONDS, LAWS)
    assert (trajectory.sample(np.linspace(2, 4, 101), 1)[:, 0] == 0).all()
    only_other = smooth(rig, move, SECONDS, LAWS, axes=["pan1"])
    assert isinstance(only_other, Repaired)
    assert (only_other.move, only_other.words) == (move, ())


@pytest.mark.parametrize("how", ["stop", "hold"])
def test_a_key_that_stops_or_holds_still_does(how: Passing) -> None:
    rig = machine(one_axis((25.0, 40.0, 150.0)))
    keys = list(track([0, 2, 4, 6], [0, 20, 30, 60], "linear").keys)
    keys[1] = replace(keys[1], passing=how)
    move = Move(tracks=(Track("pan0", tuple(keys)),))
    answer = check_kept(rig, move, smooth(rig, move, SECONDS, LAWS))
    trajectory = compile_move(rig, answer.move, SECONDS, LAWS)
    assert trajectory.sample(np.array([2.0]), 1)[0, 0] == pytest.approx(0, abs=1e-12)
    acceleration = abs(trajectory.sample(np.array([2.0]), 2)[0, 0])
    assert acceleration <= 1e-12 if how == "hold" else acceleration > 1.0
    assert [key.passing for key in answer.move.tracks[0].keys] == ["pass", how, "pass", "pass"]


@pytest.mark.parametrize("kind", ["beats", "uneven", "one way", "holds"])
def test_without_overshoot_no_leg_leaves_its_keys(kind: str) -> None:
    done = 0
    for seed in range(15):
        at_s, values = seeded_keys(kind, seed, 8)
        move = written([Fraction(round(t * 1000), 1000) for t in at_s], values.tolist(), "through")
        peak = peaks(
            compile_move(machine(one_axis((1.0, 1.0, 1.0))), move, SECONDS, LAWS), machine(one_axis((1, 1, 1)))
        )[0]
        rates = (peak.speed.value, peak.acceleration.value * 0.97, peak.jerk.value * 0.97)
        rig = machine(one_axis(rates, (float(values.min()), float(values.max()))))
        answer = smooth(rig, move, SECONDS, LAWS, overshoot=False)
        if isinstance(answer, Impossible):
            continue
        done += 1
        check_kept(rig, move, answer)
        trajectory = compile_move(rig, answer.move, SECONDS, LAWS)
        slack = 1e-9 * np.ptp(values)
        for leg, (begin, end) in enumerate(pairwise(at_s)):
            inside = trajectory.sample(np.linspace(begin, end, 200))[:, 0]
            low, high = sorted(values[leg : leg + 2])
            assert low - slack <= inside.min()
            assert inside.max() <= high + slack
    assert done >= 10


def test_beside_a_free_key_a_leg_may_overshoot() -> None:
    at, values = [0, 2, 2.5, 5], [0.0, 20.0, 20.5, 0.0]
    keys = track(at, values, "linear").keys
    free = Move(tracks=(Track("pan0", tuple(replace(key, passing="free") for key in keys)),))
    rig = machine(one_axis((60.0, 300.0, 3000.0)))
    tops = []
    for move in (written(at, values, "linear"), free):
        answer = smooth(rig, move, SECONDS, LAWS, overshoot=False)
        assert isinstance(answer, Repaired)
        tops.append(peaks(compile_move(rig, answer.move, SECONDS, LAWS), rig)[0].high.value)
    assert tops[0] <= 20.5 + 1e-9
    assert tops[1] > 20.6


def test_where_there_is_no_curve_the_keys_are_named() -> None:
    rig = machine(one_axis((10.0, 120.0, 600.0)))
    move = written([0, 4, 5, 9], [0, 10, 30, 20])
    answer = smooth(rig, move, SECONDS, LAWS)
    assert isinstance(answer, Impossible)
    (reason,) = answer.reasons
    assert reason.axis == "pan0"
    assert not reason.proven
    assert {1, 2} <= set(reason.keys)
    assert reason.at == tuple(move.tracks[0].keys[key].at for key in reason.keys)


def test_a_key_outside_travel_is_named_and_proven() -> None:
    rig = machine(one_axis((60.0, 120.0, 600.0), (0.0, 100.0)))
    answer = smooth(rig, written([0, 4, 8], [0, 101, 20]), SECONDS, LAWS)
    assert isinstance(answer, Impossible)
    assert [(reason.keys, reason.proven) for reason in answer.reasons] == [((1,), True)]


def test_who_explains_is_asked_for_each_run_with_the_rest_repaired() -> None:
    rig = machine(one_axis((10.0, 120.0, 600.0)), one_axis((10.0, 120.0, 600.0), name="pan1"))
    at = [0, 4, 5, 9, 10, 11, 14, 15]
    values = [0, 10, 30, 20, 20, 50, 55, 55]
    move = Move(tracks=(track(at, values, "poly345"), track([0, 10], [0, 90], "linear", "pan1")))
    asked: list[tuple[int, int, int, tuple[int, ...]]] = []

    def explain(
        rig: Rig, move: Move, rate: Rate, laws: Laws, axis: int, first: int, last: int, hot: tuple[int, ...]
    ) -> Impossible:
        asked.append((axis, first, last, hot))
        assert move.tracks[0].keys[0].ease.law == "poly345"
        changed = replace(move, markers=())
        reason = Reason(axis=rig.names[axis], keys=(first,), at=(Fraction(first),), proven=False, words="so")
        return Impossible(reasons=(reason,), offers=(Offer(move=changed, words=f"from {first}"),))

    answer = smooth(rig, move, SECONDS, LAWS, explain=explain)
    assert isinstance(answer, Impossible)
    assert [each[:3] for each in asked] == [(0, 0, 3), (0, 4, 6)]
    assert all(first <= leg < last for _, first, last, hot in asked for leg in hot)
    assert len(answer.reasons) == 2
    assert [offer.words for offer in answer.offers] == ["from 0; from 4"]


def test_the_operator_may_cancel_and_sees_how_far_it_is() -> None:
    rig = machine(one_axis((16.0, 40.0, 150.0)))
    move = written([0, 2, 4, 6, 8], [0, 20, 20, 0, 0])
    seen: list[float] = []

    def tell(part: float) -> bool:
        seen.append(part)
        return len(seen) < 2

    with pytest.raises(Cancelled):
        smooth(rig, move, SECONDS, LAWS, tell=tell)
    assert seen == [0.5, 1.0]


@pytest.mark.parametrize(("error", "raised"), [(Unsolved, Unrepaired), (Infeasible, None)])
def test_a_solver_that_fails_says_which_repair_still_works(
    error: type[Unsolved], raised: type[Unrepaired] | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: object, roughly: bool) -> Floats:
        raise error("the solver ended early")

    monkeypatch.setattr(program, "solve", fails)
    rig, move = machine(one_axis((16.0, 40.0, 150.0))), written([0, 2, 4], [0, 20, 20])
    if raised is None:
        assert isinstance(smooth(rig, move, SECONDS, LAWS), Impossible)
        return
    with pytest.raises(raised, match="stretching"):
        smooth(rig, move, SECONDS, LAWS)


def test_runs_lie_between_flat_legs_and_keys_that_hold() -> None:
    rig = machine(one_axis((60.0, 120.0, 600.0)))
    keys = list(track([0, 1, 2, 3, 4, 5, 6], [0, 0, 1, 2, 3, 3, 4], "poly345").keys)
    keys[3] = replace(keys[3], passing="hold")
    whole = legs(rig, Move(tracks=(Track("pan0", tuple(keys)),)), SECONDS, LAWS)
    assert [(each.first, each.last) for each in stretches(whole, 0)] == [(1, 3), (3, 4), (5, 6)]
    assert next(stretches(whole, 0)).run.passing == ("pass", "pass", "hold")
    still = legs(rig, Move(tracks=(Track("pan0", (Key(Fraction(0), 0.0, keys[0].ease),)),)), SECONDS, LAWS)
    assert list(stretches(still, 0)) == []


def test_an_axis_that_goes_round_is_drawn_the_way_it_goes() -> None:
    axis = one_axis((60.0, 120.0, 600.0))
    keys = [replace(key, turn="short") for key in track([0, 2, 4], [350, 20, 340], "linear").keys]
    move = Move(tracks=(Track("pan0", tuple(keys)),))
    answer = smooth(machine(axis), move, SECONDS, LAWS)
    assert isinstance(answer, Repaired)
    at = compile_move(machine(axis), answer.move, SECONDS, LAWS).sample(np.array([0.0, 2.0, 4.0]))[:, 0]
    assert at == pytest.approx([350, 380, 340])


def test_a_limit_of_axes_together_that_is_still_broken_is_said() -> None:
    axes = one_axis((30.0, 100.0, 800.0), name="pan0"), one_axis((30.0, 100.0, 800.0), name="pan1")
    swing = SumLimit(name="swing", sum=(("pan0", 1.0), ("pan1", 1.0)), speed=35.0)
    at, values = [0, 2, 3, 5, 7], [0.0, 30.0, 10.0, 20.0, 0.0]
    move = Move(tracks=(track(at, values, "linear", "pan0"), track(at, values, "linear", "pan1")))
    answer = smooth(Rig(name="bench", axes=axes, combined=(swing,)), move, SECONDS, LAWS)
    check_kept(machine(*axes), move, answer)
    assert isinstance(answer, Repaired)
    assert answer.words[-1].startswith("swing is still over")


def test_a_curve_that_is_lost_in_rounding_is_refused_with_what_works() -> None:
    """Some steps of the last digit of a position, on an axis that is slow enough for them."""
    far, steps = 2.0**23, np.array([0.0, 300.0, 100.0, -200.0])
    at_s, values = [0, 5, 12, 18], far + steps * np.spacing(far)
    speed, acceleration, jerk = calm(np.array(at_s, np.float64), values - far)
    rig = machine(one_axis((1.05 * speed, 1.05 * acceleration, 1.05 * jerk)))
    move = written(at_s, values.tolist())
    with pytest.raises(Unrepaired, match=r"the curve of pan0 is lost in rounding; stretching the move still works"):
        smooth(rig, move, SECONDS, LAWS)
    assert isinstance(stretch(rig, move, SECONDS, LAWS), Repaired)
    # the same steps near zero have their digits
    check_kept(rig, near := written(at_s, (values - far).tolist()), smooth(rig, near, SECONDS, LAWS))
