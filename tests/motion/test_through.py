"""Smooth runs: no overshoot, no jump, least jerk, and a failure that is said."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import sparse
from scipy.interpolate import PPoly, make_interp_spline
from scipy.optimize import nnls

from sequencer.errors import ProjectError
from sequencer.motion import program, through
from sequencer.motion.compile import compile_move
from sequencer.motion.program import Unsolved
from sequencer.motion.through import smooth_run
from sequencer.score.fit import hermite
from sequencer.score.move import Move
from tests.motion.machines import LAWS, SECONDS, rig, seeded_keys, track

Floats = NDArray[np.float64]
Matrix = sparse.csc_matrix[np.float64]
Between = tuple[Floats | None, Floats | None]


def jerk_cost(breaks_s: Floats, coeffs: Floats) -> float:
    """The integral of squared jerk, by Gauss-Legendre points that are exact for it."""
    u, weight = np.polynomial.legendre.leggauss(4)
    half = np.diff(breaks_s) / 2
    jerk = PPoly(coeffs, breaks_s)(breaks_s[:-1] + half + half * u[:, None], nu=3)
    return float((weight[:, None] * jerk**2 * half).sum())


@pytest.mark.parametrize("kind", ["beats", "uneven", "one way", "holds"])
def test_no_seeded_track_overshoots_a_key(kind: str) -> None:
    for seed in range(100):
        at_s, values = seeded_keys(kind, seed)
        move = Move(tracks=(track([float(t) for t in at_s], values.tolist(), "through"),))
        breaks_s, coeffs = compile_move(rig(), move, SECONDS, LAWS).of(0)
        curve = PPoly(coeffs, breaks_s)
        u = np.linspace(0, 1, 60)
        for leg in range(len(at_s) - 1):
            inside = curve(at_s[leg] + (at_s[leg + 1] - at_s[leg]) * u[:-1])
            low, high = sorted(values[leg : leg + 2])
            slack = 1e-9 * np.ptp(values)
            assert inside.min() >= low - slack, (kind, seed, leg)
            assert inside.max() <= high + slack, (kind, seed, leg)
        for order, unit in ((0, 1.0), (1, 10.0), (2, 100.0)):
            left = curve(np.nextafter(breaks_s[1:-1], -np.inf), nu=order)
            right = curve(breaks_s[1:-1], nu=order)
            assert left == pytest.approx(right, abs=1e-9 * np.ptp(values) * unit)


def test_where_nothing_overshoots_it_is_the_smoothest_spline_of_scipy() -> None:
    """Two nodes a leg on a gentle S: the run can be at most as smooth as the quintic spline through the same nodes."""
    at_s = np.array([0.0, 1.0, 2.0, 3.0, 4.0])
    values = np.array([0.0, 2.0, 10.0, 18.0, 20.0])
    rest = [(1, 0.0), (2, 0.0)]
    spline = make_interp_spline(at_s, values, k=5, bc_type=(rest, rest))  # type: ignore[arg-type]  # takes pairs too
    u = np.linspace(0, 4, 401)
    assert spline(u, 1).min() > -1e-9, "the case must not touch the constraint"
    breaks_s, coeffs = smooth_run(at_s, values)
    assert PPoly(coeffs, breaks_s)(u) == pytest.approx(spline(u), abs=1e-6)


def test_a_single_leg_is_the_345_polynomial() -> None:
    breaks_s, coeffs = smooth_run(np.array([1.0, 3.0]), np.array([5.0, -5.0]))
    u = np.linspace(0, 1, 101)
    expected = 5 - 10 * (10 * u**3 - 15 * u**4 + 6 * u**5)
    assert PPoly(coeffs, breaks_s)(1 + 2 * u) == pytest.approx(expected, abs=1e-8)


@pytest.mark.parametrize("seed", range(6))
def test_no_smoother_run_exists_on_the_same_nodes(seed: int) -> None:
    """Four keys, one turning. The problem is convex, so the Kuhn-Tucker conditions prove the optimum.

    The slope of the cost must be a sum, with no negative weight, of the constraints that touch: scipy's `nnls`.
    """
    rng = np.random.default_rng(seed)
    at_s = np.cumsum([0.0, *rng.uniform(0.7, 1.5, 3)])
    values = np.array([0.0, *np.cumsum(rng.uniform(2, 9, 2)), 1.0])
    nodes = np.sort(np.concatenate((at_s, (at_s[:-1] + at_s[1:]) / 2)))
    way = np.repeat(np.sign(np.diff(values)), 2)

    def pieces(x: Floats) -> Floats:
        p, v, a = np.empty(7), np.zeros(7), np.zeros(7)
        p[::2], p[1::2] = values, x[:3]
        v[[1, 2, 3, 5]], a[1:6] = x[3:7], x[7:12]  # at rest at both ends and not moving at the turning key, node 4
        return hermite(nodes, p, v, a)

    def hull(x: Floats) -> Floats:
        """Speed's Bernstein coefficients from its power form, by the textbook formula."""
        width = np.diff(nodes)
        power = pieces(x)[:5] * np.array([5, 4, 3, 2, 1])[:, None] * width ** np.arange(4, -1, -1)[:, None]
        rows = [sum(_binomial(i, j) / _binomial(4, j) * power[4 - j] for j in range(i + 1)) for i in range(5)]
        return np.asarray(np.array(rows) * way, np.float64).ravel()

    found_s, coeffs = smooth_run(at_s, values)
    run = PPoly(coeffs, found_s)
    x = np.concatenate((run(nodes[1::2]), run(nodes[[1, 2, 3, 5]], 1), run(nodes[1:6], 2)))
    assert pieces(x) == pytest.approx(coeffs, rel=1e-7, abs=1e-7)
    steps = np.eye(12)
    # exact for a quadratic: the difference over a step either way
    slope = np.array([(jerk_cost(nodes, pieces(x + each)) - jerk_cost(nodes, pieces(x - each))) / 2 for each in steps])
    rows = np.stack([hull(x + each) - hull(x) for each in steps], axis=1)
    touching = hull(x) < 1e-6
    assert hull(x).min() >= -1e-9
    _, left = nnls(rows[touching].T, slope)
    start = np.concatenate(((values[:-1] + values[1:]) / 2, np.zeros(9)))
    unsolved = np.array(
        [jerk_cost(nodes, pieces(start + each)) - jerk_cost(nodes, pieces(start - each)) for each in steps]
    )
    assert left <= 1e-6 * np.linalg.norm(unsolved)


def _binomial(n: int, k: int) -> float:
    return float(np.prod([(n - i) / (k - i) for i in range(k)])) if k else 1.0


def test_a_frame_between_seconds_is_no_trouble() -> None:
    at_s = np.array([0.0, 5.0, 5.04, 12.0, 12.04, 20.0])
    breaks_s, coeffs = smooth_run(at_s, np.array([0.0, 20.0, 20.5, 3.0, 2.0, -30.0]))
    assert PPoly(coeffs, breaks_s)(at_s[:-1]) == pytest.approx([0.0, 20.0, 20.5, 3.0, 2.0], abs=0)


def test_seconds_between_hours_are_no_trouble() -> None:
    rng = np.random.default_rng(0)
    for _ in range(100):
        legs = int(rng.integers(2, 7))
        lasts_s = np.where(rng.random(legs) < 0.4, 1.0, 3000 * rng.uniform(0.3, 1, legs))
        at_s, values = np.cumsum([0.0, *lasts_s]), np.cumsum([0.0, *rng.normal(0, 10, legs)])
        breaks_s, coeffs = smooth_run(at_s, values)
        curve = PPoly(coeffs, breaks_s)
        inside = curve(at_s[:-1] + np.linspace(0, 1, 60)[:, None] * lasts_s)
        slack = 1e-9 * np.ptp(values)
        assert (inside >= np.minimum(values[:-1], values[1:]) - slack).all()
        assert (inside <= np.maximum(values[:-1], values[1:]) + slack).all()


@pytest.mark.parametrize("off", [1e-6, np.nan])
def test_an_answer_that_turns_back_is_not_passed_on(off: float, monkeypatch: pytest.MonkeyPatch) -> None:
    found = program.solve

    def a_little_off(cost: Matrix, pull: Floats, hull: Matrix, between: Between, bounds: Floats) -> Floats:
        x = found(cost, pull, hull, between, bounds)
        return np.asarray(x - off * np.sign(hull.sum(axis=0)), np.float64).ravel()

    at_s, values = np.array([0.0, 1.0, 2.0, 3.0]), np.array([0.0, 5.0, 5.1, 0.0])
    smooth_run(at_s, values)
    monkeypatch.setattr(through, "solve", a_little_off)
    with pytest.raises(Unsolved, match="turns by"):
        smooth_run(at_s, values)


def test_what_cannot_be_solved_is_said_with_its_place() -> None:
    at_s = [0.0, 10.0, 10.00001, 20.0, 30.0, 30.00001, 40.0]
    values = [0.0, 50.0, -50.0, 30.0, 10.0, 90.0, 0.0]
    with pytest.raises(Unsolved):
        smooth_run(np.array(at_s), np.array(values))
    move = Move(tracks=(track([0, 1], [0, 1], "linear"), track([-2, -1, *at_s], [0, 0, *values], "through", "pan1")))
    with pytest.raises(ProjectError) as refused:
        compile_move(rig(2), move, SECONDS, LAWS)
    assert refused.value.path == "tracks[1].keys[2].ease"
    assert "through 6 legs" in refused.value.what
    assert "keys apart" in refused.value.mend


@pytest.mark.parametrize("step", [1e-45, 1e-12, 3e-10])
def test_a_leg_that_hardly_goes_anywhere_rests_at_its_ends(step: float) -> None:
    breaks_s, coeffs = smooth_run(np.array([0.0, 12.0, 12.5, 14.0]), np.array([0.0, step, 1.0, 2.0]))
    curve = PPoly(coeffs, breaks_s)
    assert curve(12.0, 1) == pytest.approx(0, abs=1e-12)
    assert curve(12.5, 1) > 0.5
    assert (np.diff(curve(np.linspace(0, 14, 2001))) >= -1e-12).all()


def test_a_stop_between_legs_of_one_direction_is_a_rest_that_the_solver_need_not_find() -> None:
    at_s, values = np.array([0.0, 0.21, 3.935, 4.5, 4.7, 4.9]), np.array([-27.5, -0.25, 0.0, 3.75, 0.0, 73.5])
    breaks_s, coeffs = smooth_run(at_s, values, ("hold", "stop", "pass", "pass", "pass", "pass"))
    curve = PPoly(coeffs, breaks_s)
    assert curve(0.21, 1) == pytest.approx(0, abs=1e-9)
    assert curve(0.21, 2) == pytest.approx(0, abs=1e-9)
