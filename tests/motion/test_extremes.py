"""The extremes of pieces of any degree, against dense samples and numpy's own roots."""

import numpy as np
import pytest
from numpy.polynomial import Chebyshev, Polynomial

from sequencer.motion.extremes import Extremes, shifted, zeros


def pieces(size: int, count: int, seed: int) -> np.ndarray:
    """Return `count` polynomials that swing over all of [0, 1]. Shape: (size, count)."""
    rng = np.random.default_rng(seed)
    series = rng.normal(0, 1, (size, count)) / np.arange(1, size + 1)[:, None]
    powers = [Chebyshev(one, domain=[0, 1]).convert(domain=[-1, 1], kind=Polynomial).coef for one in series.T]
    return np.array([np.pad(one, (0, size - len(one)))[::-1] for one in powers]).T


@pytest.mark.parametrize("size", [1, 2, 3, 4, 6, 8, 11, 16])
def test_each_pieces_extremes_are_those_of_dense_samples(size: int) -> None:
    coeffs = pieces(size, 60, size)
    lasts_s = np.full(60, 2.0)
    in_seconds = coeffs / 2.0 ** np.arange(size - 1, -1, -1)[:, None]
    found = Extremes.of(np.full(60, 5.0), lasts_s, in_seconds, np.arange(61))
    u = np.linspace(0, 1, 20_001)
    for number in range(60):
        curve = Polynomial(coeffs[::-1, number])
        # rounding of a power basis grows with its coefficients
        slack = 1e-14 * np.abs(coeffs[:, number]).sum()
        for order in range(4):
            values = curve.deriv(order)(u) / 2.0**order if order else curve(u)
            size_of = max(np.abs(values).max(), 1e-300)
            near = 1e-3 * size_of if size > 8 else 1e-5 * size_of  # what samples this far apart may miss
            if order == 0:
                assert found.high[number] >= values.max() - slack
                assert found.low[number] <= values.min() + slack
                assert found.high[number] == pytest.approx(values.max(), abs=near)
                assert found.low[number] == pytest.approx(values.min(), abs=near)
            else:
                slack *= size**2
                peak, at_u = found.peak[order - 1, number], (found.peak_at[order - 1, number] - 5) / 2
                assert peak >= size_of - slack or size_of < 1e-200
                assert peak == pytest.approx(size_of, abs=near + slack)
                assert abs(curve.deriv(order)(at_u)) / 2.0**order == pytest.approx(peak, rel=1e-7, abs=slack)


def test_zeros_are_numpys_roots() -> None:
    for size in (2, 3, 4, 6, 8, 10):
        coeffs = pieces(size, 40, size + 100)
        found = zeros(coeffs)
        assert np.all(np.diff(found, axis=0) >= 0)
        for number in range(40):
            roots = Polynomial(coeffs[::-1, number]).roots()
            real = np.sort(roots[np.abs(roots.imag) < 1e-9].real)
            for root in real[(real > 1e-6) & (real < 1 - 1e-6)]:
                assert np.abs(found[:, number] - root).min() < 1e-8


def test_stretches_join_their_pieces_and_say_where_they_jump() -> None:
    # up by 2 u, down again by 3 u from 1.5, and a stretch of its own
    coeffs = np.array([[2.0, -3.0, 1.0], [0.0, 1.5, 10.0]])
    found = Extremes.of(np.array([0.0, 1.0, 0.0]), np.array([1.0, 0.5, 4.0]), coeffs, np.array([0, 2, 3]))
    assert found.peak[0].tolist() == [3.0, 1.0]
    assert found.peak_at[0].tolist() == [1.0, 0.0]
    assert found.high.tolist() == [2.0, 14.0]
    assert found.low.tolist() == [0.0, 10.0]
    assert found.step[:, 0].tolist() == [0.5, 5.0, 0.0]
    assert found.step_at[:2, 0].tolist() == [1.0, 1.0]
    assert found.step[:, 1].tolist() == [0.0, 0.0, 0.0]
    assert (found.begin[0].tolist(), found.end[0].tolist()) == ([0.0, 10.0], [0.0, 14.0])
    apart = Extremes.of(
        np.array([0.0, 1.0]), np.array([1.0, 0.5]), coeffs[:, :2], np.array([0, 2]), np.array([True, False])
    )
    assert apart.step[:, 0].tolist() == [0.0, 0.0, 0.0]


def test_a_triple_zero_of_the_speed_is_no_trap() -> None:
    """The speed (u - 1/2)**3 has its zero where its own slope has two: the position's least is there."""
    coeffs = np.array([[0.25], [-0.5], [0.375], [-0.125], [0.0]])
    found = Extremes.of(np.zeros(1), np.ones(1), coeffs, np.array([0, 1]))
    assert found.low[0] == pytest.approx(-(0.5**4) / 4, abs=1e-16)
    assert found.low_at[0] == pytest.approx(0.5, abs=1e-3)


def test_shifted_polynomials_are_the_same() -> None:
    coeffs = pieces(6, 20, 3)
    by = np.linspace(-1, 1, 20)
    moved = shifted(coeffs, by)
    for number in range(20):
        u = np.linspace(0, 1, 11)
        assert np.polyval(moved[:, number], u) == pytest.approx(
            np.polyval(coeffs[:, number], u + by[number]), abs=1e-10
        )
