"""Curves as lines: no peak is ever lost, whatever the zoom."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from sequencer.motion.shape import Shape
from tests.ui.timeline.shapes import shape_of
from ui.timeline.geometry import Layout, arrange, on_pixels
from ui.timeline.trace import Reaches, crowd, envelope, lines, sampled, sight

SIZE = (420.0, 300.0)


def laid(begin_s: float, end_s: float) -> Layout:
    return arrange(SIZE, (begin_s, end_s), [("pan", (-100.0, 100.0))])


def wild(count: int, apart: float, law: str) -> Shape:
    generator = np.random.default_rng(count)
    at = np.cumsum(generator.uniform(0.3, 1.7, count) * apart)
    return shape_of(at.tolist(), generator.uniform(-60, 60, count).tolist(), law, "free")


def test_samples_are_the_pieces_and_hold_the_ends() -> None:
    shape = shape_of([25, 50, 75], [10, 20, 20])
    assert sampled(shape, np.array([0.0, 1.0, 1.5, 2.0, 9.0])) == pytest.approx([10, 10, 15, 20, 20])
    assert sampled(shape_of([25], [7.0]), np.array([0.0, 1.0, 2.0])) == pytest.approx([7, 7, 7])


@settings(max_examples=25, deadline=None)
@given(
    count=st.integers(2, 900),
    law=st.sampled_from(["poly345", "linear", "through"]),
    begin=st.floats(-0.2, 0.8),
    part=st.floats(0.02, 1.4),
)
@example(count=370, law="through", begin=0.5, part=0.5)  # legs that wind between their keys, within a few columns
def test_the_envelope_has_all_that_a_finer_look_finds(count: int, law: str, begin: float, part: float) -> None:
    shape = wild(count, 2.0, law)
    first, lasts = float(shape.at_s[0]), float(shape.at_s[-1] - shape.at_s[0])
    layout = laid(first + begin * lasts, first + (begin + part) * lasts)
    found = envelope(shape, layout)
    if not len(found.low):
        return
    edges = layout.t_s(layout.left_px) + (found.begin + np.arange(len(found.low) + 1)) / layout.px_a_s
    fine = edges[:-1, None] + np.linspace(0, 1, 200) / layout.px_a_s
    fine = np.clip(fine, shape.at_s[0], shape.at_s[-1])
    value = sampled(shape, fine.ravel()).reshape(fine.shape)
    leg = np.clip(np.searchsorted(shape.at_s, fine, "right") - 1, 0, len(shape.low) - 1)
    long = np.diff(shape.at_s)[leg] * layout.px_a_s > 2.5
    # a long leg is sampled at the columns' edges and at its peak: between, a curve of degree five bends little
    loose = np.where(long.any(axis=1), 0.02 * np.ptp(shape.value) + 1e-9, 1e-9)
    assert (found.low <= value.min(axis=1) + loose).all()
    assert (found.high >= value.max(axis=1) - loose).all()
    # and it has no more than the legs in and beside a column reach
    wide = np.clip(np.stack((leg.min(axis=1) - 1, leg.max(axis=1) + 1)), 0, len(shape.low) - 1)
    for column in range(0, len(found.low), 7):
        legs = slice(wide[0, column], wide[1, column] + 1)
        assert found.low[column] >= shape.low[legs].min() - 1e-6
        assert found.high[column] <= shape.high[legs].max() + 1e-6


def test_a_needle_in_a_dense_track_is_seen_from_afar() -> None:
    at = np.arange(6000.0) * 2
    value = np.sin(at / 900) * 5
    value[3210] = 88.0
    shape = shape_of(at.tolist(), value.tolist())
    found = envelope(shape, laid(0.0, 480.0))
    assert found.high.max() == pytest.approx(88.0)
    assert found.keys.sum() == pytest.approx(6000, abs=1)


def test_lines_go_through_every_key_and_reach_every_peak() -> None:
    shape = wild(30, 60.0, "through")
    layout = laid(float(shape.at_s[0]) - 1, float(shape.at_s[-1]) + 1)
    drawn = lines(shape, layout, layout.lanes[0])
    lane = layout.lanes[0]
    x = np.append(drawn[:, 0], drawn[-1:, 2])
    y = np.append(drawn[:, 1], drawn[-1:, 3])
    assert (np.diff(x) >= -1e-9).all()
    assert drawn[1:, :2] == pytest.approx(drawn[:-1, 2:])
    for t_s, value in zip(shape.at_s, shape.value, strict=True):
        assert np.hypot(x - layout.x(float(t_s)), y - lane.y(float(value))).min() < 1e-6
    assert y.min() == pytest.approx(lane.y(float(shape.high.max())), abs=0.05)
    assert y.max() == pytest.approx(lane.y(float(shape.low.min())), abs=0.05)


def test_a_line_that_leaves_the_sight_ends_at_its_edge() -> None:
    shape = shape_of([0, 1000], [-50, 50])
    layout = laid(10.0, 20.0)
    drawn = lines(shape, layout, layout.lanes[0])
    assert drawn[0, 0] == pytest.approx(layout.left_px)
    assert drawn[-1, 2] == pytest.approx(layout.width_px)
    assert lines(shape, laid(50.0, 60.0), layout.lanes[0]).shape == (0, 4)
    assert lines(shape_of([5], [3.0]), layout, layout.lanes[0]).shape == (0, 4)


def test_keys_out_of_sight_do_not_count() -> None:
    shape = shape_of([0, 25, 50, 75, 100], [0, 1, 2, 3, 4])
    inside = sight(shape, laid(0.5, 2.5))
    assert (inside.first, inside.last) == (0, 4)
    assert inside.mean_px == pytest.approx(300 / 2)
    assert sight(shape, replace(laid(9, 10))).mean_px == float("inf")


def test_tracks_with_the_same_instants_are_counted_once_and_come_out_the_same() -> None:
    at = np.sort(np.random.default_rng(5).uniform(0, 4000, 3000)).round(3)
    at = np.unique(at).tolist()
    one, other = (shape_of(at, (np.sin(np.array(at) * turn) * 30).tolist()) for turn in (0.11, 0.37))
    late = shape_of([each + 7.5 for each in at], [1.0] * (len(at) - 1) + [9.0])
    layout = laid(10.0, 150.0)
    alone = [envelope(shape, layout) for shape in (late, one, late, other)]
    together = [envelope(one, layout), envelope(other, layout, 1.0, one.at_s)]
    for wanted, found in zip((alone[1], alone[3]), together, strict=True):
        assert wanted.begin == found.begin
        assert wanted.low.tolist() == found.low.tolist()
        assert wanted.high.tolist() == found.high.tolist()
        assert wanted.keys.tolist() == found.keys.tolist()


@pytest.mark.parametrize("step_px", [1.0, 2.0])
@pytest.mark.parametrize("law", ["poly345", "linear", "hold"])
def test_even_legs_are_sampled_alike_and_lie_on_the_curve(law: str, step_px: float) -> None:
    at = np.arange(40.0) * 5
    shape = shape_of(at.tolist(), (np.cos(at) * 40).tolist(), law)
    layout = laid(0.5, 6.3)
    drawn = lines(shape, layout, layout.lanes[0], step_px)
    x, y = np.append(drawn[:, 0], drawn[-1, 2]), np.append(drawn[:, 1], drawn[-1, 3])
    assert (x[0], x[-1]) == (pytest.approx(layout.left_px), pytest.approx(layout.width_px))
    assert (np.diff(x) >= -1e-9).all()
    assert np.diff(x).max() <= step_px + 1e-6
    t_s = layout.begin_s + (x - layout.left_px) / layout.px_a_s
    wanted = np.array([layout.lanes[0].y(float(value)) for value in sampled(shape, t_s)])
    near = np.abs(y - wanted) < 1e-6
    # at a key that jumps a line stands upright: it has two heights at one instant
    assert near.mean() > 0.9 if law == "hold" else near.all()


@pytest.mark.parametrize("part_px", [1.0, 0.5])
def test_a_curve_looked_at_two_by_two_is_the_one_looked_at_leg_by_leg(part_px: float) -> None:
    shape = wild(5000, 1.0, "poly345")
    reaches = Reaches(shape)
    for layout in (laid(0.0, 200.0), laid(20.0, 90.0), laid(-60.0, 300.0), laid(1.5, 199.0)):
        wanted = envelope(shape, layout, part_px)
        for _ in range(2):  # the first time it is not worth the work
            found = envelope(shape, layout, part_px, reaches=reaches)
            assert found.begin == wanted.begin
            assert found.low.tolist() == wanted.low.tolist()
            assert found.high.tolist() == wanted.high.tolist()


@pytest.mark.parametrize("law", ["poly345", "through", "hold"])
@pytest.mark.parametrize("apart", [1.0, 3.0, 20.0])
def test_columns_are_the_same_wherever_they_are_scrolled_to(law: str, apart: float) -> None:
    shape = wild(400, apart, law)
    first = on_pixels(laid(1.0, 1.0 + 9 * apart))
    for far_px in (1, 37, -113):
        scrolled = replace(first, begin_s=first.begin_s + far_px / first.px_a_s, end_s=first.end_s)
        scrolled = on_pixels(replace(scrolled, end_s=first.end_s + far_px / first.px_a_s), first)
        one, other = (120, 180), (120 - far_px, 180 - far_px)
        before, after = envelope(shape, first, between=one), envelope(shape, scrolled, between=other)
        assert after.begin == before.begin - far_px
        assert after.low.tolist() == before.low.tolist()
        assert after.high.tolist() == before.high.tolist()
        assert crowd(shape.at_s, scrolled, 1.0, other).tolist() == crowd(shape.at_s, first, 1.0, one).tolist()
