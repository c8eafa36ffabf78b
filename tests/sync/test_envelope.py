"""Lines below delays, beside qhull's hulls, HiGHS on the linear program, and quadrature; all through scipy."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import linprog
from scipy.spatial import ConvexHull

from sequencer.sync.envelope import BLOCK_S, BLOCKS, MOST_SKEW, Floor, heights, lines, moments, pairs, put_below


def cloud(
    seed: int, skew: float, seconds: float = 60.0, count: int = 1500
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return times, delays out and delays back of a clock that runs `skew` faster and is 0.25 s ahead at time zero."""
    chance = np.random.default_rng(seed)
    times = np.sort(chance.uniform(0, seconds, count))
    ahead = 0.25 + skew * times
    return times, ahead + 0.01 + chance.exponential(0.05, count), -ahead + 0.01 + chance.uniform(0, 0.1, count)


def floors(times: np.ndarray, out: np.ndarray, back: np.ndarray) -> tuple[Floor, Floor]:
    there, here = Floor(), Floor()
    for t_s, out_s, back_s in zip(times.tolist(), out.tolist(), back.tolist(), strict=True):
        there.add(t_s, out_s)
        here.add(t_s, back_s)
    return there, here


@pytest.mark.parametrize("seed", range(5))
def test_the_hull_is_the_lower_half_of_qhulls_in_whatever_order_points_come(seed: int) -> None:
    chance = np.random.default_rng(seed)
    points = np.column_stack((chance.uniform(0, 10, 400), chance.normal(size=400)))
    hull: list[tuple[float, float]] = []
    for t, d in points.tolist():
        put_below(hull, (t, d))
    whole = points[ConvexHull(points).vertices]  # counterclockwise
    first = int(whole[:, 0].argmin())
    turned = np.roll(whole, -first, axis=0)
    lower = turned[: int(turned[:, 0].argmax()) + 1]
    np.testing.assert_array_equal(hull, lower)


@given(st.lists(st.tuples(st.integers(0, 8), st.integers(0, 8)), min_size=1, max_size=40), st.integers(-5, 5))
def test_no_point_lies_below_a_line_that_touches_the_hull(points: list[tuple[int, int]], slope: int) -> None:
    """Small whole numbers: many points at one time, and many in a row."""
    hull: list[tuple[float, float]] = []
    for t, d in points:
        put_below(hull, (float(t), float(d)))
    assert heights(hull, [float(slope)], 3.0) == [min(d - slope * (t - 3) for t, d in points)]
    assert hull == sorted(hull)


@pytest.mark.parametrize("skew", [-100e-6, 30e-6])
@pytest.mark.parametrize("seed", range(3))
def test_the_likeliest_pair_solves_the_linear_program(seed: int, skew: float) -> None:
    """Source: Moon, Skelly, Towsley, INFOCOM 1999: the line below all points with the least sum of distances."""
    times, out, back = cloud(seed, skew)
    there, here = floors(times, out, back)
    n = len(times)
    weigh_out, weigh_back = 1 / there.spread_s, 1 / here.spread_s
    ones, none = np.ones(n), np.zeros(n)
    # skew, height out, height back: as high as can be, so that no delay is below
    best = linprog(
        -np.array([weigh_out * times.sum() - weigh_back * times.sum(), n * weigh_out, n * weigh_back]),
        A_ub=np.vstack((np.column_stack((times, ones, none)), np.column_stack((-times, none, ones)))),
        b_ub=np.concatenate((out, back)),
        bounds=[(-MOST_SKEW, MOST_SKEW), (None, None), (None, None)],
        method="highs",
    )
    assert best.status == 0
    ours = max(pairs(there, here, 0.0), key=lambda one: one.likely)
    assert (ours.skew, ours.out_s, ours.back_s) == pytest.approx(tuple(np.array(best.x)), rel=1e-6, abs=1e-9)


def test_means_and_variances_are_those_of_quadrature() -> None:
    times, out, back = cloud(7, 40e-6, 10.0, 300)
    found = pairs(*floors(times, out, back), 10.0)
    tried = [(one.likely, one.skew, (one.out_s - one.back_s) / 2) for one in found]
    offset, skew, variances = moments(tried)
    likely, skews, offsets = (np.array(column) for column in zip(*tried, strict=True))

    def mean(of: np.ndarray, times: np.ndarray) -> float:
        def part(x: float) -> float:
            product = np.interp(x, skews, of) * np.interp(x, skews, times)
            return float(product * np.exp(np.interp(x, skews, likely) - likely.max()))

        return sum(quad(part, a, b)[0] for a, b in pairwise(skews.tolist()))

    one = np.ones(len(skews))
    whole = mean(one, one)
    assert offset == pytest.approx(mean(offsets, one) / whole, abs=1e-9)
    assert skew == pytest.approx(mean(skews, one) / whole, abs=1e-12)
    apart, faster = offsets - offset, skews - skew
    expected = mean(apart, apart) / whole, mean(apart, faster) / whole, mean(faster, faster) / whole
    assert variances == pytest.approx(expected, rel=1e-5)


def test_what_is_older_than_three_minutes_is_forgotten_and_no_more_is_kept() -> None:
    chance = np.random.default_rng(3)
    floor = Floor()
    most = 0
    for t_s in np.arange(0, 1000, 0.05):
        # the way was shorter once
        floor.add(float(t_s), float(chance.uniform(0, 0.1)) + (0.0 if t_s < 100 else 0.01))
        most = max(most, len(floor.hull))
    kept_s = BLOCK_S * BLOCKS
    assert floor.hull[0][0] >= 1000 - kept_s - BLOCK_S
    assert min(d for _, d in floor.hull) >= 0.01
    assert floor.count <= kept_s / 0.05 + 1
    assert most < 40


def test_how_sparse_delays_are_is_told_by_their_mean_above_the_line_where_the_floor_is_dense() -> None:
    times, out, back = cloud(4, 20e-6, 9.0, 3000)
    there, here = floors(times, out, back)
    lines(there, here, 9.0)
    # one and a half times the mean, as the module says; both clouds have one of 50 ms
    assert (there.spread_s, here.spread_s) == pytest.approx((0.075, 0.075), rel=0.06)


def test_nothing_measured_says_nothing() -> None:
    with pytest.raises(ValueError, match="no delay"):
        lines(Floor(), Floor(), 0.0)
