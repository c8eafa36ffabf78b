"""Ramps that a law takes from the axis's limits: against brute force, and against ruckig's fastest profiles."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from ruckig import InputParameter, Ruckig, Trajectory
from scipy.optimize import brentq

from sequencer.motion.compile import compile_move
from sequencer.motion.peaks import peaks
from sequencer.score.easing import Leg
from sequencer.score.laws import s_curve, trapezoid
from sequencer.score.laws.s_curve import SCurve
from sequencer.score.laws.trapezoid import Trapezoid
from sequencer.score.move import Ease, Move
from sequencer.score.ramps import SHORTEST
from tests.motion.machines import LAWS, SECONDS, rig, track

V, A, J = 60.0, 120.0, 600.0
# of a limit: what rounding may add
OVER = 1 + 1e-9

decades = st.floats(-3, 3).map(lambda power: 10.0**power)
any_leg = st.builds(Leg, way=decades, lasts_s=decades, speed=st.just(V), acceleration=decades, jerk=decades)


def asked(how: Trapezoid | SCurve, leg: Leg) -> tuple[float, float, float]:
    """Return the peaks of a leg, from the law's factors; `check_law` compares those with the curve."""
    found = trapezoid.factors(how) if isinstance(how, Trapezoid) else s_curve.factors(how)
    way, lasts_s = abs(leg.way), leg.lasts_s
    return found.speed * way / lasts_s, found.acceleration * way / lasts_s**2, found.jerk * way / lasts_s**3


@given(any_leg)
def test_a_trapezoid_takes_the_shortest_ramp_that_the_motor_can_do(leg: Leg) -> None:
    how = trapezoid.suited(Trapezoid("limits"), leg)
    assert isinstance(how.ramp, float)
    _, acceleration, _ = asked(how, leg)
    if how.ramp == 0.5:
        gentler = 4 * leg.way / leg.lasts_s**2  # D = A T^2 / 4: all ramp
        assert acceleration == pytest.approx(gentler, rel=1e-12)
        assert gentler >= leg.acceleration / OVER
    else:
        assert acceleration <= leg.acceleration * OVER
        assert how.ramp == SHORTEST or acceleration == pytest.approx(leg.acceleration, rel=1e-9)


def lowest_speed(leg: Leg) -> float | None:
    """Return the lowest peak speed with which the leg can be done in its time, by bisection; None where none can.

    A rise to the speed v takes v/A + A/J, or 2 sqrt(v/J) where the acceleration limit is not reached.
    """

    def rise_s(v: float) -> float:
        reached = v >= leg.acceleration**2 / leg.jerk
        return v / leg.acceleration + leg.acceleration / leg.jerk if reached else 2 * np.sqrt(v / leg.jerk)

    # the fastest that can be reached in half the time
    fastest = float(brentq(lambda v: rise_s(v) - leg.lasts_s / 2, 0, 1e12, xtol=1e-300, rtol=1e-14))
    if fastest * leg.lasts_s / 2 < leg.way:
        return None
    return float(brentq(lambda v: v * (leg.lasts_s - rise_s(v)) - leg.way, 0, fastest, xtol=1e-300, rtol=1e-14))


@given(any_leg)
def test_an_s_curve_has_the_lowest_speed_that_the_limits_allow(leg: Leg) -> None:
    how = s_curve.suited(SCurve(), leg)
    assert isinstance(how.ramp, float)
    assert isinstance(how.rounding, float)
    speed, acceleration, jerk = asked(how, leg)
    lowest = lowest_speed(leg)
    if lowest is None:
        assert how.ramp == 0.5
        return
    # at the edge of what can be, rounding decides
    assume(lowest * leg.lasts_s / leg.way < 2 * (1 - 1e-9))
    assert acceleration <= leg.acceleration * OVER
    assert jerk <= leg.jerk * OVER
    clipped = how.ramp == SHORTEST or how.rounding < 1e-2  # shorter ones are not drawn
    assert speed == pytest.approx(lowest, rel=SHORTEST if clipped else 1e-9)


@given(any_leg, st.floats(SHORTEST, 0.5), st.floats(0.001, 0.5))
def test_where_nothing_fits_no_shape_is_less_over(leg: Leg, ramp: float, rounding: float) -> None:
    assume(lowest_speed(leg) is None)

    def over(how: SCurve) -> float:
        _, acceleration, jerk = asked(how, leg)
        return max(acceleration / leg.acceleration, jerk / leg.jerk)

    ours = s_curve.suited(SCurve(), leg)
    assert over(ours) <= over(SCurve(ramp, rounding)) * (1 + 2e-5)  # the least rounding that is drawn


@given(any_leg, st.floats(0.001, 0.5))
def test_with_a_written_rounding_the_ramp_is_the_shortest_that_keeps_both(leg: Leg, rounding: float) -> None:
    how = s_curve.suited(SCurve("limits", rounding), leg)
    assert isinstance(how.ramp, float)
    assert how.rounding == rounding
    _, acceleration, jerk = asked(how, leg)
    worst = max(acceleration / leg.acceleration, jerk / leg.jerk)
    if how.ramp < 0.5:
        assert worst <= OVER
        assert how.ramp == SHORTEST or worst == pytest.approx(1, rel=1e-9)
    else:
        assert worst >= 1 / OVER


@given(any_leg, st.floats(SHORTEST, 0.5))
def test_with_a_written_ramp_the_rounding_is_the_shortest_that_keeps_the_jerk(leg: Leg, ramp: float) -> None:
    how = s_curve.suited(SCurve(ramp, "limits"), leg)
    assert isinstance(how.rounding, float)
    assert how.ramp == ramp
    _, _, jerk = asked(how, leg)
    if how.rounding < 0.5:
        assert jerk <= leg.jerk * OVER
        assert how.rounding == 1e-5 or jerk == pytest.approx(leg.jerk, rel=1e-9)
    else:
        assert jerk >= leg.jerk / OVER


def ruckigs(way: float) -> Trajectory:
    """Return ruckig's fastest profile from rest to rest."""
    asking = InputParameter(1)
    asking.current_position, asking.target_position = [0.0], [way]
    asking.max_velocity, asking.max_acceleration, asking.max_jerk = [V], [A], [J]
    found = Trajectory(1)
    Ruckig(1).calculate(asking, found)
    return found


# without even acceleration, with it, and with even speed too; the second is where the first two meet
@pytest.mark.parametrize("way", [0.001, 0.5, 9.6, 20.0, 41.9, 42.0, 90.0, -90.0, 1000.0])
def test_in_the_least_time_it_is_ruckigs_profile(way: float) -> None:
    """Source: ruckig (Berscheid & Kroeger 2021), time-optimal with limits of speed, acceleration and jerk."""
    theirs = ruckigs(way)
    lasts_s = theirs.duration
    leg = Leg(way=way, lasts_s=lasts_s, speed=V, acceleration=A, jerk=J)
    how = s_curve.suited(SCurve(), leg)
    curve = s_curve.curve(how)
    t_s = np.linspace(0, lasts_s, 501)
    expected = np.array([theirs.at_time(t) for t in t_s])[:, :, 0]
    u = t_s / lasts_s
    assert way * curve.sample(u) == pytest.approx(expected[:, 0], abs=1e-9 * abs(way))
    assert way / lasts_s * curve.sample(u, 1) == pytest.approx(expected[:, 1], abs=1e-7 * V)
    assert way / lasts_s**2 * curve.sample(u, 2) == pytest.approx(expected[:, 2], abs=1e-5 * A)
    speed, acceleration, jerk = asked(how, leg)
    assert speed <= V * (1 + 1e-7)
    assert acceleration <= A * (1 + 1e-7)
    assert jerk <= J * (1 + 1e-7)


@pytest.mark.parametrize("ease", [Ease("s-curve"), Ease("trapezoid", Trapezoid("limits"))], ids=str)
def test_each_leg_of_a_move_gets_the_ramps_of_its_own(ease: Ease) -> None:
    at_s, values = [0.0, 1.0, 3.0, 4.0, 10.0, 11.0], [0.0, 8.0, 70.0, 62.0, 62.5, 62.5]
    trajectory = compile_move(rig(), Move(tracks=(track(at_s, values, ease),)), SECONDS, LAWS)
    (peak,) = peaks(trajectory, rig())
    assert peak.speed.value <= V * OVER
    t_s = np.linspace(0, 11, 110_001)
    assert np.abs(trajectory.sample(t_s, 2)).max() <= A * OVER
    assert np.abs(trajectory.sample(t_s, 2)).max() == pytest.approx(A, rel=1e-6)
    assert trajectory.sample(np.array(at_s))[:, 0] == pytest.approx(values, abs=1e-12)
    if ease.law == "s-curve":
        assert peak.jerk.value <= J * OVER


@pytest.mark.parametrize("how", [Trapezoid("limits"), Trapezoid(1e-4), SCurve(), SCurve(1e-4, 0.01)], ids=str)
def test_no_piece_is_without_length_however_short_the_ramp(how: Trapezoid | SCurve) -> None:
    """Ten hours into the project a float second still tells the pieces of a slow leg apart."""
    ease = Ease("trapezoid" if isinstance(how, Trapezoid) else "s-curve", how)
    begin = Fraction(36_000)
    for lasts_s in (1, 600, 20_000):
        one = track([begin, begin + lasts_s], [0, 1e-9 * lasts_s], ease)
        trajectory = compile_move(rig(), Move(tracks=(one,)), SECONDS, LAWS)
        breaks_s, _ = trajectory.of(0)
        assert (np.diff(breaks_s) > 0).all()


def test_ramps_that_nearly_meet_do_meet() -> None:
    for ramp in (0.5, 0.5 - 1e-12, np.nextafter(0.5, 0)):
        assert len(trapezoid.curve(Trapezoid(float(ramp))).breaks) == 3
        assert len(s_curve.curve(SCurve(float(ramp), float(ramp))).breaks) == 5
    assert len(s_curve.curve(SCurve(0.3, 0.3)).breaks) == 8


def test_without_a_leg_the_plain_parts_stand_for_the_limits() -> None:
    u = np.linspace(0, 1, 101)
    assert (trapezoid.curve(Trapezoid("limits")).sample(u) == trapezoid.curve(Trapezoid()).sample(u)).all()
    assert (s_curve.curve(SCurve()).sample(u) == s_curve.curve(SCurve(1 / 3, 0.5)).sample(u)).all()
    assert s_curve.factors(SCurve()) == s_curve.factors(SCurve(1 / 3, 0.5))
