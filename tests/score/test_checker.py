"""The checker of motion laws finds what a law does not keep, and says it in plain words."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import pytest

from sequencer.score.easing import Drawn, Factors, LawKind, Leg, NoSettings, UnitCurve
from sequencer.score.laws import bezier, cycloidal, linear, poly345, spline, trapezoid
from sequencer.score.laws.bezier import Bezier
from sequencer.score.laws.spline import Spline
from sequencer.score.laws.trapezoid import Trapezoid
from sequencer.testing.laws import check_law

BROKEN = {
    "ends at": UnitCurve(np.array([0.0, 1.0]), np.array([[0.9], [0.0]])),
    "begins at": UnitCurve(np.array([0.0, 1.0]), np.array([[0.9], [0.1]])),
    "value jumps": UnitCurve(np.array([0.0, 0.5, 1.0]), np.array([[1.0, 0.0], [0.0, 1.0]])),
    "speed jumps": UnitCurve(np.array([0.0, 0.5, 1.0]), np.array([[0.5, 1.5], [0.0, 0.25]])),
    "breaks must rise": UnitCurve(np.array([0.0, 1.0, 1.0]), np.array([[1.0, 0.0], [0.0, 1.0]])),
    "no number": UnitCurve(np.array([0.0, 1.0]), np.array([[np.nan], [0.0]])),
    "last break": UnitCurve(np.array([0.0, 0.9]), np.array([[1.0], [0.0]])),
}


@pytest.mark.parametrize("fault", BROKEN)
def test_the_checker_finds_a_broken_law(fault: str) -> None:
    with pytest.raises(AssertionError, match=fault):
        check_law(LawKind("broken", NoSettings, lambda how: BROKEN[fault]))


def test_the_checker_finds_a_law_that_changes_its_mind() -> None:
    speeds = iter((1.0, 1.0 - 1e-12))
    with pytest.raises(AssertionError, match="two different curves"):
        check_law(
            LawKind("moody", NoSettings, lambda how: UnitCurve(np.array([0.0, 1.0]), np.array([[next(speeds)], [0.0]])))
        )


@dataclass(frozen=True)
class Named:
    law: str = "x"


@dataclass(frozen=True)
class Curved:
    how: complex = 1j


@dataclass(frozen=True)
class Listed:
    """A file has lists only: without a type that says so, a tuple comes back as one."""

    parts: object = (0.5, 0.5)


@dataclass
class Loose:
    part: float = 0.5


class Plain:
    pass


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        (Named, "names the law, not a setting"),
        (Curved, "cannot keep its settings"),
        (Listed, "bring its settings back as"),
        (Loose, "must be a frozen dataclass"),
        (Plain, "must be a frozen dataclass"),
        (Bezier, "has settings without defaults; give some"),
    ],
)
def test_the_checker_finds_settings_that_no_file_keeps(settings: type[object], words: str) -> None:
    with pytest.raises(AssertionError, match=words):
        check_law(LawKind("straight", settings, lambda how: linear.curve(NoSettings())))


@pytest.mark.parametrize(
    ("factors", "words"),
    [
        (Factors(15 / 8, 5.7, 60.0), r"its acceleration reaches 5.77.*beyond its factor 5.7"),
        (Factors(15 / 8, 6.0, 60.0), r"its acceleration reaches 5.77.*only, its factor is 6.0"),
        (Factors(15 / 8 * (1 - 1e-8), 6.0, 60.0), "its speed reaches"),
        (Factors(15 / 8, 10 / 3**0.5, np.inf), "its jerk reaches 60"),
    ],
)
def test_the_checker_finds_factors_that_are_not_the_peaks(factors: Factors, words: str) -> None:
    with pytest.raises(AssertionError, match=words):
        check_law(replace(poly345.KIND, factors=lambda how: factors))


@pytest.mark.parametrize("times", [1.03, 2.0])
@pytest.mark.parametrize("order", range(3))
def test_the_checker_finds_too_large_factors_of_a_law_that_is_fitted(times: float, order: int) -> None:
    true = cycloidal.factors(NoSettings())
    wrong = [true.speed, true.acceleration, true.jerk]
    wrong[order] *= times
    with pytest.raises(AssertionError, match=r"reaches .* only, its factor is"):
        check_law(replace(cycloidal.KIND, factors=lambda how: Factors(*wrong)))


def test_the_checker_finds_a_jolt_that_the_factors_hide() -> None:
    with pytest.raises(AssertionError, match=r"its acceleration reaches inf, beyond its factor 1"):
        check_law(LawKind("jolting", NoSettings, linear.curve, lambda how: Factors(1.0, 1.0, np.inf)))


def test_the_checker_finds_a_law_that_runs_otherwise_backward() -> None:
    lopsided = Bezier((0.25, 0.1, 0.25, 1.0))
    with pytest.raises(AssertionError, match=r"backward it is .* away at .*; it needs `reversed`"):
        check_law(replace(bezier.KIND, reversed=None), lopsided)
    with pytest.raises(AssertionError, match=r"backward it is .* away at"):
        check_law(replace(bezier.KIND, reversed=lambda how: Bezier((0.3, 0.1, 0.25, 1.0))), lopsided)
    with pytest.raises(AssertionError, match="backward its settings would be 5"):
        check_law(replace(bezier.KIND, reversed=lambda how: 5), lopsided)


NODES = Spline(((0, 0, 0, 0), (0.25, 3, 1, -2), (1, 0, 5, 0)))


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (lambda whole: replace(whole, coeffs=whole.coeffs + np.eye(6)[:, 5:] * 0.1), "begins at 0.1"),
        (lambda whole: replace(whole, coeffs=whole.coeffs * [1, 0.9]), "the value jumps"),
        (lambda whole: replace(whole, coeffs=whole.coeffs + np.eye(6)[:, 3:4] * [0, 0.01]), "it ends at"),
        (lambda whole: Drawn(np.array([0.0, 0.5, 1.0]), np.array([[0.5, -0.5], [0.0, 0.25]])), "the speed jumps"),
        (
            lambda whole: Drawn(np.array([0.0, 0.5, 1.0]), np.array([[0.5, -1.5], [0.0, 0.5], [0.0, 0.125]])),
            "the acceleration jumps",
        ),
    ],
)
def test_the_checker_finds_a_drawn_curve_that_is_broken(wrong: Callable[[Drawn], Drawn], words: str) -> None:
    kind = replace(spline.KIND, curve=lambda how: wrong(spline.curve(how)))
    with pytest.raises(AssertionError, match=words):
        check_law(kind, NODES)


def test_the_checker_finds_that_many_curves_are_others() -> None:
    for wrong, words in (
        (lambda hows: spline.curves(hows)[:2], "there are 2 curves"),
        (lambda hows: [*spline.curves(hows)[:2], spline.curve(spline.scaled(NODES, 2.0))], "another one"),
    ):
        with pytest.raises(AssertionError, match=words):
            check_law(replace(spline.KIND, curves=wrong), NODES)


def test_the_checker_finds_a_drawn_curve_that_does_not_scale() -> None:
    with pytest.raises(AssertionError, match="needs `scaled`"):
        check_law(replace(spline.KIND, scaled=None), NODES)
    with pytest.raises(AssertionError, match=r"scaled by -1.0 it is"):
        check_law(replace(spline.KIND, scaled=lambda how, factor: how), NODES)
    with pytest.raises(AssertionError, match="nothing to be scaled"):
        check_law(LawKind("straight", NoSettings, linear.curve, scaled=lambda how, factor: how))


@dataclass(frozen=True)
class Open:
    part: float | Literal["limits"] = "limits"


def way_of(how: Open, leg: Leg) -> Open:
    return how if how.part != "limits" else Open(leg.way)


@pytest.mark.parametrize(
    ("suited", "words"),
    [
        (lambda how, leg: how, "still leave something to the limits"),
        (lambda how, leg: NoSettings(), "are not its settings"),
        (way_of, "the way back has other settings"),
        (lambda how, leg: Open(0.5 if how.part == "limits" else how.part / 2), "change when they are suited again"),
    ],
)
def test_the_checker_finds_settings_that_do_not_suit(suited: Callable[[Open, Leg], object], words: str) -> None:
    with pytest.raises(AssertionError, match=words):
        check_law(LawKind("open", Open, lambda how: linear.curve(NoSettings()), suited=suited))


def test_the_checker_finds_written_settings_that_are_changed() -> None:
    kind = replace(trapezoid.KIND, suited=lambda how, leg: Trapezoid(0.5))
    with pytest.raises(AssertionError, match='nothing says "limits"'):
        check_law(kind, Trapezoid(0.25))
