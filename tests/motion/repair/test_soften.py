"""Other laws, the same keys and times: only what is over is changed, and what no law can do is said with its need."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from sequencer.motion.compile import compile_move
from sequencer.motion.peaks import over
from sequencer.motion.repair.need import gentlest, least_s, ratios
from sequencer.motion.repair.outcome import Cancelled, Impossible, Repaired
from sequencer.motion.repair.soften import gentle, soften
from sequencer.score.laws.bezier import Bezier
from sequencer.score.laws.s_curve import SCurve
from sequencer.score.move import Ease, Move
from tests.motion.machines import LAWS, rig, track
from tests.motion.repair.limits import RATE, hasty, most

AXIS = rig().axes[0]


def test_the_laws_that_suit_motors_are_found_by_their_curves() -> None:
    suits = {ease.law for ease in gentle(LAWS)}
    assert suits >= {"cycloidal", "modified-sine", "modified-trapezoid", "poly345", "poly4567", "s-curve"}
    assert not suits & {"linear", "harmonic", "trapezoid", "bezier", "through", "hold", "spline"}


@pytest.mark.parametrize(
    ("law", "factors"),
    [
        # Cam Design Handbook (Rothbart ed., McGraw-Hill 2004), from memory
        ("poly345", (15 / 8, 10 / 3**0.5, 60)),
        ("poly4567", (35 / 16, 84 / (5 * 5**0.5), 105 / 2)),
        ("cycloidal", (2, 2 * np.pi, 4 * np.pi**2)),
        ("modified-sine", (4 * np.pi / (4 + np.pi), 4 * np.pi**2 / (4 + np.pi), 16 * np.pi**3 / (4 + np.pi))),
        ("modified-trapezoid", (2, 8 * np.pi / (2 + np.pi), 32 * np.pi**2 / (2 + np.pi))),
    ],
)
@pytest.mark.parametrize(("way", "lasts_s"), [(30.0, 1.5), (-4.0, 0.7)])
def test_a_law_asks_what_its_closed_form_says(
    law: str, factors: tuple[float, float, float], way: float, lasts_s: float
) -> None:
    found = ratios(Ease(law), LAWS, AXIS, way, lasts_s)
    asked = np.array(factors) * abs(way) / lasts_s ** np.arange(1, 4) / [60, 120, 600]
    assert found == pytest.approx(tuple(asked), rel=1e-10)
    least = max(
        factors[0] * abs(way) / 60, (factors[1] * abs(way) / 120) ** 0.5, (factors[2] * abs(way) / 600) ** (1 / 3)
    )
    assert least_s(Ease(law), LAWS, AXIS, way) == pytest.approx(least, rel=1e-10)


@pytest.mark.parametrize("way", [0.1, 5.0, 30.0, 90.0, 1000.0])
def test_a_law_that_takes_its_shape_from_the_limits_needs_what_the_fastest_move_does(way: float) -> None:
    # seven phases of even jerk, rest to rest (textbook): the fastest move there is within these limits
    speed, acceleration, jerk = 60.0, 120.0, 600.0
    ramp = acceleration / jerk
    if way <= 2 * acceleration * ramp**2:
        best = 4 * (way / (2 * jerk)) ** (1 / 3)
    else:
        top = (-ramp * acceleration + ((ramp * acceleration) ** 2 + 4 * acceleration * way) ** 0.5) / 2
        best = 2 * (top / acceleration + ramp) if top <= speed else way / speed + speed / acceleration + ramp
    assert least_s(Ease("s-curve"), LAWS, AXIS, way) == pytest.approx(best, rel=2e-3)
    assert least_s(Ease("s-curve", SCurve(0.3, 0.3)), LAWS, AXIS, way) > best


def test_a_law_that_jolts_needs_endless_time_and_no_way_none() -> None:
    assert least_s(Ease("linear"), LAWS, AXIS, 1.0) == np.inf
    assert least_s(Ease("poly345"), LAWS, AXIS, 0.0) == 0.0
    assert least_s(Ease("s-curve"), LAWS, AXIS, 0.0) == 0.0
    assert ratios(Ease("through"), LAWS, AXIS, 1.0, 1.0) == (np.inf, np.inf, np.inf)


@pytest.mark.parametrize("law", ["linear", "harmonic", "trapezoid", "poly345", "poly4567", "through"])
@pytest.mark.parametrize("kind", ["beats", "holds", "uneven"])
@pytest.mark.parametrize("seed", range(3))
def test_what_is_softened_keeps_limits_keys_and_times(law: str, kind: str, seed: int) -> None:
    move = Move(tracks=(hasty(kind, seed, law, scale=0.2), hasty(kind, seed + 9, law, scale=0.1, axis="pan1")))
    answer = soften(rig(2), move, RATE, LAWS)
    if isinstance(answer, Impossible):
        for reason in answer.reasons:
            # no law that suits a motor does that leg in its time
            keys = {one.axis: one.keys for one in move.tracks}[reason.axis][reason.keys[0] : reason.keys[1] + 1]
            way, lasts_s = keys[1].value - keys[0].value, float(RATE.seconds(keys[1].at - keys[0].at))
            assert all(least_s(ease, LAWS, AXIS, way) > lasts_s for ease in gentle(LAWS))
        for offer in answer.offers:
            assert most(rig(2), offer.move) <= 1 + 1e-9
        return
    assert most(rig(2), answer.move) <= 1 + 1e-9
    for old, new in zip(move.tracks, answer.move.tracks, strict=True):
        assert [replace(key, ease=Ease("")) for key in new.keys] == [replace(key, ease=Ease("")) for key in old.keys]
    changed = sum(
        a.ease != b.ease
        for x, y in zip(move.tracks, answer.move.tracks, strict=True)
        for a, b in zip(x.keys, y.keys, strict=True)
    )
    if changed:
        assert len(answer.words) == changed
    else:
        assert not over(compile_move(rig(2), move, RATE, LAWS), rig(2))


def test_the_law_with_the_smallest_worst_peak_is_chosen_and_other_legs_are_left_alone() -> None:
    eases = [Ease("poly345"), Ease("linear"), Ease("poly4567"), Ease("poly345")]
    move = Move(tracks=(track([0, 100, 150, 250], [0, 10, 40, 60], eases),))
    answer = soften(rig(), move, RATE, LAWS)
    assert isinstance(answer, Repaired)
    worst = {ease.law: gentlest(ease, LAWS, AXIS, 30.0, 2.0)[1] for ease in gentle(LAWS)}
    best = min(worst, key=lambda law: worst[law])
    assert [key.ease.law for key in answer.move.tracks[0].keys] == ["poly345", best, "poly4567", "poly345"]
    assert answer.words == (f"pan0 at @100 to @150: linear becomes {best}",)


def test_legs_that_led_on_at_even_speed_are_softened_one_after_the_other() -> None:
    # inside the straight line nothing jolts, until a leg of it begins at rest
    move = Move(tracks=(track([0, 50, 100, 150, 200], [0, 10, 20, 30, 40], "linear"),))
    answer = soften(rig(), move, RATE, LAWS)
    assert isinstance(answer, Repaired)
    assert all(key.ease.law != "linear" for key in answer.move.tracks[0].keys[:-1])


def test_a_curve_that_swings_beyond_the_travel_gets_a_law_that_does_not() -> None:
    swing = Ease("bezier", Bezier((0.4, -0.4, 0.6, 1.4)))
    move = Move(tracks=(track([0, 100, 200], [0, 45, 0], swing),))
    answer = soften(rig(travel=(-1, 46)), move, RATE, LAWS)
    assert isinstance(answer, Repaired)
    assert not over(compile_move(rig(travel=(-1, 46)), answer.move, RATE, LAWS), rig(travel=(-1, 46)))
    outside = soften(rig(travel=(-1, 44)), move, RATE, LAWS)
    assert isinstance(outside, Impossible)
    assert "travel" in outside.reasons[0].words


def test_what_no_law_does_is_said_with_the_time_it_needs_and_what_would_help_is_offered() -> None:
    move = Move(tracks=(track([0, 25, 50, 75], [0, 20, 45, 64], "poly345"),))
    answer = soften(rig(), move, RATE, LAWS)
    assert isinstance(answer, Impossible)
    assert answer.reasons[0].axis == "pan0"
    assert "no law goes" in answer.reasons[0].words
    through, more = answer.offers
    assert [key.ease.law for key in through.move.tracks[0].keys[:-1]] == ["through"] * 3
    assert [key.at for key in through.move.tracks[0].keys] == [0, 25, 50, 75]
    assert more.move.tracks[0].keys[-1].at > 75
    for offer in answer.offers:
        assert most(rig(), offer.move) <= 1 + 1e-9


def test_without_a_law_that_suits_nothing_is_guessed() -> None:
    move = Move(tracks=(track([0, 25], [0, 15], "linear"),))
    with pytest.raises(ValueError, match="without a jolt"):
        soften(rig(), move, RATE, {name: LAWS[name] for name in ("linear", "harmonic")})


def test_nothing_to_do_changes_nothing() -> None:
    move = Move(tracks=(track([Fraction(0), Fraction(250)], [0, 10], "poly345"),))
    answer = soften(rig(), move, RATE, LAWS)
    assert isinstance(answer, Repaired)
    assert answer.move == move


def test_a_shape_from_the_limits_leaves_as_much_room_as_any_parts_written_by_hand() -> None:
    """A leg that poly345 does not do: of a thousand s-curves with written parts none asks less at its worst."""
    way, lasts_s = 20.0, 1.2
    ease, worst = gentlest(Ease("s-curve"), LAWS, AXIS, way, lasts_s)
    assert isinstance(ease.how, SCurve)
    assert max(ratios(ease, LAWS, AXIS, way, lasts_s)) == pytest.approx(worst, rel=1e-9)
    parts = np.linspace(0.01, 0.5, 50)
    others = [
        max(ratios(Ease("s-curve", SCurve(float(ramp), float(rounding))), LAWS, AXIS, way, lasts_s))
        for ramp in parts
        for rounding in parts
    ]
    assert worst <= min(others) * (1 + 1e-9)
    assert worst >= min(others) * 0.98
    assert worst < max(ratios(Ease("s-curve"), LAWS, AXIS, way, lasts_s))


def test_the_operator_can_stop_it() -> None:
    move = Move(tracks=(track([0, 25], [0, 90], "poly345"),))
    with pytest.raises(Cancelled):
        soften(rig(), move, RATE, LAWS, tell=lambda done: done <= 0)
