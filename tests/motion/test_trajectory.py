"""The compiled form against scipy's own polynomials, at any instant and in any order of asking."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PPoly

from sequencer.motion.trajectory import Trajectory

instants = st.floats(-5, 40)


def three_axes(seed: int = 5) -> Trajectory:
    """Three axes with pieces of their own, of different degrees, that jump where they please."""
    rng = np.random.default_rng(seed)
    pieces = []
    for count, size in ((7, 6), (3, 2), (11, 4)):
        breaks_s = np.sort(rng.uniform(0, 30, count + 1))
        pieces.append((breaks_s, rng.normal(0, 1, (size, count)), float(rng.normal())))
    return Trajectory.joined(("pan", "tilt", "slide"), pieces, np.zeros(3))


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
