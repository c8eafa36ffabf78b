"""Which stretches break a limit: told by hulls, quarters and roots alike, as dense samples and exact roots tell."""

import numpy as np
import pytest
from scipy.interpolate import BPoly, PPoly

from sequencer.motion.extremes import Extremes
from sequencer.motion.repair.excess import beyond, broken, hulls


@pytest.mark.parametrize("size", [4, 6, 14])
def test_hulls_are_scipys_bernstein_coefficients(size: int) -> None:
    rng = np.random.default_rng(size)
    width_s = rng.uniform(0.1, 3, 5)
    coeffs = rng.normal(size=(size, 5))
    curve = PPoly(coeffs, np.append(0, np.cumsum(width_s)))
    for order, hull in enumerate(hulls(coeffs, width_s)):
        expected = BPoly.from_power_basis(curve.derivative(order)).c
        np.testing.assert_allclose(hull, expected, rtol=1e-9, atol=1e-9 * np.abs(expected).max())


@pytest.mark.parametrize("size", [4, 6, 14])
@pytest.mark.parametrize("beside", [-1e-7, -2e-9, 2e-9, 1e-7, 1e-2])
def test_a_stretch_is_broken_exactly_where_its_extreme_is_beyond(size: int, beside: float) -> None:
    """The limit of each order in turn is set just beside the extreme of one stretch of three pieces."""
    rng = np.random.default_rng(7)
    width_s = rng.uniform(0.2, 2, 30)
    coeffs = rng.normal(size=(size, 30))
    first = np.arange(0, 31, 3)
    found = Extremes.of(np.zeros(30), width_s, coeffs, first, np.zeros(30, np.bool_))
    for stretch in range(10):
        for order in range(1, 4):
            high = np.full(4, 1e30)
            high[order] = found.peak[order - 1, stretch] * (1 - beside)
            high[0] = np.inf
            told = broken(coeffs, width_s, first, -high, high)
            np.testing.assert_array_equal(told, beyond(found, -high, high) > 1e-9)
            assert told[stretch] == (beside > 1e-9)


def test_travel_is_kept_between_nodes_too() -> None:
    # 4 u (1 - u) rises to 1 in its middle
    coeffs, width_s, first = np.array([[0.0], [-4.0], [4.0], [0.0]]), np.ones(1), np.array([0, 1])
    for top, wrong in ((1.01, False), (1 + 1e-12, False), (1 - 1e-6, True), (0.5, True)):
        low, high = np.array([0.0, -1e9, -1e9, -1e9]), np.array([top, 1e9, 1e9, 1e9])
        assert broken(coeffs, width_s, first, low, high).tolist() == [wrong]
