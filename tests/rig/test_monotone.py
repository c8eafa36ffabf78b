"""The curve through a table's points, against scipy's; and backwards."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from sequencer.rig.monotone import Curve

rises = st.lists(st.floats(1e-3, 1e3), min_size=1, max_size=12).map(lambda steps: np.cumsum([0.0, *steps]))


@st.composite
def tables(draw: st.DrawFn, *, one_way: bool) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return x that rises, and y that rises, falls, or does as it likes."""
    x = draw(rises) + draw(st.floats(-100, 100))
    if one_way:
        y = np.cumsum(draw(st.lists(st.floats(1e-3, 1e3), min_size=len(x), max_size=len(x))))
        y = y * draw(st.sampled_from([1.0, -1.0]))
    else:
        y = np.array(draw(st.lists(st.integers(-(10**6), 10**6), min_size=len(x), max_size=len(x)))) / 1000
    return tuple(x.tolist()), tuple(y.tolist())


@given(tables(one_way=False))
def test_it_is_the_shape_preserving_cubic_of_scipy(table: tuple[tuple[float, ...], tuple[float, ...]]) -> None:
    x, y = table
    at = np.linspace(x[0], x[-1], 101)
    theirs = PchipInterpolator(x, y)(at)
    assert Curve(x, y).at(at) == pytest.approx(theirs, rel=1e-9, abs=1e-9 * max(1.0, *map(abs, y)))


@given(tables(one_way=False), st.lists(st.floats(-300, 15_000), min_size=1))
def test_one_place_is_as_many_at_once(table: tuple[tuple[float, ...], tuple[float, ...]], at: list[float]) -> None:
    curve = Curve(*table)
    assert [float(curve.at(one)) for one in at] == curve.at(np.array(at)).tolist()
    assert np.isnan(curve.at(np.nan))
    assert np.isnan(curve.at(np.array([np.nan])))


@given(tables(one_way=True), st.floats(0, 1))
def test_it_goes_one_way_as_its_points_do(table: tuple[tuple[float, ...], tuple[float, ...]], part: float) -> None:
    curve = Curve(*table)
    values = curve.at(np.linspace(curve.x[0], curve.x[-1], 201))
    steps = np.diff(values) * (1 if curve.rises else -1)
    assert steps.min() >= -1e-12 * max(map(abs, curve.y))


@given(tables(one_way=True), st.floats(0, 1))
def test_the_inverse_brings_back_the_value(table: tuple[tuple[float, ...], tuple[float, ...]], part: float) -> None:
    curve = Curve(*table)
    y = curve.y[0] + part * (curve.y[-1] - curve.y[0])
    assume(min(curve.y) <= y <= max(curve.y))
    x = curve.inverse(y)
    assert curve.x[0] <= x <= curve.x[-1]
    # the neighbouring floats of x give values on both sides of y, or no nearer ones
    low, here, high = (float(curve.at(one)) for one in (np.nextafter(x, -np.inf), x, np.nextafter(x, np.inf)))
    rounding = 1e-13 * max(map(abs, curve.y))
    assert abs(here - y) <= max(abs(low - here), abs(high - here)) + rounding


@given(tables(one_way=True))
def test_its_points_are_exact_both_ways(table: tuple[tuple[float, ...], tuple[float, ...]]) -> None:
    curve = Curve(*table)
    assert curve.at(np.array(curve.x)).tolist() == list(curve.y)
    assert [curve.inverse(y) for y in curve.y] == list(curve.x)


def test_beyond_its_ends_it_holds_and_has_no_inverse() -> None:
    curve = Curve((0.0, 1.0, 3.0), (5.0, 4.0, 1.0))
    assert curve.at([-1.0, 9.0]).tolist() == [5.0, 1.0]
    for y in (5.001, 0.999, np.nan):
        with pytest.raises(ValueError, match="outside of"):
            curve.inverse(y)


def test_points_whose_x_does_not_rise_are_refused() -> None:
    for x in ((), (1.0, 1.0), (2.0, 1.0)):
        with pytest.raises(ValueError, match="x rises"):
            Curve(x, x)
