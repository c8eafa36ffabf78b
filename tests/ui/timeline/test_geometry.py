"""Where things lie: time and pixels and back, lanes that share the height, and the key under the pointer."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.ui.timeline.shapes import PAN, shape_of
from ui.timeline.geometry import LANE_PX, Hit, Layout, arrange, boxed, hit, on_pixels, shown

RANGES = [(name, (-10.0, 10.0)) for name in ("pan", "tilt", "roll", "slide", "focus")]


def laid(width: float = 1000.0, height: float = 620.0, span: tuple[float, float] = (0.0, 40.0)) -> Layout:
    return arrange((width, height), span, RANGES, rows=2, waved=True)


@given(begin=st.floats(-1e5, 1e5), lasts=st.floats(0.05, 1e5), width=st.floats(300, 8000), part=st.floats(-1.0, 2.0))
def test_an_instant_is_found_again_where_it_is_drawn(begin: float, lasts: float, width: float, part: float) -> None:
    layout = laid(width, span=(begin, begin + lasts))
    t_s = begin + part * lasts
    assert layout.t_s(layout.x(t_s)) == pytest.approx(t_s, abs=1e-9 * (abs(begin) + lasts))
    assert layout.x(begin) == layout.left_px
    assert layout.x(begin + lasts) == pytest.approx(width)


@given(
    begin=st.floats(-1e4, 1e4), lasts=st.floats(0.05, 1e4), width=st.integers(300, 8000), px=st.integers(-9000, 9000)
)
def test_what_is_scrolled_lies_a_whole_number_of_pixels_away(begin: float, lasts: float, width: int, px: int) -> None:
    exact = laid(float(width), span=(begin, begin + lasts))
    first = on_pixels(exact)
    shift_s = px / exact.px_a_s
    scrolled = on_pixels(laid(float(width), span=(begin + shift_s, begin + shift_s + lasts)), first)
    assert abs(first.x(begin) - exact.left_px) <= 0.5 + 1e-4
    assert scrolled.px_a_s == first.px_a_s
    assert first.zero_px.is_integer()
    assert abs(first.zero_px - scrolled.zero_px - px) <= 1  # where the exact place is half a pixel away
    at_s = begin + np.linspace(-0.5, 1.5, 50) * lasts
    moved = first.across(at_s) - scrolled.across(at_s)
    assert (moved == first.zero_px - scrolled.zero_px).all()


@given(low=st.floats(-1e4, 1e4), wide=st.floats(1e-3, 1e4), part=st.floats(0, 1))
def test_a_value_is_found_again_where_it_is_drawn(low: float, wide: float, part: float) -> None:
    lane = arrange((900.0, 500.0), (0.0, 1.0), [("pan", (low, low + wide))]).lanes[0]
    value = low + part * wide
    assert lane.value(lane.y(value)) == pytest.approx(value, abs=1e-9 * (abs(low) + wide))
    assert lane.y(lane.high) == lane.top_px
    assert lane.y(lane.low) == pytest.approx(lane.end_px)


@given(count=st.integers(1, 24), height=st.integers(120, 2000), scroll=st.floats(-500, 5000))
def test_lanes_share_the_height_touch_each_other_and_can_all_be_scrolled_to(
    count: int, height: int, scroll: float
) -> None:
    axes = [(f"axis{number}", (0.0, 1.0)) for number in range(count)]
    size = (800.0, float(height))
    layout = arrange(size, (0.0, 1.0), axes, rows=1, scroll_px=scroll)
    assert [lane.axis for lane in layout.lanes] == [axis for axis, _ in axes]
    assert all(lane.height_px >= LANE_PX for lane in layout.lanes)
    assert all(above.end_px == below.top_px for above, below in pairwise(layout.lanes))
    assert layout.lanes[0].top_px <= layout.lanes_px
    at_the_end = arrange(size, (0.0, 1.0), axes, rows=1, scroll_px=layout.furthest_px)
    assert at_the_end.lanes[-1].end_px <= max(height, at_the_end.lanes_px + at_the_end.all_lanes_px) + 1e-6
    assert at_the_end.lanes[-1].end_px <= height + 1e-6 or layout.furthest_px == 0


def test_all_lanes_of_five_axes_are_in_sight_on_a_small_display() -> None:
    # of 1280 by 720: what the strip, the line below and the columns beside leave
    layout = arrange((760.0, 420.0), (0.0, 40.0), RANGES, rows=2, waved=True)
    assert layout.furthest_px == 0
    assert layout.lanes[-1].end_px <= 420


def test_a_lane_is_found_only_where_it_can_be_seen() -> None:
    layout = arrange((800.0, 300.0), (0.0, 1.0), RANGES, rows=2, waved=True, scroll_px=60.0)
    assert layout.lane_at(layout.lanes_px - 1) is None
    assert layout.lane_at(layout.lanes_px) is not None
    assert layout.lane_at(300.0) is None
    assert layout.lane("roll").axis == "roll"
    with pytest.raises(KeyError):
        layout.lane("zoom")


@given(x=st.floats(110, 1010), y=st.floats(0, 630), within=st.floats(1, 20))
def test_the_nearest_key_within_reach_is_hit(x: float, y: float, within: float) -> None:
    layout = laid()
    shapes = {
        "pan": shape_of([0, 40, 43, 44, 400, 900], [0, 5, -5, 3, 9, -9]),
        "tilt": shape_of([10, 45, 46, 500], [-9, 9, -9, 2]),
    }
    keys = [
        (np.hypot(layout.x(t) - x, layout.lane(axis).y(v) - y), axis, number)
        for axis, shape in shapes.items()
        for number, (t, v) in enumerate(zip(shape.at_s, shape.value, strict=True))
    ]
    found = hit(layout, shapes, x, y, within)
    if not layout.lanes_px <= y < layout.height_px or x < layout.left_px - within:
        assert found is None
        return
    near = min(far for far, _, _ in keys)
    if abs(near - within) < 1e-6:
        return
    if near > within:
        assert found is None
    else:
        assert found is not None
        assert next(far for far, axis, key in keys if Hit(axis, key) == found) == pytest.approx(near)


def test_a_box_holds_the_keys_between_its_corners_whichever_way_it_is_drawn() -> None:
    layout = laid()
    shapes = {"pan": shape_of([0, 100, 200, 300], [0, 8, -8, 0]), "tilt": shape_of([100, 200], [0, 0])}
    pan = layout.lane("pan")
    corners = (layout.x(3.9), pan.y(9), layout.x(12.1), pan.y(-7))
    assert boxed(layout, shapes, *corners) == {"pan": frozenset({1, 3})}
    assert boxed(layout, shapes, corners[2], corners[3], corners[0], corners[1]) == {"pan": frozenset({1, 3})}
    both = boxed(layout, shapes, layout.x(3.9), pan.top_px, layout.x(8.1), layout.lane("tilt").end_px)
    assert both == {"pan": frozenset({1, 2}), "tilt": frozenset({0, 1})}
    assert boxed(layout, shapes, 10, 10, 12, 12) == {}


def test_a_lane_shows_its_whole_curve_and_a_near_end_of_travel() -> None:
    over = shape_of([0, 10, 20, 30], [0, 60, 59, 0], "through", "free")
    assert over.high.max() > 60
    low, high = shown(over, PAN.travel, PAN.home, 100.0)
    assert low < 0
    assert high > over.high.max()
    near = shape_of([0, 50], [0, 85.0])
    assert shown(near, PAN.travel, PAN.home, 100.0)[1] > 90
    still = shape_of([0, 50], [12.0, 12.0])
    low, high = shown(still, PAN.travel, PAN.home, 100.0)
    assert low < 12 < high
    empty = shown(None, None, 5.0, 60.0)
    assert empty[0] < 5.0 < empty[1]
