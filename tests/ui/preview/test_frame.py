"""The lens view's frame: the sensor fills what it can, the picture lies in it, pixels stay square."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.rig.lens import Lens, height_px
from ui.preview.frame import EDGE_PX, Frame, fitted, ticks_px

WIDE = Lens((24.9, 14.0), 35.0, 3.5)
aspects = st.none() | st.integers(200, 5000).map(lambda part: Fraction(part, 1000))


@given(st.floats(60, 4000), st.floats(60, 3000), st.floats(5, 60), st.floats(5, 60), aspects)
def test_the_frame_fits_the_view_and_the_picture_fits_the_frame(
    width_px: float, height_px: float, across_mm: float, up_mm: float, aspect: Fraction | None
) -> None:
    lens = Lens((across_mm, up_mm), 35, 3)
    frame = fitted(width_px, height_px, lens, aspect)
    outer, inner = frame.sensor, frame.picture
    assert outer.width / outer.height == pytest.approx(lens.aspect)
    assert inner.width / inner.height == pytest.approx(float(aspect) if aspect else lens.aspect)
    assert outer.left >= EDGE_PX - 1e-6
    assert outer.top >= EDGE_PX - 1e-6
    # it touches two edges of the view, and the picture two of the sensor's
    assert min(outer.left, outer.top) == pytest.approx(EDGE_PX)
    assert max(inner.width / outer.width, inner.height / outer.height) == pytest.approx(1)
    assert outer.left + outer.width / 2 == pytest.approx(inner.left + inner.width / 2)


def test_a_figure_is_drawn_as_tall_as_the_formula_says() -> None:
    frame = fitted(960, 540, WIDE, None)
    half = 1.72 / 2 / (6.0 * WIDE.slopes[1])
    ends = frame.px(np.array([[0, half], [0, -half]]))
    assert ends[1, 1] - ends[0, 1] == pytest.approx(height_px(1.72, 6.0, WIDE, frame.sensor.width))
    assert ends[:, 0] == pytest.approx([480, 480])


def test_corners_of_the_frame_are_its_edges() -> None:
    frame = fitted(960, 540, WIDE, Fraction(1))
    assert frame.px(np.array([[-1.0, 1.0], [1.0, -1.0]])).tolist() == [
        pytest.approx([frame.sensor.left, frame.sensor.top]),
        pytest.approx([frame.sensor.right, frame.sensor.bottom]),
    ]


def area(frame: Frame, aspect: Fraction | None) -> tuple[float, int]:
    return sum(bar.width * bar.height for bar in frame.bars), len(frame.bars)


def test_bars_cover_exactly_what_is_not_in_the_picture() -> None:
    for aspect, count in ((Fraction(239, 100), 2), (Fraction(1), 2), (None, 0)):
        frame = fitted(960, 540, WIDE, aspect)
        covered, bars = area(frame, aspect)
        assert bars == count
        outer, inner = frame.sensor, frame.picture
        assert covered == pytest.approx(outer.width * outer.height - inner.width * inner.height)
    assert sum(one.width * one.height for one in frame.around) == pytest.approx(
        960 * 540 - frame.sensor.width * frame.sensor.height
    )


def test_thirds_and_the_safe_part_are_of_the_picture_not_of_the_sensor() -> None:
    frame = fitted(960, 540, WIDE, Fraction(1))
    inner = frame.picture
    at_x = {line[0][0] for line in frame.thirds.tolist() if line[0][0] == line[1][0]}
    assert sorted(at_x) == pytest.approx([inner.left + inner.width / 3, inner.left + 2 * inner.width / 3])
    # Source: SMPTE ST 2046-1, safe action area: 93 % of width and height (from memory)
    assert frame.safe.width == pytest.approx(0.93 * inner.width)
    assert frame.safe.height == pytest.approx(0.93 * inner.height)


def test_ticks_stand_across_the_way_and_upright_where_it_rests() -> None:
    frame = fitted(960, 540, WIDE, None)
    ways = np.array([[[0.0, 0.0], [0.1, 0.0]], [[0.0, 0.0], [0.0, 0.2]], [[0.2, 0.2], [0.2, 0.2]]])
    ticks = ticks_px(frame, ways, 7)
    assert np.hypot(*(ticks[:, 1] - ticks[:, 0]).T) == pytest.approx([14, 14, 14])
    assert ticks[0, 0, 0] == pytest.approx(ticks[0, 1, 0])  # across a level way
    assert ticks[1, 0, 1] == pytest.approx(ticks[1, 1, 1])  # across an upright way
    assert ticks[2, 0, 0] == pytest.approx(ticks[2, 1, 0])
    assert ticks_px(frame, np.empty((0, 2, 2)), 7).shape == (0, 2, 2)
