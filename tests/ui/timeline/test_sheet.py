"""The ground of lanes as pixels: each row is what it should be, and nothing is laid outside the lane."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PyQt6.QtGui import QColor, QImage

from ui.theme import DARK, SUN, Theme
from ui.timeline import ink
from ui.timeline.geometry import Layout, arrange
from ui.timeline.look import Look
from ui.timeline.scale import steps
from ui.timeline.sheet import OVER_PX, Grid, Sheet

TRAVEL = (-60.0, 60.0)
NONE = np.empty(0)


def laid_out(height_px: float = 300.0, scroll_px: float = 0.0) -> Layout:
    ranges = [("pan", (-70.0, 70.0)), ("tilt", (-20.0, 20.0)), ("roll", (-5.0, 5.0))]
    return arrange((520.0, height_px), (0.0, 10.0), ranges, scroll_px=scroll_px)


def laid(
    layout: Layout,
    lane: int,
    *,
    ratio: float = 1.0,
    theme: Theme = DARK,
    over: tuple[np.ndarray, np.ndarray] | None = None,
) -> tuple[np.ndarray, np.uint32]:
    """Return the pixels after one lane was laid on a ground of a colour that no theme has, and that colour."""
    picture = QImage(round(520 * ratio), round(layout.height_px * ratio), QImage.Format.Format_RGB32)
    picture.fill(QColor("#123456"))
    grid = Grid(strong_px=np.array([220.0]), fine_px=np.array([320.0]), markers_px=np.array([420.0]))
    sheet = Sheet(Look(theme=theme, ratio=ratio), layout, grid)
    sheet.lay(ink.pixels(picture), layout.lanes[lane], TRAVEL, over)
    return ink.pixels(picture).copy(), ink.solid("#123456")


def stretch(from_px: float, to_px: float) -> tuple[np.ndarray, np.ndarray]:
    return np.array([from_px]), np.array([to_px])


@pytest.mark.parametrize("ratio", [1.0, 1.25, 1.5, 2.0])
def test_a_lane_is_laid_in_its_own_rows_and_columns(ratio: float) -> None:
    layout = laid_out()
    pixels, bare = laid(layout, 1, ratio=ratio)
    lane = layout.lanes[1]
    top, end, left = round(lane.top_px * ratio), round(lane.end_px * ratio), round(layout.left_px * ratio)
    inside = np.zeros(pixels.shape, np.bool_)
    inside[top:end, left:] = True
    assert (pixels[~inside] == bare).all()
    assert (pixels[inside] != bare).all()


def test_a_lane_that_is_scrolled_away_in_part_leaves_what_lies_above_alone() -> None:
    layout = laid_out(height_px=120.0, scroll_px=30.0)
    assert layout.lanes[0].top_px < layout.lanes_px
    pixels, bare = laid(layout, 0)
    assert (pixels[: round(layout.lanes_px)] == bare).all()
    assert (pixels[round(layout.lanes_px) : round(layout.lanes[0].end_px), 120:] != bare).all()


@pytest.mark.parametrize("theme", [DARK, SUN])
def test_each_row_is_what_it_stands_for(theme: Theme) -> None:
    layout = laid_out()
    pixels, _ = laid(layout, 0, theme=theme)
    lane = layout.lanes[0]
    plain = round(lane.y(0.0)) + 3
    assert pixels[plain, 150] == ink.solid(theme.ground)
    assert pixels[plain, 220] == ink.solid(theme.rule)
    assert pixels[plain, 320] == ink.solid(ink.mixed(theme.rule, theme.ground, 0.45))
    column = pixels[round(lane.top_px) : round(lane.end_px), 420]
    dots = (column == ink.solid(ink.mixed(theme.edge, theme.ground, 0.75))).sum()
    assert len(column) / 6 < dots < len(column) / 3
    for value, _ in steps(lane):
        assert pixels[round(lane.y(value)), 150] == ink.blended(np.array([ink.solid(theme.ground)]), theme.rule, 0.6)[0]
    for end in TRAVEL:
        assert pixels[round(lane.y(end)), 150] == ink.solid(theme.text)
    beyond = pixels[round(lane.top_px) : round(lane.y(60.0)), 120:220]
    assert 0.05 < (beyond != ink.solid(theme.ground)).mean() < 0.3  # slanted lines, not an area
    assert (pixels[round(lane.end_px) - 1, 120:] == ink.solid(theme.edge)).all()


@pytest.mark.parametrize("ratio", [1.0, 1.5, 2.0])
def test_a_broken_limit_is_tinted_from_end_to_end_and_hatched_above(ratio: float) -> None:
    layout = laid_out()
    lane = layout.lanes[1]
    with_it, _ = laid(layout, 1, ratio=ratio, over=stretch(200.0, 300.0))
    without, _ = laid(layout, 1, ratio=ratio)
    changed = (with_it != without).any(axis=0)
    assert np.flatnonzero(changed).tolist() == list(range(round(200 * ratio), round(300 * ratio)))
    row = round((lane.top_px + 20) * ratio)
    assert (with_it[row] != without[row]).sum() == round(100 * ratio)
    edge = with_it[round(lane.top_px * ratio) : round((lane.top_px + OVER_PX) * ratio) - 1]
    colours = {int(each) for each in np.unique(edge[:, round(200 * ratio) : round(300 * ratio)])}
    assert colours == {int(ink.solid(DARK.over)), int(ink.solid(DARK.over_text))}
    last = round(lane.end_px * ratio) - 1
    assert (with_it[last] == without[last]).all()


def test_a_short_stretch_is_seen_though_it_has_no_hatch() -> None:
    layout = laid_out()
    top = round(layout.lanes[1].top_px)
    pixels, _ = laid(layout, 1, over=stretch(250.0, 250.2))
    assert (pixels[top : top + 6, 250:252] == ink.solid(DARK.over)).all()
    assert (pixels[top : top + 6, 252] != ink.solid(DARK.over)).all()


def test_a_stretch_that_ends_at_the_edge_of_the_sight_ends_there() -> None:
    layout = laid_out()
    pixels, _ = laid(layout, 1, over=stretch(515.0, layout.width_px))
    without, _ = laid(layout, 1)
    assert np.flatnonzero((pixels != without).any(axis=0)).tolist() == list(range(515, 520))


@settings(max_examples=50, deadline=None)
@given(
    under=st.lists(st.integers(0, 0xFFFFFF), min_size=1, max_size=8),
    colour=st.integers(0, 0xFFFFFF),
    part=st.floats(0, 1),
)
def test_a_part_of_a_colour_covers_what_is_under_it(under: list[int], colour: int, part: float) -> None:
    pixels = np.array(under, np.uint32) | np.uint32(0xFF000000)
    found = ink.blended(pixels, f"#{colour:06x}", part)
    over = np.array([colour], np.uint32).view(np.uint8)[:3]
    wanted = pixels.view(np.uint8).reshape(-1, 4)[:, :3] * (1 - part) + over * part
    parts = found.view(np.uint8).reshape(-1, 4)
    assert np.abs(parts[:, :3] - wanted).max() <= 2
    assert (parts[:, 3] == 255).all()


def test_laid_is_a_choice() -> None:
    generator = np.random.default_rng(1)
    under, over = generator.integers(0, 2**32, (2, 5, 40), np.uint32)
    where = generator.integers(0, 2, (5, 40)).astype(np.bool_)
    assert (ink.laid(under, over, where * np.uint32(0xFFFFFFFF)) == np.where(where, over, under)).all()


def test_another_ground_is_laid_for_another_theme_and_size() -> None:
    layout = laid_out()
    dark, _ = laid(layout, 0)
    sun, _ = laid(layout, 0, theme=SUN)
    assert (dark[:, 120:] != sun[:, 120:]).any()
    taller = replace(layout.lanes[0], height_px=layout.lanes[0].height_px + 8)
    higher, bare = laid(replace(layout, lanes=(taller, *layout.lanes[1:])), 0)
    assert (higher[round(taller.end_px) - 1, 120:] != bare).all()
