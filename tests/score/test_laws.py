"""Motion laws against their closed forms and against published tables."""

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import BPoly
from scipy.optimize import brentq

from sequencer.errors import ProjectError
from sequencer.project import files, text
from sequencer.score.easing import LawKind, NoCurve, NoSettings, UnitCurve, curve_of
from sequencer.score.fit import TOLERANCE
from sequencer.score.laws import poly345, s_curve, trapezoid
from sequencer.score.laws.bezier import KIND as BEZIER
from sequencer.score.laws.bezier import Bezier
from sequencer.score.laws.s_curve import SCurve
from sequencer.score.laws.spline import Spline
from sequencer.score.laws.trapezoid import Trapezoid
from sequencer.score.move import Ease
from sequencer.score.ramps import Part
from sequencer.shell.kinds import laws, laws_left_out
from sequencer.testing.laws import check_law

# W3C CSS Easing Functions Level 1, section on cubic Bézier easing functions: the keywords' points.
KEYWORDS = {
    "ease": (0.25, 0.1, 0.25, 1.0),
    "ease-in": (0.42, 0.0, 1.0, 1.0),
    "ease-out": (0.0, 0.0, 0.58, 1.0),
    "ease-in-out": (0.42, 0.0, 0.58, 1.0),
}
HOWS: dict[str, list[object]] = {
    "bezier": [Bezier(points) for points in KEYWORDS.values()],
    "trapezoid": [Trapezoid(), Trapezoid(0.5), Trapezoid("limits"), Trapezoid(1e-4)],
    "s-curve": [SCurve(), SCurve(0.5, 0.5), SCurve(0.2, "limits"), SCurve("limits", 0.001), SCurve(1e-4, 1e-5)],
    "spline": [Spline(((0, 0, 0, 0), (0.25, 3, 1, -2), (1, 0, 5, 0))), Spline(((0, 0, 0, 0), (1, 0, 0, 0)))],
}

inside = st.floats(0.02, 0.98)
heights = st.floats(-2, 3)
points = st.tuples(inside, heights, inside, heights)


def css(how: tuple[float, float, float, float], u: float) -> float:
    """Solve x(t) = u by scipy and return y(t), as the standard words it."""
    x1, y1, x2, y2 = how

    def coordinate(t: float, first: float, second: float) -> float:
        return 3 * (1 - t) ** 2 * t * first + 3 * (1 - t) * t**2 * second + t**3

    t = brentq(lambda t: coordinate(t, x1, x2) - u, 0, 1, xtol=1e-16, rtol=1e-15)
    return coordinate(t, y1, y2)


def test_these_laws_are_there() -> None:
    everywhere = {"hold", "linear", "harmonic", "cycloidal", "poly345", "poly4567", "modified-sine"}
    assert everywhere | {"modified-trapezoid", "trapezoid", "s-curve", "bezier", "through"} <= set(laws())
    assert laws_left_out() == {}


@pytest.mark.parametrize("kind", laws().values(), ids=lambda kind: kind.name)
def test_every_law_keeps_what_laws_promise(kind: LawKind) -> None:
    check_law(kind, *HOWS.get(kind.name, ()))


@given(points)
def test_any_bezier_keeps_what_laws_promise(how: tuple[float, float, float, float]) -> None:
    check_law(BEZIER, Bezier(how))


@given(st.floats(1e-4, 0.5))
def test_any_trapezoid_keeps_what_laws_promise(ramp: float) -> None:
    check_law(trapezoid.KIND, Trapezoid(ramp))


@given(st.floats(1e-4, 0.5) | st.just("limits"), st.floats(1e-5, 0.5) | st.just("limits"))
def test_any_s_curve_keeps_what_laws_promise(ramp: Part, rounding: Part) -> None:
    check_law(s_curve.KIND, SCurve(ramp, rounding))


def test_poly345_is_the_rest_to_rest_quintic_of_scipy() -> None:
    u = np.linspace(0, 1, 101)
    theirs = BPoly.from_derivatives([0, 1], [[0, 0, 0], [1, 0, 0]])
    for order in range(4):
        ours = poly345.curve(NoSettings()).sample(u, order)
        assert ours == pytest.approx(theirs.derivative(order)(u) if order else theirs(u), abs=1e-12)


def test_trapezoid_is_the_integral_of_its_speed() -> None:
    u = np.linspace(0, 1, 1001)
    for ramp in (0.1, 1 / 3, 0.5):
        speed = np.interp(u, [0, ramp, 1 - ramp, 1], [0, 1 / (1 - ramp), 1 / (1 - ramp), 0])
        assert trapezoid.curve(Trapezoid(ramp)).sample(u, 1) == pytest.approx(speed, abs=1e-12)
    assert len(trapezoid.curve(Trapezoid(0.5)).breaks) == 3


@pytest.mark.parametrize("name", KEYWORDS)
def test_bezier_is_the_standards_curve(name: str) -> None:
    """Source: W3C CSS Easing Functions Level 1; x(t) = u is solved here by another method than in the law."""
    curve = curve_of(Ease("bezier", Bezier(KEYWORDS[name])), laws())
    assert isinstance(curve, UnitCurve)
    for u in np.random.default_rng(3).uniform(0, 1, 500):
        assert abs(float(curve.sample(np.array([u]))[0]) - css(KEYWORDS[name], float(u))) <= curve.fit_error + 1e-14
    assert 0 < curve.fit_error <= TOLERANCE


@given(points, st.floats(0, 1))
def test_bezier_follows_speed_and_acceleration_too(how: tuple[float, float, float, float], t: float) -> None:
    bezier = Bezier(how)
    curve = curve_of(Ease("bezier", bezier), laws())
    assert isinstance(curve, UnitCurve)
    u, way, slope, curvature = (float(each[0]) for each in bezier.law(np.array([t])))
    grid = np.linspace(0, 1, 2001)
    _, _, slopes, curvatures = bezier.law(grid)
    assert abs(float(curve.sample(np.array([u]))[0]) - way) <= curve.fit_error + 1e-14
    # a billionth of the way off in value is more in its derivatives where the curve turns within a short time: of 6,000
    # random curves the worst strayed by 2e-5 of its largest speed and by 5e-3 of its largest acceleration
    assert abs(float(curve.sample(np.array([u]), 1)[0]) - slope) <= 1e-4 * np.abs(slopes).max()
    assert abs(float(curve.sample(np.array([u]), 2)[0]) - curvature) <= 2e-2 * np.abs(curvatures).max() + 1e-9


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ((-0.1, 0, 1, 1), "x1 is -0.1"),
        ((0, 0, 1.5, 1), "x2 is 1.5"),
        ((0, 0.5, 1, 1), "begins with endless speed"),
        ((0, 0, 0, 1), "begins with endless speed"),
        ((0.5, 0, 1, 0.5), "ends with endless speed"),
        ((1, 0, 1, 1), "ends with endless speed"),
        ((1, 0, 0, 1), "endless speed in its middle"),
        ((float("nan"), 0, 1, 1), "four numbers"),
    ],
)
def test_bezier_refuses_endless_speed_in_plain_words(how: tuple[float, float, float, float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        Bezier(how)


def test_handles_on_the_diagonal_are_the_straight_line() -> None:
    u = np.linspace(0, 1, 11)
    for how in ((0.0, 0.0, 1.0, 1.0), (0.0, 0.0, 0.0, 0.0), (0.3, 0.3, 0.6, 0.6)):
        curve = curve_of(Ease("bezier", Bezier(how)), laws())
        assert isinstance(curve, UnitCurve)
        assert curve.sample(u) == pytest.approx(u, abs=1e-12)


@given(points)
def test_bezier_backward_is_the_standards_curve_backward(how: tuple[float, float, float, float]) -> None:
    assert BEZIER.reversed is not None
    back = BEZIER.reversed(Bezier(how)).points
    for u in (0.1, 0.5, 0.83):
        assert css(back, u) == pytest.approx(1 - css(how, 1 - u), abs=1e-9)


@pytest.mark.parametrize("ramp", [0.0, 1e-6, -1.0, 0.51, float("nan"), float("inf")])
def test_ramps_that_cannot_be_are_refused_in_plain_words(ramp: float) -> None:
    words = f'ramp is {ramp}; it must be 0.0001 to 0.5 of the leg, or "limits"'
    for settings in (Trapezoid, SCurve):
        with pytest.raises(ValueError, match=re.escape(words)):
            settings(ramp)
    words = f'rounding is {ramp}; it must be 0.00001 to 0.5 of the ramp, or "limits"'
    with pytest.raises(ValueError, match=re.escape(words)):
        SCurve(0.25, ramp)


@pytest.mark.parametrize(
    ("law", "how"),
    [
        ("trapezoid", {"ramp": "limit"}),
        ("s-curve", {"rounding": "fast"}),
        ("s-curve", {"ramp": 0.2, "rounding": 0.6}),
        ("trapezoid", {"ramp": None}),
    ],
)
def test_a_file_with_impossible_settings_is_refused_with_its_place(law: str, how: dict[str, object]) -> None:
    with pytest.raises(ProjectError) as refused:
        text.convert(how, laws()[law].settings, files.PROJECT, "tracks[0].keys[2].ease")
    assert "tracks[0].keys[2].ease" in str(refused.value)


@pytest.mark.parametrize(
    ("nodes", "words"),
    [
        ([], "nodes are no rows of a curve; they must be two or more of four numbers: u, off, slope, bend"),
        ([[0, 0, 0, 0]], "nodes are no rows of a curve; they must be two or more of four numbers"),
        ([[0, 0, 0, 0], [0.5, 1, 0, 0]], "the nodes are out of order; their u must rise from 0 to 1"),
        ([[0, 0, 0, 0], [0.6, 1, 0, 0], [0.5, 1, 0, 0], [1, 0, 0, 0]], "the nodes are out of order; their u must rise"),
        ([[0, 0, 0, 0], [0.5, 1, 0, 0], [1, 2, 0, 0]], "the curve misses its keys; the first and the last node must"),
        ([[0, 1, 0, 0], [1, 0, 0, 0]], "the curve misses its keys; the first and the last node must have off 0"),
    ],
)
def test_a_file_with_a_drawn_leg_that_is_none_is_refused_with_its_place(nodes: list[list[float]], words: str) -> None:
    with pytest.raises(ProjectError, match=re.escape(words)) as refused:
        text.convert({"nodes": nodes}, Spline, files.PROJECT, "tracks[0].keys[2].ease")
    assert "tracks[0].keys[2].ease" in str(refused.value)


@pytest.mark.parametrize("wrong", [float("nan"), float("inf")])
def test_a_drawn_leg_through_no_number_is_refused(wrong: float) -> None:
    for place in range(4):
        node = [0.5, 1.0, 0.0, 0.0]
        node[place] = wrong
        u, off, slope, bend = node
        with pytest.raises(ValueError, match="nodes are no rows of a curve"):
            Spline(((0, 0, 0, 0), (u, off, slope, bend), (1, 0, 0, 0)))


def test_a_file_may_leave_the_ramp_to_the_limits() -> None:
    read = text.convert({"ramp": "limits"}, Trapezoid, files.PROJECT)
    assert read == Trapezoid("limits")
    with pytest.raises(ProjectError):
        text.convert({"ramp": "limits"}, Bezier, files.PROJECT)


def test_a_curve_that_cannot_be_fitted_well_is_refused() -> None:
    with pytest.raises(ValueError, match="bends more sharply"):
        curve_of(Ease("bezier", Bezier((1e-6, 1.0, 0.5, 1.0))), laws())


def test_an_ease_says_what_is_wrong_with_it() -> None:
    with pytest.raises(ValueError, match=r"no motion law 'swoop'; there are bezier, .*through"):
        curve_of(Ease("swoop"), laws())
    with pytest.raises(ValueError, match="needs its settings"):
        curve_of(Ease("bezier"), laws())
    with pytest.raises(ValueError, match="cannot use the settings"):
        curve_of(Ease("linear", Trapezoid()), laws())
    assert curve_of(Ease("through"), laws()) is NoCurve.RUN
