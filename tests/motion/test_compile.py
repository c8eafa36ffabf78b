"""From keys to a trajectory: every key is met, every law keeps its shape, each axis minds its own track."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import CubicHermiteSpline

from sequencer.motion.compile import compile_move
from sequencer.rig.axis import Axis, Rig
from sequencer.score.easing import UnitCurve, curve_of
from sequencer.score.laws.bezier import Bezier
from sequencer.score.laws.trapezoid import Trapezoid
from sequencer.score.move import Ease, Key, Move, Track
from sequencer.timebase.rate import RATES, Rate
from tests.motion.machines import LAWS, SECONDS, leg, rig, track

EASES = (
    Ease("hold"),
    Ease("linear"),
    Ease("harmonic"),
    Ease("poly345"),
    Ease("trapezoid"),
    Ease("trapezoid", Trapezoid(0.2)),
    Ease("bezier", Bezier((0.42, 0.0, 0.58, 1.0))),
    Ease("through"),
)


@st.composite
def tracks(draw: st.DrawFn, axis: str = "pan0") -> Track:
    """Draw a sound track: rising keys on parts of frames, a hold only between equal values."""
    gaps = [Fraction(gap, 1000) for gap in draw(st.lists(st.integers(500, 200_000), max_size=12))]
    at = Fraction(draw(st.integers(-1_000_000, 1_000_000)), 1000)
    value = draw(st.floats(-100, 100))
    keys = []
    for gap in [*gaps, Fraction(0)]:
        ease = draw(st.sampled_from(EASES))
        keys.append(Key(at, value, ease))
        at += gap
        if ease.law != "hold":
            value = draw(st.one_of(st.just(value), st.floats(-100, 100)))
    return Track(axis, tuple(keys))


@settings(deadline=None)
@given(tracks(), st.sampled_from(list(RATES.values())))
def test_every_key_is_met_exactly(one: Track, rate: Rate) -> None:
    trajectory = compile_move(rig(), Move(tracks=(one,)), rate, LAWS)
    at_s = np.array([float(rate.seconds(key.at)) for key in one.keys])
    assert trajectory.sample(at_s)[:, 0].tolist() == [key.value for key in one.keys]
    assert (trajectory.start_s, trajectory.end_s) == (at_s[0], at_s[-1])
    for outside_s, key in ((at_s[0] - 100, one.keys[0]), (at_s[-1] + 100, one.keys[-1])):
        position, velocity = trajectory.at(outside_s)
        assert (position.tolist(), velocity.tolist()) == ([key.value], [0.0])


@settings(deadline=None)
@given(tracks())
def test_nothing_jumps_inside_a_move(one: Track) -> None:
    trajectory = compile_move(rig(), Move(tracks=(one,)), Rate(25), LAWS)
    ends_s = trajectory.from_s
    scale = 1 + max(abs(key.value) for key in one.keys)
    left = trajectory.sample(np.nextafter(ends_s, -np.inf))
    assert left == pytest.approx(trajectory.sample(ends_s), abs=1e-8 * scale)


@settings(deadline=None)
@given(tracks("pan0"), tracks("pan1"), tracks("pan2"))
def test_axes_do_not_feel_each_other(one: Track, two: Track, three: Track) -> None:
    together = compile_move(rig(3), Move(tracks=(three, one, two)), Rate(25), LAWS)
    t_s = np.linspace(together.start_s - 1, together.end_s + 1, 301)
    for axis, alone in enumerate((one, two, three)):
        renamed = Track("pan0", alone.keys)
        single = compile_move(rig(1), Move(tracks=(renamed,)), Rate(25), LAWS)
        assert together.sample(t_s)[:, axis] == pytest.approx(single.sample(t_s)[:, 0], rel=1e-12, abs=1e-12)


@pytest.mark.parametrize("ease", [each for each in EASES if each.law not in ("hold", "through")], ids=str)
def test_a_leg_is_its_law_stretched_to_its_time_and_way(ease: Ease) -> None:
    trajectory = compile_move(rig(), Move(tracks=(track([3, 7], [10, -20], ease),)), SECONDS, LAWS)
    curve = curve_of(ease, LAWS)
    assert isinstance(curve, UnitCurve)
    u = np.linspace(0, 0.999, 500)
    for order in range(4):
        ours = trajectory.sample(3 + 4 * u, order)[:, 0]
        expected = curve.sample(u, order) * -30 / 4**order + (10 if order == 0 else 0)
        assert ours == pytest.approx(expected, rel=1e-7, abs=1e-7 * np.abs(expected).max())
    assert trajectory.fit_error[0] == pytest.approx(30 * curve.fit_error)


def test_a_run_of_smooth_legs_agrees_with_scipy_where_both_must() -> None:
    """At the keys of a run, scipy's Hermite cubic with our speeds has our positions and our speeds."""
    at_s, values = np.array([0.0, 1.0, 2.5, 4.0]), np.array([0.0, 5.0, 9.0, 7.0])
    one = track([float(t) for t in at_s], values.tolist(), "through")
    trajectory = compile_move(rig(), Move(tracks=(one,)), SECONDS, LAWS)
    speeds = trajectory.sample(at_s, 1)[:, 0]
    assert speeds[0] == 0
    assert speeds[1] > 0.1, "it passes through"
    assert speeds[2] == 0, "it turns"
    assert speeds[3] == 0
    cubic = CubicHermiteSpline(at_s, values, speeds)
    assert trajectory.sample(at_s)[:, 0] == pytest.approx(cubic(at_s), abs=1e-12)


def test_a_run_rests_beside_another_law_and_at_a_flat_leg() -> None:
    eases = [Ease("linear"), Ease("through"), Ease("through"), Ease("through"), Ease("poly345"), Ease("through")]
    one = track([0, 1, 2, 3, 4, 5], [0, 1, 2, 2, 5, 9], eases)
    trajectory = compile_move(rig(), Move(tracks=(one,)), SECONDS, LAWS)
    for order in (1, 2):
        sampled = trajectory.sample(np.array([1.0, 2.0, 2.5, 3.0, 4.0, 5.0]), order)[:, 0]
        assert sampled == pytest.approx(np.zeros(6), abs=1e-9)
    assert trajectory.sample(np.array([0.5, 1 - 1e-9]), 1)[:, 0] == pytest.approx([1.0, 1.0])


def test_an_axis_without_a_track_stands_at_home() -> None:
    axes = tuple(
        Axis(name=name, kind="pan", unit="deg", travel=None, speed=1, acceleration=1, jerk=1, home=home)
        for name, home in (("pan", 0.0), ("tilt", -12.5))
    )
    pair = Rig(name="pair", axes=axes)
    trajectory = compile_move(pair, Move(tracks=(track([100, 101], [0, 1], "linear", "pan"),)), SECONDS, LAWS)
    assert trajectory.sample(np.array([-1.0, 100.5, 1e6]))[:, 1].tolist() == [-12.5, -12.5, -12.5]
    assert (trajectory.start_s, trajectory.end_s) == (100.0, 101.0)
    nothing = compile_move(pair, Move(tracks=()), SECONDS, LAWS)
    assert nothing.at(5.0)[0].tolist() == [0.0, -12.5]


def test_a_whole_day_keeps_its_frames() -> None:
    at = Fraction(24 * 3600 * 30) + Fraction(1, 3)
    rate = RATES["30000/1001"]
    trajectory = compile_move(rig(), Move(tracks=(track([at, at + 1], [0, 1], "linear"),)), rate, LAWS)
    assert trajectory.start_s == float(rate.seconds(at))


def test_a_pass_at_speed_one_is_the_move() -> None:
    trajectory = compile_move(rig(), leg(Ease("poly345")), SECONDS, LAWS)
    assert trajectory.stretched(1, 0.5) is trajectory
    half = trajectory.stretched(Fraction(1, 2), 0.0)
    assert half.end_s == 2.0
    assert half.sample(np.array([1.0]), 1)[0, 0] == pytest.approx(15 / 16)
