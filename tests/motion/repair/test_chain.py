"""The chain of nodes: its cost, its hull rows, its refinement, against plain quadrature, samples and scipy."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.interpolate import PPoly, make_interp_spline

from sequencer.motion.program import Rows, least
from sequencer.motion.repair.chain import Chain, chain, limits, most_pieces
from sequencer.motion.repair.run import Run, solved
from tests.motion.machines import rig, seeded_keys

Floats = NDArray[np.float64]

FREELY = np.array([np.inf, 1e30, 1e30, 1e30])


def any_chain(seed: int) -> tuple[Chain, Floats]:
    rng = np.random.default_rng(seed)
    lasts_s = np.exp(rng.uniform(-3, 3, 6))
    values = rng.normal(0, 50, 7)
    grid = chain(lasts_s, values, 2 ** rng.integers(0, 4, 6))
    state = rng.normal(0, 10, (len(grid.scale), 3))
    state[grid.key, 0] = values
    return grid, state


def curve(grid: Chain, state: Floats) -> PPoly:
    return PPoly(grid.coeffs(state), grid.since_s)


def test_states_and_variables_are_each_others_inverse_and_no_value_is_rounded() -> None:
    grid, state = any_chain(0)
    back = grid.state(grid.variables(state))
    assert np.array_equal(back[:, 0], state[:, 0])
    assert back == pytest.approx(state, rel=1e-14)


@pytest.mark.parametrize("seed", range(5))
def test_the_cost_is_the_integral_of_squared_jerk(seed: int) -> None:
    grid, state = any_chain(seed)
    run, since_s = curve(grid, state), grid.since_s
    u, weight = np.polynomial.legendre.leggauss(4)  # exact for polynomials of degree 7
    half = np.diff(since_s) / 2
    true = float((weight[:, None] * run(since_s[:-1] + half + half * u[:, None], 3) ** 2 * half).sum())
    x = grid.variables(state)
    own = x[grid.column]
    cost = np.einsum("pi,pij,pj->", own, grid.cost(), own) * grid.unit**2 / grid.pace_s**5
    assert cost == pytest.approx(true, rel=1e-9)
    assert x @ grid.slope(x, grid.cost()) * grid.unit**2 / grid.pace_s**5 == pytest.approx(true, rel=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_what_the_rows_allow_no_sample_breaks(seed: int) -> None:
    """The rows' values at a curve are its Bernstein coefficients: their largest bounds it, and is met at nodes."""
    grid, state = any_chain(seed)
    run, x = curve(grid, state), grid.variables(state)
    for order in range(4):
        low, high = np.full((len(grid.leg), 4), -np.inf), np.full((len(grid.leg), 4), np.inf)
        high[:, order], low[:, order] = 1000.0, -3.0
        rows = grid.hull(low, high)
        value = rows.at(x) / rows.high * 1000
        assert rows.low / rows.high == pytest.approx(np.full(len(rows.low), -3e-3))
        node_s = grid.since_s
        dense = run((node_s[:-1] + np.linspace(0, 1, 50)[:, None] * np.diff(node_s)).ravel(), order)
        slack = 1e-9 * np.abs(dense).max()
        assert dense.max() <= value.max() + slack
        assert dense.min() >= value.min() - slack
        if order < 3:
            at_nodes = np.concatenate((run(node_s[:-1], order), state[-1:, order]))
            assert np.abs(value[:, None] - at_nodes).min(axis=0).max() <= slack


def test_a_shared_end_stands_once_unless_its_bounds_differ() -> None:
    grid = chain(np.array([1.0, 2.0]), np.array([0.0, 1.0, 2.0]), np.array([2, 2]))
    high = np.tile([np.inf, 10.0, 20.0, 30.0], (4, 1))
    assert len(grid.hull(-high, high).low) == (4 * 5 - 3) + (4 * 4 - 3) + 4 * 3
    high[2:, 1] = 5.0
    assert len(grid.hull(-high, high).low) == (4 * 5 - 2) + (4 * 4 - 3) + 4 * 3
    none = np.full((4, 4), np.inf)
    assert len(grid.hull(-none, none).low) == 0


def test_more_pieces_are_the_same_curve() -> None:
    grid, state = any_chain(1)
    finer, found = grid.refined(state, grid.pieces * np.array([1, 2, 4, 1, 8, 2]))
    run = curve(grid, state)
    for order in range(3):
        true = run(finer.since_s, order)
        assert found[:, order] == pytest.approx(true, abs=1e-9 * np.abs(true).max())
    assert np.array_equal(found[finer.key], state[grid.key])
    with pytest.raises(ValueError, match="fewer"):
        finer.refined(found, grid.pieces)


def test_only_powers_of_two_cut_a_leg() -> None:
    with pytest.raises(ValueError, match="1, 2, 4"):
        chain(np.array([1.0]), np.array([0.0, 1.0]), np.array([3]))


def test_a_leg_too_short_to_be_cut_is_left_whole() -> None:
    pieces = most_pieces(np.array([1e-4, 1e-3, 0.04, 0.5, 600.0]), np.array([0.0, 100.0]), 600.0, 32)
    assert pieces.tolist() == [1, 1, 4, 32, 32]


@pytest.mark.parametrize("kind", ["beats", "uneven", "one way", "holds"])
@pytest.mark.parametrize("count", [10, 300])
def test_without_limits_it_is_scipys_quintic_spline(kind: str, count: int) -> None:
    at_s, values = seeded_keys(kind, 3, count)
    found = solved(Run(lasts_s=np.diff(at_s), values=values), -FREELY, FREELY)
    rest = [(1, 0.0), (2, 0.0)]
    spline = make_interp_spline(at_s, values, k=5, bc_type=(rest, rest))  # type: ignore[arg-type]  # takes pairs too
    t_s = np.linspace(0, at_s[-1] - at_s[0], 5001)
    ours = curve(found.chain, found.state)(t_s)
    assert np.abs(ours - spline(t_s + at_s[0])).max() <= 1e-9 * np.ptp(values)


def test_limits_by_order() -> None:
    low, high = limits(rig(1, (-170.0, 90.0)).axes[0])
    assert (low.tolist(), high.tolist()) == ([-170.0, -60.0, -120.0, -600.0], [90.0, 60.0, 120.0, 600.0])
    assert limits(rig().axes[0])[1][0] == np.inf


def test_a_free_variable_without_cost_is_a_bug() -> None:
    nothing = Rows(np.zeros((0, 6)), np.zeros((0, 6), np.int64), np.zeros(0), np.zeros(0))
    with pytest.raises(ValueError, match="cost"):
        least(np.zeros((1, 6, 6)), np.arange(6)[None], np.ones(6, np.bool_), np.zeros(6), nothing)
