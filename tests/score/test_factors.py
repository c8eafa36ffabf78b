"""What the laws ask of a motor: closed forms against a handbook's table, against quadrature, and against the curve."""

import importlib
import math
from collections.abc import Callable
from itertools import pairwise
from types import ModuleType

import numpy as np
import pytest
from scipy.integrate import fixed_quad
from scipy.interpolate import PPoly

from sequencer.motion.compile import compile_move
from sequencer.score.easing import Factors, UnitCurve, curve_of
from sequencer.score.laws.s_curve import SCurve
from sequencer.score.laws.trapezoid import Trapezoid
from sequencer.score.move import Ease
from tests.motion.machines import LAWS, SECONDS, leg, rig

# Source: Cam Design Handbook (Rothbart ed., McGraw-Hill 2004), from memory: peak speed, acceleration and jerk of a way
# of one in a time of one, as printed there; the simple harmonic and the trapezoid of thirds without a jerk.
HANDBOOK = {
    "poly345": ("1.875", "5.77", "60"),
    "poly4567": ("2.19", "7.51", "52.5"),
    "cycloidal": ("2", "6.28", "39.5"),
    "modified-sine": ("1.76", "5.53", "69.5"),
    "modified-trapezoid": ("2", "4.89", "61.4"),
    "harmonic": ("1.57", "4.93"),
    "trapezoid": ("1.5", "4.5"),
}
WAVES = {
    name: importlib.import_module(f"sequencer.score.laws.{name.replace('-', '_')}")
    for name in ("harmonic", "cycloidal", "modified-sine", "modified-trapezoid")
}
EASES = [
    *(Ease(name) for name in ("poly345", "poly4567", *WAVES)),
    *(Ease("trapezoid", Trapezoid(ramp)) for ramp in (0.05, 1 / 3, 0.5)),
    *(Ease("s-curve", SCurve(*parts)) for parts in ((1 / 3, 0.5), (0.5, 0.5), (0.4, 0.1), (0.02, 0.3))),
]


def factors_of(ease: Ease) -> Factors:
    kind = LAWS[ease.law]
    assert kind.factors is not None
    found: Factors = kind.factors(kind.settings() if ease.how is None else ease.how)
    return found


def unit(ease: Ease) -> UnitCurve:
    curve = curve_of(ease, LAWS)
    assert isinstance(curve, UnitCurve)
    return curve


@pytest.mark.parametrize("name", HANDBOOK)
def test_factors_are_those_of_the_handbook_to_its_digits(name: str) -> None:
    found = factors_of(Ease(name))
    for ours, printed in zip((found.speed, found.acceleration, found.jerk), HANDBOOK[name], strict=False):
        decimals = len(printed.partition(".")[2])
        assert abs(ours - float(printed)) <= 0.5 * 10.0**-decimals * (1 + 1e-12)


def quarter(u: float, begin: float, end: float, rises: bool) -> float:
    """Return a quarter of a sine between two instants, rising from 0 or falling to 0."""
    part = (u - begin) / (end - begin)
    return math.sin(math.pi / 2 * (part if rises else 1 - part))


# Each law's acceleration up to the middle as its definition words it: its shape, with one for its peak; where the
# pieces meet; and the largest slope of the shape.
SHAPES: dict[str, tuple[Callable[[float], float], list[float], float]] = {
    "cycloidal": (lambda u: math.sin(2 * math.pi * u), [0, 0.5], 2 * math.pi),
    "harmonic": (lambda u: math.cos(math.pi * u), [0, 0.5], math.inf),
    "modified-sine": (
        lambda u: quarter(u, 0, 1 / 8, True) if u < 1 / 8 else quarter(u, 1 / 8, 1 / 2, False),
        [0, 1 / 8, 1 / 2],
        4 * math.pi,
    ),
    "modified-trapezoid": (
        lambda u: quarter(u, 0, 1 / 8, True) if u < 1 / 8 else 1 if u < 3 / 8 else quarter(u, 3 / 8, 1 / 2, False),
        [0, 1 / 8, 3 / 8, 1 / 2],
        4 * math.pi,
    ),
    "trapezoid": (lambda u: 1.0 if u < 1 / 3 else 0.0, [0, 1 / 3, 1 / 2], math.inf),
    "poly345": (lambda u: u * (1 - u) * (1 - 2 * u) * 6 * math.sqrt(3), [0, 0.5], 6 * math.sqrt(3)),
    "poly4567": (lambda u: (u * (1 - u)) ** 2 * (1 - 2 * u) * 25 * math.sqrt(5), [0, 0.5], 25 * math.sqrt(5) / 8),
}


@pytest.mark.parametrize("name", SHAPES)
def test_factors_are_those_of_the_accelerations_shape(name: str) -> None:
    """How far a shape of acceleration leads is found by Gauss's rule: its peaks follow, without a closed form."""
    shape, breaks, slope = SHAPES[name]

    def integral(of: Callable[[float], float]) -> float:
        return sum(float(fixed_quad(np.vectorize(of), *pair, n=30)[0]) for pair in pairwise(breaks))

    # half the way in the first half: the integral of (1/2 - u) a(u)
    peak = 0.5 / integral(lambda u: (0.5 - u) * shape(u))
    found = factors_of(Ease(name))
    assert found.acceleration == pytest.approx(peak, rel=1e-12)
    assert found.speed == pytest.approx(peak * integral(shape), rel=1e-12)
    assert found.jerk == pytest.approx(peak * slope, rel=1e-12)


@pytest.mark.parametrize("ease", EASES, ids=str)
def test_a_compiled_leg_asks_its_factors_and_never_more(ease: Ease) -> None:
    way, lasts_s = -37.0, 4.0
    trajectory = compile_move(rig(), leg(ease, way, lasts_s), SECONDS, LAWS)
    breaks_s, _ = trajectory.of(0)
    t_s = np.concatenate((np.linspace(0, lasts_s, 100_001)[:-1], breaks_s[:-1], breaks_s[1:] * (1 - 1e-15)))
    found = factors_of(ease)
    for order, factor in enumerate((found.speed, found.acceleration, found.jerk), 1):
        if np.isinf(factor):
            continue
        peak = abs(way) / lasts_s**order * factor
        sampled = np.abs(trajectory.sample(t_s, order)).max()
        assert sampled <= peak * (1 + 1e-12)
        # an acceleration that peaks inside a piece is met by the grid to the square of its step
        assert sampled >= peak * (1 - (1e-8 if ease.law.startswith("poly") else 1e-12))


@pytest.mark.parametrize("name", WAVES)
def test_a_wave_is_followed_in_every_derivative(name: str) -> None:
    module: ModuleType = WAVES[name]
    curve = unit(Ease(name))
    u = np.random.default_rng(1).uniform(0, 1, 50_000)
    for order, (true, most) in enumerate(zip(module.motion(u), (2e-15, 5e-14, 5e-13, 5e-12), strict=True)):
        assert np.abs(curve.sample(u, order) - true).max() <= most * np.abs(true).max()
    assert np.abs(curve.sample(u) - module.motion(u)[0]).max() <= curve.fit_error + 1e-15
    # the pieces meet in acceleration to rounding
    for order in range(3):
        before, after = curve.breaks[1:-1] - 1e-15, curve.breaks[1:-1]
        gaps = np.abs(curve.sample(before, order) - curve.sample(after, order))
        assert gaps.max(initial=0) <= 1e-13


@pytest.mark.parametrize("name", WAVES)
def test_a_wave_is_the_integral_of_its_own_derivatives(name: str) -> None:
    """Source: textbook (central differences of fourth order)."""
    u = np.linspace(0.001, 0.999, 1999)
    step = 2e-4
    joints = np.array([0, 1 / 8, 3 / 8, 1 / 2, 5 / 8, 7 / 8, 1])
    u = u[np.abs(u[:, None] - joints).min(axis=1) > 2 * step]
    motion = WAVES[name].motion
    near, far = (np.array(motion(u + k * step)) - np.array(motion(u - k * step)) for k in (1, 2))
    slopes = (8 * near - far) / (12 * step)
    for order in range(3):
        true = motion(u)[order + 1]
        assert np.abs(slopes[order] - true).max() <= 1e-9 * np.abs(true).max()


@pytest.mark.parametrize("ease", EASES, ids=str)
def test_every_derivative_is_the_slope_of_the_one_before(ease: Ease) -> None:
    curve = unit(ease)
    step = 1e-5
    u = np.random.default_rng(2).uniform(0, 1, 2000)
    u = u[np.abs(u[:, None] - curve.breaks).min(axis=1) > step]
    for order in (1, 2, 3):
        slope = (curve.sample(u + step, order - 1) - curve.sample(u - step, order - 1)) / (2 * step)
        largest = max(float(np.abs(curve.sample(u, order)).max()), 1e-9)
        assert np.abs(slope - curve.sample(u, order)).max() <= 1e-6 * largest


def test_poly345_is_the_minimum_jerk_motion() -> None:
    """Source: Flash & Hogan 1985: x(t) = x0 + (x0 - xf)(15 tau^4 - 6 tau^5 - 10 tau^3), tau = t / tf."""
    x0, xf, tf = 12.0, -30.0, 2.5
    trajectory = compile_move(rig(), leg(Ease("poly345"), xf - x0, tf), SECONDS, LAWS)
    t_s = np.linspace(0, tf, 501)
    tau = t_s / tf
    theirs = x0 + (x0 - xf) * (15 * tau**4 - 6 * tau**5 - 10 * tau**3)
    assert x0 + trajectory.sample(t_s)[:, 0] == pytest.approx(theirs, abs=1e-12)


def squared_jerk(curve: UnitCurve) -> float:
    """Return the integral of the squared jerk, exactly: Gauss's rule with more points than the degree asks."""
    jerk = PPoly(curve.coeffs, curve.breaks).derivative(3)
    points, weights = np.polynomial.legendre.leggauss(16)
    width = np.diff(curve.breaks)
    u = curve.breaks[:-1] + width * (points[:, None] + 1) / 2
    return float((weights[:, None] * jerk(u) ** 2 * width / 2).sum())


def test_no_law_has_less_squared_jerk_than_poly345() -> None:
    found = {str(ease): squared_jerk(unit(ease)) for ease in EASES if np.isfinite(factors_of(ease).jerk)}
    assert len(found) == 9
    least = found.pop(str(Ease("poly345")))
    assert least == pytest.approx(720, rel=1e-12)
    assert min(found.values()) > 720
    assert found[str(Ease("poly4567"))] == pytest.approx(1120, rel=1e-12)
    assert found[str(Ease("cycloidal"))] == pytest.approx(8 * np.pi**4, rel=1e-11)
    assert found[str(Ease("cycloidal"))] == pytest.approx(779.27, abs=0.005)


def test_what_has_no_curve_asks_nothing_and_a_step_asks_for_ever() -> None:
    assert factors_of(Ease("hold")) == Factors(0.0, 0.0, 0.0)
    assert factors_of(Ease("linear")) == Factors(1.0, math.inf, math.inf)
    assert {name for name, kind in LAWS.items() if kind.factors is None} == {"bezier", "through", "spline"}
