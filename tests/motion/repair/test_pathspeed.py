"""The least time along a path, beside toppra (speed and acceleration), Clarabel (the bounded problem) and ruckig."""

import logging
from itertools import pairwise

import clarabel
import numpy as np
import pytest
import toppra
from numpy.typing import NDArray
from ruckig import InputParameter, Result, Ruckig, Trajectory
from scipy import sparse
from scipy.interpolate import PPoly
from toppra import algorithm, constraint

from sequencer.motion.repair.banded import Rows, fastest
from sequencer.motion.repair.line import walked
from sequencer.motion.repair.pathspeed import (
    SITES,
    Path,
    acceleration_rows,
    guess,
    jerk_rows,
    lasts,
    least_time,
    steadied,
)
from sequencer.motion.through import smooth_run
from tests.motion.machines import seeded_keys
from tests.motion.repair.turns import best_of_ruckigs, turns_of

Floats = NDArray[np.float64]

LIMITS = np.array([60.0, 120.0, 600.0])


def curves(seed: int, axes: int, keys: int = 10) -> tuple[Floats, list[PPoly]]:
    """Smooth runs of several axes through keys at the same instants."""
    at_s, values = seeded_keys("beats", seed, keys)
    runs = [values]
    for axis in range(1, axes):
        rng = np.random.default_rng(1000 * seed + axis)
        runs.append(np.append(0, np.cumsum(rng.normal(0, 20, keys - 1) * np.sqrt(np.diff(at_s)))))
    return at_s, [PPoly(*smooth_run(at_s, each)[::-1]) for each in runs]


def path(at_s: Floats, each: list[PPoly], nodes: int) -> Path:
    u = np.append(
        np.concatenate([np.linspace(a, b, nodes, endpoint=False) for a, b in pairwise(at_s)]),
        at_s[-1],
    )
    sites = u[:-1] + SITES[:, None] * np.diff(u)
    sites[-1] = np.nextafter(u[1:], -np.inf)
    slope, bend, third = (np.stack([curve(sites, order) for curve in each], axis=1) for order in (1, 2, 3))
    for end in (slope, bend):
        end[0, :, 0] = end[-1, :, -1] = 0
    return Path(u, np.array([0]), slope, bend, third, np.tile(LIMITS[:, None], (1, len(each))))


def line(way: float, nodes: int = 200) -> Path:
    """The 3-4-5 leg of a single axis: its path is a straight line."""
    return path(np.array([0.0, 5.0]), [PPoly(*smooth_run(np.array([0.0, 5.0]), np.array([0.0, way]))[::-1])], nodes)


@pytest.mark.parametrize(("seed", "axes"), [(1, 2), (2, 16), (3, 4)])
def test_speed_and_acceleration_take_as_long_as_toppra_says(seed: int, axes: int) -> None:
    """Pham & Pham 2018 (toppra), on the same grid, with the speed 1 at both ends.

    On a coarse grid toppra's answer is legal for our rows, but up to 3 in a thousand longer: it goes as fast as it can
    at each node, which is not always the fastest as a whole.
    """
    logging.getLogger("toppra").setLevel(logging.ERROR)
    at_s, each = curves(seed, axes)
    along = path(at_s, each, 60)
    rows = acceleration_rows(along)
    rows.most[[0, -1]] = 1.0
    ours = float(rows.lasts(fastest(rows, guess(along)[0][1:], 1e-6, lambda _: None)).sum())
    theirs = toppras(at_s, each, along.at)
    assert np.abs(rows.asked(theirs**2)).max() <= 1 + 1e-6
    assert ours == pytest.approx(float((2 * np.diff(along.at) / (theirs[:-1] + theirs[1:])).sum()), rel=1e-4)


def toppras(at_s: Floats, each: list[PPoly], grid: Floats) -> Floats:
    """The path speed at the nodes of the grid that toppra finds."""

    class Curve(toppra.interpolator.AbstractGeometricPath):  # type: ignore[misc]  # toppra has no types
        dof = len(each)
        path_interval = (at_s[0], at_s[-1])

        def __call__(self, u: Floats, order: int = 0) -> Floats:
            return np.stack([curve(u, order) for curve in each], axis=-1)

    either_way = np.tile([[-1.0, 1.0]], (len(each), 1))
    limits = [
        constraint.JointVelocityConstraint(LIMITS[0] * either_way),
        constraint.JointAccelerationConstraint(
            LIMITS[1] * either_way, discretization_scheme=constraint.DiscretizationType.Interpolation
        ),
    ]
    _, speeds, _ = algorithm.TOPPRA(limits, Curve(), gridpoints=grid).compute_parameterization(1, 1)
    return np.asarray(speeds, np.float64)


@pytest.mark.parametrize("way", [0.5, 30.0, 90.0, 300.0])
def test_a_straight_line_takes_as_long_as_ruckig_says(way: float) -> None:
    """Berscheid & Kroeger 2021: time-optimal from rest to rest with jerk."""
    along = line(way, 300)
    lasts_s = float(lasts(along, least_time(along, accuracy=1e-5)).sum())
    wanted = InputParameter(1)
    wanted.target_position = [way]
    wanted.max_velocity, wanted.max_acceleration, wanted.max_jerk = [60.0], [120.0], [600.0]
    best = Trajectory(1)
    assert Ruckig(1).calculate(wanted, best) == Result.Working
    assert 0.998 * best.duration <= lasts_s <= 1.001 * best.duration


@pytest.mark.parametrize(("seed", "axes"), [(0, 1), (1, 2), (2, 16)])
def test_the_answer_keeps_its_rows_and_clarabel_finds_nothing_better_within_its_bounds(seed: int, axes: int) -> None:
    """An independent solver of second-order cones, on the problem that is bounded at our answer."""
    along = path(*curves(seed, axes), 20)
    rows = steadied(jerk_rows(along), along)
    b = least_time(along, accuracy=1e-6)
    assert (np.abs(rows.asked(b)) <= rows.room(b) * (1 + 1e-12)).all()
    ours = float(rows.lasts(b).sum())
    assert bounded_optimum(rows, b) == pytest.approx(ours, rel=1e-4)


def bounded_optimum(rows: Rows, b: Floats) -> float:
    """Minimise the sum of 2 weight d, d >= 1/(c + c'), c**2 <= x, with the room of order three as its tangent at b.

    x is measured in parts of b.
    """
    size, count = len(b), len(rows.centre)
    nodes = np.arange(size)
    beside = np.stack((rows.centre - 1, rows.centre, rows.centre + 1))
    which, column = np.nonzero(((beside >= 0) & (beside < size) & (rows.coef != 0)).T)
    asked = sparse.csr_matrix(
        (rows.coef.T[which, column] * b[beside.T[which, column]], (which, beside.T[which, column])), shape=(count, size)
    )
    at = rows.mixed(b)
    room = np.where(rows.third, 1.5 * at**-0.5, 1.0)
    third, column = np.nonzero((rows.mix * rows.third).T)
    place = beside.T[third, column]
    falls = sparse.csr_matrix(
        (-0.5 * at[third] ** -1.5 * rows.mix.T[third, column] * b[place], (third, place)), shape=(count, size)
    )
    bound = np.flatnonzero(np.isfinite(rows.most))
    bounds = sparse.csr_matrix((b[bound], (np.arange(len(bound)), bound)), shape=(len(bound), size))
    unit = np.sqrt(b)
    pairs = np.arange(size - 1)
    roots = 3 * nodes
    cones_c = [
        sparse.csr_matrix((np.full(size, each), (roots + row, nodes)), shape=(3 * size, size))
        for row, each in ((0, -1.0), (1, -1.0))
    ]
    x_part = sparse.vstack([asked - falls, -asked - falls, bounds, cones_c[0] + cones_c[1]])
    double = sparse.csr_matrix((np.full(size, -2.0), (roots + 2, nodes)), shape=(3 * size, size))
    sums = sparse.csr_matrix((unit[:-1], (pairs, pairs)), shape=(size - 1, size)) + sparse.csr_matrix(
        (unit[1:], (pairs, pairs + 1)), shape=(size - 1, size)
    )
    spread = [
        sparse.csr_matrix((np.ones(size - 1), (3 * pairs + row, pairs)), shape=(3 * (size - 1), size - 1))
        for row in (0, 1)
    ]
    above = 2 * count + len(bound)
    matrix = sparse.bmat(
        [
            [x_part, sparse.vstack([sparse.csr_matrix((above, size)), double]), None],
            [None, -(spread[0] + spread[1]) @ sums, spread[1] - spread[0]],
        ]
    )
    right = np.concatenate(
        (room, room, rows.most[bound], np.tile([1.0, -1.0, 0.0], size), np.tile([0.0, 0.0, 2.0], size - 1))
    )
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    cones = [clarabel.NonnegativeConeT(above)] + [clarabel.SecondOrderConeT(3)] * (2 * size - 1)
    pull = np.concatenate((np.zeros(2 * size), 2 * rows.weight))
    none = sparse.csc_matrix((len(pull), len(pull)))
    found = clarabel.DefaultSolver(none, pull, sparse.csc_matrix(matrix), right, cones, settings).solve()
    assert found.status in (clarabel.SolverStatus.Solved, clarabel.SolverStatus.AlmostSolved)
    return float(found.obj_val)


def test_a_sum_of_axes_is_one_more_row() -> None:
    """Two axes that go the same way, their sum limited to what one may do: twice the time for what speed limits."""
    alone = line(300.0)
    slope, bend, third = (np.concatenate((each, 2 * each), axis=1) for each in (alone.slope, alone.bend, alone.third))
    both = Path(alone.at, alone.first, slope, bend, third, np.tile(LIMITS[:, None], (1, 2)))
    double = line(600.0)
    lasts_s = [float(lasts(each, least_time(each)).sum()) for each in (both, double)]
    assert lasts_s[0] == pytest.approx(lasts_s[1], rel=1e-3)


def test_two_parts_are_solved_each_by_itself() -> None:
    one, two = line(30.0), line(90.0)
    joined = Path(
        np.concatenate((one.at, two.at + 5)),
        np.array([0, len(one.at)]),
        np.concatenate((one.slope, two.slope), axis=2),
        np.concatenate((one.bend, two.bend), axis=2),
        np.concatenate((one.third, two.third), axis=2),
        one.limits,
    )
    lasts_s = lasts(joined, least_time(joined))
    for each, span in ((one, slice(0, len(one.at) - 1)), (two, slice(len(one.at) - 1, None))):
        assert lasts_s[span].sum() == pytest.approx(lasts(each, least_time(each)).sum(), rel=1e-3)


def test_the_spline_of_b_is_smooth_and_its_derivatives_are_its_own() -> None:
    along = path(*curves(3, 2), 7)
    coefs = np.exp(np.random.default_rng(0).normal(0, 0.3, len(along.at) + 1))
    before, after = along.spread(coefs, np.array([0.0, 1.0]))[:2].transpose(1, 0, 2)
    assert before[:, 1:] == pytest.approx(after[:, :-1], rel=1e-12)
    step = 1e-5
    b, half, quarter = along.spread(coefs, np.array([0.5 - step, 0.5, 0.5 + step]))
    width = np.diff(along.at)
    assert (b[2] - b[0]) / (4 * step * width) == pytest.approx(half[1], rel=1e-5, abs=1e-8)
    assert (half[2] - half[0]) / (2 * step * width) == pytest.approx(quarter[1], rel=1e-5, abs=1e-8)


def test_how_long_a_stretch_lasts_is_the_integral_of_what_it_says() -> None:
    along = path(*curves(3, 2), 7)
    coefs = np.exp(np.random.default_rng(1).normal(0, 0.3, len(along.at) + 1))
    share = (np.arange(4000) + 0.5) / 4000
    sums = (1 / np.sqrt(along.spread(coefs, 0.6 * share)[0])).mean(axis=0) * 0.6 * np.diff(along.at)
    assert lasts(along, coefs, 0.6) == pytest.approx(sums, rel=1e-6)


@pytest.mark.parametrize("seed", range(6))
def test_a_line_with_turns_takes_no_longer_than_the_best_of_many_ways_that_ruckig_finds(seed: int) -> None:
    turns = turns_of(seeded_keys("beats", seed, 10)[1])
    best = best_of_ruckigs(turns, LIMITS)
    assert 0.998 * best <= walked(turns, LIMITS).at_s[-1] <= best * (1 + 1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_a_walk_is_smooth_keeps_its_limits_and_turns_where_it_should(seed: int) -> None:
    turns = turns_of(seeded_keys("uneven", seed, 20)[1])
    walk = walked(turns, LIMITS)
    t_s = np.diff(walk.at_s)
    place, speed, pull = walk.state[:-1].T
    after = np.stack(
        (
            place + t_s * (speed + t_s * (pull / 2 + t_s * walk.jerk / 6)),
            speed + t_s * (pull + t_s * walk.jerk / 2),
            pull + t_s * walk.jerk,
        ),
        axis=1,
    )
    assert after == pytest.approx(walk.state[1:], abs=1e-5)
    assert (np.abs(walk.state[:, 1:]).max(axis=0) <= LIMITS[:2] * (1 + 1e-9)).all()
    assert np.abs(walk.jerk).max() <= LIMITS[2]
    there = walk.states(walk.turn_s)
    assert there[:, 0] == pytest.approx(turns, abs=1e-7)
    assert there[:, 1] == pytest.approx(0, abs=1e-5)
    dense = walk.states(np.linspace(0, walk.at_s[-1], 5000))[:, 0]
    assert turns.min() - 1e-7 <= dense.min()
    assert dense.max() <= turns.max() + 1e-7
