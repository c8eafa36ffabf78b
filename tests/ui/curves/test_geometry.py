"""Derivatives as drawn: each pixel holds its own extremes, jumps are found where `motion.check` finds them."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import PPoly

from sequencer.motion.shape import Shape, shape
from sequencer.rig.axis import Axis
from sequencer.score.move import Ease, Key, Track
from tests.motion.machines import LAWS, SECONDS, rig
from ui.curves.geometry import Seen, Strip, courses, hatched, overs, seen, strips

PAN: Axis = rig().axes[0]
EASES = st.sampled_from([Ease("poly345"), Ease("linear"), Ease("trapezoid"), Ease("through"), Ease("hold")])


def shaped(values: list[float], eases: list[Ease], speed: Fraction = Fraction(1)) -> Shape:
    keys = tuple(Key(Fraction(at), value, ease) for at, (value, ease) in enumerate(zip(values, eases, strict=True)))
    return shape(PAN, Track("pan0", keys), SECONDS, LAWS, speed)


def truth(of: Shape, order: int, at_s: np.ndarray) -> np.ndarray:
    """The derivative by scipy, zero outside the track; an implementation of its own."""
    whole = PPoly(of.coeffs, np.append(of.from_s, of.at_s[-1]))
    inside = (at_s >= of.at_s[0]) & (at_s < of.at_s[-1])
    return np.where(inside, whole(at_s, order) * float(of.speed) ** order, 0.0)


@settings(max_examples=40)
@given(
    st.lists(st.tuples(st.floats(-90, 90), EASES), min_size=2, max_size=9),
    st.floats(-1, 7),
    st.floats(0.1, 9),
    st.integers(1, 300),
)
def test_no_pixel_loses_a_peak_and_none_shows_more_than_there_is(
    written: list[tuple[float, Ease]], begin_s: float, length_s: float, width: int
) -> None:
    of = shaped([value for value, _ in written], [ease for _, ease in written], Fraction(3, 2))
    whole, end_s = courses(of), begin_s + length_s
    edge_s = np.linspace(begin_s, end_s, width + 1)
    for number in range(3):
        found = seen(whole, number, begin_s, end_s, width)
        many_s = begin_s + (np.arange(width * 40) + 0.5) * length_s / (width * 40)
        true = truth(of, number + 1, many_s).reshape(width, 40)
        room = 1e-7 * (1 + np.abs(true).max())
        assert (found.low <= true.min(axis=1) + room).all()
        assert (found.high >= true.max(axis=1) - room).all()
        # what is shown is there: at a bend, at an edge or at rest
        there = np.concatenate((whole.of[number].value.ravel(), truth(of, number + 1, edge_s), [0.0]))
        for value in (found.low, found.high):
            assert np.abs(value[:, None] - there).min(axis=1).max() <= room


def test_a_sparse_view_is_a_line_through_every_bend_and_every_edge_of_a_pixel() -> None:
    of = courses(shaped([0, 30, 10], [Ease("poly345")] * 3))
    found = seen(of, 0, -0.5, 2.5, 60)
    assert (np.diff(found.at_s) >= 0).all()
    assert {-0.5, 0.0, 1.0, 2.0, 2.5} <= set(found.at_s.tolist())
    # a fifth-order leg is fastest in its middle, 15/8 of its way a second. Source: derivative of 10u3-15u4+6u5
    middle = np.isclose(found.at_s, 0.5)
    assert found.value[middle] == pytest.approx(30 * 15 / 8)


def test_the_speed_of_a_pass_scales_each_derivative() -> None:
    whole, half = (courses(shaped([0, 30], [Ease("poly345")] * 2, speed)) for speed in (Fraction(1), Fraction(1, 2)))
    for number, factor in enumerate((2, 4, 8)):
        assert whole.of[number].value.max() == pytest.approx(factor * half.of[number].value.max())


@settings(max_examples=30)
@given(st.lists(EASES, min_size=6, max_size=6), st.integers(0, 5), st.floats(-90, 90))
def test_what_is_taken_from_before_is_what_is_worked_out_anew(eases: list[Ease], key: int, value: float) -> None:
    values = [0.0, 30.0, -20.0, 5.0, 5.0, 60.0]
    before = courses(shaped(values, eases))
    values[key] = value
    of = shaped(values, eases)
    after, anew = courses(of, before), courses(of)
    for one, other in zip(after.of, anew.of, strict=True):
        assert np.array_equal(one.at_s, other.at_s)
        assert np.array_equal(one.value, other.value)
        assert np.array_equal(one.coeffs, other.coeffs)
    assert courses(of, after) is after


@settings(max_examples=40)
@given(st.lists(st.tuples(st.floats(-90, 90), EASES), min_size=2, max_size=6))
def test_a_jump_is_where_the_check_finds_an_infinite_peak(written: list[tuple[float, Ease]]) -> None:
    of = shaped([value for value, _ in written], [ease for _, ease in written])
    whole = courses(of)
    for number in range(3):
        at_s, _ = whole.jumps(number, -1.0, 99.0)
        infinite = np.isinf(of.peak[number])
        assert infinite.any() == (len(at_s) > 0)
        for instant in of.peak_at[number][infinite]:
            assert np.abs(at_s - instant).min() < 1e-9


def test_a_linear_leg_jumps_in_speed_at_both_ends() -> None:
    at_s, what = courses(shaped([0, 10], [Ease("linear")] * 2)).jumps(1, -1, 9)
    assert at_s.tolist() == [0.0, 1.0]
    assert what.tolist() == [1, 1]


def test_a_track_of_one_key_asks_nothing() -> None:
    of = courses(shaped([5.0], [Ease("poly345")]))
    found = seen(of, 0, -1, 1, 10)
    assert not found.low.any()
    assert not found.high.any()
    assert not len(of.jumps(2, -1, 1)[0])


def test_what_is_over_is_named_worst_first_and_hatched_between_limit_and_curve() -> None:
    high = np.array([0, 5, 12, 14, 9, 0, 0, 11, 0.0])
    low = np.array([0, 0, 0, 0, 0, -20, -30, 0, 0.0])
    found = Seen(low, high, high[:0], high[:0])
    runs = overs(found, 10)
    assert [(run.first, run.last, run.value) for run in runs] == [(5, 8, -30.0), (2, 4, 14.0)]
    assert overs(found, 10, most=1) == runs[:1]
    assert overs(found, 40) == []
    strip = Strip(0, 100.0, 80.0, 40.0)
    (above_px, above), (below_px, below) = hatched(found, strip, 10)
    assert (above_px, below_px) == (100, 150)
    assert np.flatnonzero(above.any(axis=0)).tolist() == [2, 3, 7]
    assert np.flatnonzero(below.any(axis=0)).tolist() == [5, 6]
    assert np.count_nonzero(above[:, 3]) == 4
    assert set(np.unique(below)) == {0, 1, 2}
    assert above.shape[1] % 4 == 0


def test_a_strip_shows_its_limit_and_the_peak_but_never_squeezes_the_limit_to_nothing() -> None:
    for value, most in ((1.0, 1.25 * 60), (3000.0, 4 * 60)):
        of = courses(shaped([0, value], [Ease("poly345")] * 2))
        strip = strips(of, 300)[0]
        assert strip.most == pytest.approx(most)
        assert strip.y_of(0.0) == 50
        assert strip.y_of(1e9) == 0
        assert 0 < strip.y_of(60) < 50
