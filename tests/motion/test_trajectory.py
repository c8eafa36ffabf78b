"""The compiled form against scipy's own polynomials, at any instant and in any order of asking."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PPoly

from sequencer.motion.trajectory import Floats, Trajectory

instants = st.floats(-5, 40)


def three_axes(seed: int = 5) -> Trajectory:
    """Three axes with pieces of their own, of different degrees, that jump where they please."""
    rng = np.random.default_rng(seed)
    pieces = []
    for count, size in ((7, 6), (3, 2), (11, 4)):
        breaks_s = np.sort(rng.uniform(0, 30, count + 1))
        pieces.append((breaks_s, rng.normal(0, 1, (size, count)), float(rng.normal())))
    return Trajectory.joined(("pan", "tilt", "slide"), pieces, np.zeros(3))


def drawn(seed: int, size: int, lasts_s: float) -> Trajectory:
    """Four axes of 1, 2, 9 and 40 pieces of `size` coefficients, all powers of like weight where a piece ends."""
    rng = np.random.default_rng(seed)
    pieces = []
    for count in (1, 2, 9, 40):
        breaks_s = np.sort(rng.uniform(0, lasts_s, count + 1))
        weights = np.diff(breaks_s) ** np.arange(size - 1, -1, -1)[:, None]
        pieces.append((breaks_s, rng.normal(0, 30, (size, count)) / weights, float(rng.normal(0, 30))))
    return Trajectory.joined(("pan", "tilt", "roll", "slide"), pieces, np.zeros(4))


trajectories = st.builds(
    drawn, st.integers(0, 1000), st.sampled_from([1, 2, 6, 10, 16]), st.sampled_from([0.01, 30.0, 600.0, 20_000.0])
)


def scipys(trajectory: Trajectory, t_s: Floats, order: int = 0) -> tuple[Floats, Floats]:
    """Return scipy's values and, beside them, the sums of what they are made of, which rounding is measured by.

    Shape: (T, A) each. The outer pieces, which hold, are given to scipy as they are.
    """
    values, sums = [], []
    for axis in range(len(trajectory.axes)):
        span = slice(trajectory.first[axis], trajectory.first[axis + 1])
        breaks_s = np.append(trajectory.from_s[span], np.inf)
        curve = PPoly.construct_fast(trajectory.coeffs[:, span], breaks_s)
        values.append(curve(t_s, order))
        sums.append(PPoly.construct_fast(np.abs(curve.c), breaks_s)(np.maximum(t_s, breaks_s[0]), order))
    return np.array(values).T, np.array(sums).T


def theirs(trajectory: Trajectory, axis: int, t_s: float, order: int) -> float:
    """Ask scipy for one axis at one instant inside its moving pieces; hold by hand outside."""
    breaks_s, coeffs = trajectory.of(axis)
    if t_s < breaks_s[0]:
        return float(coeffs[-1, 0]) if order == 0 else 0.0
    if t_s >= breaks_s[-1]:
        return float(trajectory.coeffs[-1, trajectory.first[axis + 1] - 1]) if order == 0 else 0.0
    return float(PPoly(coeffs, breaks_s)(t_s, nu=order))


@given(st.lists(instants, min_size=1, max_size=20), st.integers(0, 3))
def test_sample_equals_scipys_piecewise_polynomials(t_s: list[float], order: int) -> None:
    trajectory = three_axes()
    sampled = trajectory.sample(np.array(t_s), order)
    assert sampled.shape == (len(t_s), 3)
    for row, t in zip(sampled, t_s, strict=True):
        for axis in range(3):
            assert row[axis] == pytest.approx(theirs(trajectory, axis, t, order), rel=1e-12, abs=1e-9)


@given(
    trajectories,
    st.lists(st.one_of(st.floats(-0.1, 1.1), st.integers(0, 59)), max_size=60),
    st.integers(0, 17),
    st.booleans(),
)
def test_sample_equals_scipys_for_any_degree_length_and_sequence(
    trajectory: Trajectory, where: list[float | int], order: int, rising: bool
) -> None:
    """Parts of the whole are taken as they are, whole numbers as the instants where pieces meet."""
    whole_s = trajectory.end_s - trajectory.start_s
    met = trajectory.from_s
    t_s = np.array(
        [met[one] if isinstance(one, int) else trajectory.start_s + one * whole_s for one in where], dtype=np.float64
    )
    if rising:
        t_s.sort()
    expected, sums = scipys(trajectory, t_s, order)
    sampled = trajectory.sample(t_s, order)
    assert sampled.shape == (len(t_s), 4)
    assert np.all(np.abs(sampled - expected) <= 1e-14 * sums)


@pytest.mark.parametrize("size", [6, 16])
def test_many_instants_are_sampled_in_blocks_without_a_seam(size: int) -> None:
    trajectory = drawn(3, size, 60.0)
    t_s = np.linspace(-1.0, 61.0, 100_001)
    expected, sums = scipys(trajectory, t_s)
    assert np.all(np.abs(trajectory.sample(t_s) - expected) <= 1e-14 * sums)
    shuffled = np.random.default_rng(1).permutation(len(t_s))
    assert np.array_equal(trajectory.sample(t_s[shuffled]), trajectory.sample(t_s)[shuffled])


def test_sample_leaves_the_instants_alone_and_takes_none() -> None:
    trajectory = three_axes()
    t_s = np.array([20.0, 3.0, 25.0])
    trajectory.sample(t_s)
    assert t_s.tolist() == [20.0, 3.0, 25.0]
    assert trajectory.sample(np.empty(0)).shape == (0, 3)


def test_what_is_no_instant_has_no_position_and_spoils_none() -> None:
    trajectory = three_axes()
    for t_s in ([np.nan], [3.0, np.nan, 20.0], [-np.inf, 3.0, np.inf], [np.inf, 3.0, np.nan, -np.inf]):
        sampled = trajectory.sample(np.array(t_s))
        known = np.isfinite(t_s)
        assert np.isnan(sampled[~known]).all()
        assert np.array_equal(sampled[known], trajectory.sample(np.array(t_s)[known]))


@given(trajectories, st.lists(st.one_of(st.floats(-0.1, 1.1), st.integers(0, 59)), min_size=1, max_size=30))
def test_a_tick_is_the_same_number_in_any_order_of_asking(trajectory: Trajectory, where: list[float | int]) -> None:
    whole_s = trajectory.end_s - trajectory.start_s
    kept = []
    for one in where:
        t_s = float(trajectory.from_s[one]) if isinstance(one, int) else trajectory.start_s + one * whole_s
        kept.append((t_s, *trajectory.at(t_s)))
    for t_s, position, velocity in kept:
        alone = Trajectory(
            trajectory.axes, trajectory.first, trajectory.from_s, trajectory.coeffs, trajectory.fit_error
        )
        assert [each.tolist() for each in alone.at(t_s)] == [position.tolist(), velocity.tolist()]
        for order, asked in enumerate((position, velocity)):
            expected, sums = scipys(trajectory, np.array([t_s]), order)
            assert np.all(np.abs(asked - expected[0]) <= 1e-13 * sums[0])


def test_a_long_leg_beside_a_busy_axis_is_as_exact_as_the_guard_needs() -> None:
    """Ten minutes as one leg, read where another axis changes piece every 37 ms, against exact fractions."""
    lasts_s, moves = 600.0, 340.0
    leg = np.array([[6.0], [-15.0], [10.0], [0.0], [0.0], [0.0]]) * moves / lasts_s ** np.arange(5, -1, -1)[:, None]
    busy_s = np.arange(0.0, lasts_s, 0.037)
    busy = np.random.default_rng(2).normal(0, 1, (6, len(busy_s) - 1))
    axes = [(np.array([0.0, lasts_s]), leg, moves), (busy_s, busy, 0.0)]
    trajectory = Trajectory.joined(("pan", "tilt"), axes, np.zeros(2))
    exact = [Fraction(float(c)) for c in leg[:, 0]]
    for t_s in np.random.default_rng(3).uniform(0, lasts_s, 300).tolist():
        true = speed = Fraction(0)
        for c in exact:
            speed = speed * Fraction(t_s) + true
            true = true * Fraction(t_s) + c
        position, velocity = trajectory.at(t_s)
        for value in (position[0], trajectory.sample(np.array([t_s]))[0, 0]):
            assert abs(Fraction(float(value)) - true) <= 3e-14 * moves
        assert abs(Fraction(float(velocity[0])) - speed) <= 1e-12 * moves / lasts_s


@given(st.lists(st.one_of(instants, st.sampled_from(three_axes().from_s.tolist())), min_size=1, max_size=30))
def test_a_tick_equals_the_sample_whatever_was_asked_before(t_s: list[float]) -> None:
    trajectory = three_axes()
    position, velocity = trajectory.sample(np.array(t_s)), trajectory.sample(np.array(t_s), 1)
    for number, t in enumerate(t_s):
        p, v = trajectory.at(t)
        scale = 1 + np.abs(trajectory.coeffs).max() * 30
        assert p == pytest.approx(position[number], abs=1e-9 * scale)
        assert v == pytest.approx(velocity[number], abs=1e-9 * scale)


def test_many_axes_far_from_zero_find_their_own_pieces() -> None:
    """Breaks a rounding error apart on sixteen axes: each is found on its own side."""
    first_s = 86_400.0
    close = np.nextafter(first_s, np.inf)
    closer = np.nextafter(close, np.inf)
    pieces = [
        (
            np.array([first_s - 1, first_s if axis % 2 else close, closer, first_s + 40_000]),
            np.array([[0.0, 0.0, 1.0], [7.0, 8.0, 8.5]]),
            9.0,
        )
        for axis in range(16)
    ]
    trajectory = Trajectory.joined(tuple(f"a{axis}" for axis in range(16)), pieces, np.zeros(16))
    assert trajectory.at(first_s)[0].tolist() == [7.0, 8.0] * 8
    assert trajectory.at(float(close))[0].tolist() == [8.0] * 16
    assert trajectory.at(float(closer))[0].tolist() == [8.5] * 16
    assert trajectory.at(first_s - 1e-9)[0].tolist() == [7.0] * 16


def test_outside_its_span_everything_holds() -> None:
    trajectory = three_axes()
    for t_s in (trajectory.start_s - 1e-9, -1e6, trajectory.end_s, trajectory.end_s + 1e6):
        position, velocity = trajectory.at(t_s)
        assert velocity.tolist() == [0.0, 0.0, 0.0]
        assert position == pytest.approx([theirs(trajectory, axis, t_s, 0) for axis in range(3)], abs=0)


def test_no_instant_spoils_the_next() -> None:
    trajectory = three_axes()
    for t_s in (float("nan"), float("inf"), -float("inf")):
        with np.errstate(invalid="ignore"):
            position, _ = trajectory.at(t_s)
        assert np.isnan(position).all()  # nobody sends that: the guard brakes
        for then_s in (1e6, 20.0, -1e6, trajectory.start_s, trajectory.end_s - 1e-9, 1e6):
            expected = trajectory.sample(np.array([then_s]))[0]
            assert trajectory.at(then_s)[0] == pytest.approx(expected, rel=1e-9, abs=1e-6)


def test_what_a_tick_got_is_its_own() -> None:
    trajectory = three_axes()
    for t_s in (20.0, 1e6):
        before = trajectory.at(t_s)[0].copy()
        trajectory.at(t_s)[0].fill(np.nan)
        assert trajectory.at(t_s)[0].tolist() == before.tolist()


def test_still_stands_for_ever() -> None:
    still = Trajectory.still(("pan", "tilt"), np.array([3.0, -4.0]), at_s=7.0)
    assert (still.start_s, still.end_s) == (7.0, 7.0)
    for t_s in (-1e9, 0.0, 7.0, 1e9):
        position, velocity = still.at(t_s)
        assert (position.tolist(), velocity.tolist()) == ([3.0, -4.0], [0.0, 0.0])
    assert still.sample(np.array([0.0, 9.0]), 2).tolist() == [[0.0, 0.0], [0.0, 0.0]]


@given(st.fractions(Fraction(1, 20), 20), instants, instants)
def test_a_pass_runs_the_same_path_at_its_speed(speed: Fraction, about_s: float, t_s: float) -> None:
    trajectory = three_axes()
    stretched = trajectory.stretched(speed, about_s)
    then_s = about_s + (t_s - about_s) / float(speed)
    near = np.abs(trajectory.from_s - t_s).min() < 1e-6
    if not near:  # at a jump, rounding decides which side counts
        assert stretched.at(then_s)[0] == pytest.approx(trajectory.at(t_s)[0], rel=1e-6, abs=1e-6)
        assert stretched.at(then_s)[1] == pytest.approx(trajectory.at(t_s)[1] * float(speed), rel=1e-5, abs=1e-5)


def test_a_pass_as_written_is_the_move_itself() -> None:
    trajectory = three_axes()
    assert trajectory.stretched(Fraction(1), 3.0) is trajectory
    with pytest.raises(ValueError, match="above zero"):
        trajectory.stretched(0, 0.0)


@given(part=st.tuples(st.floats(-1.0, 32.0), st.floats(0.01, 20.0)))
def test_a_part_is_the_same_inside_and_holds_outside(part: tuple[float, float]) -> None:
    start_s, length_s = part
    whole = three_axes()
    cut = whole.between(start_s, start_s + length_s)
    inside = np.linspace(start_s, start_s + length_s, 50)
    for order in range(2):
        np.testing.assert_allclose(cut.sample(inside[:-1], order), whole.sample(inside[:-1], order), atol=1e-9)
    ends = whole.sample(np.array([start_s, start_s + length_s]))
    np.testing.assert_allclose(cut.sample(np.array([start_s - 5, start_s + length_s + 5])), ends, atol=1e-9)


def test_a_part_needs_a_length() -> None:
    with pytest.raises(ValueError, match="nothing lies between"):
        three_axes().between(2.0, 2.0)
