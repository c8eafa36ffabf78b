"""What lies under the curves of a lane, laid as rows of pixels: bars and beats, levels, travel, broken limits.

It refuses to draw line by line: a lane has but a few rows that differ, and each is worked out once.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from ui.timeline import ink
from ui.timeline.geometry import Lane, Layout
from ui.timeline.judged import Stretches
from ui.timeline.look import Look
from ui.timeline.scale import steps

Floats = NDArray[np.float64]
Pixels = NDArray[np.uint32]
Ints = NDArray[np.int64]

OVER_PX = 7.0  # of the hatch along the upper edge
_TILE_PX = 4  # from one dot of a marker to the next
_HATCH_PX = 8  # from one slanted line to the next
_LEAST_PX = 2.0  # of a stretch in which a limit is broken
_LEVEL, _BEYOND, _OVER = 0.6, 0.55, 0.22  # how much of each colour covers what is under it
# kinds of rows: most of them, with a level, an end of travel, the line below; then those beyond an end of travel
_PLAIN, _LEVEL_ROW, _END, _EDGE, _SLANTED = range(5)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Grid:
    """Upright lines that all lanes share. Unit: pixels across."""

    strong_px: Floats
    fine_px: Floats
    markers_px: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """The rows of one lane, `top` up to `end`: `kind` of each, `runs` of those that are not plain (first, last, kind),
    and `dots`, those in which markers have their dots. Unit: pixels of the screen.
    """

    top: int
    end: int
    kind: Ints
    runs: tuple[tuple[int, int, int], ...]
    dots: Ints


def across_px(layout: Layout, ratio: float) -> tuple[int, int]:
    """Return the first column of the lanes, and the one after the last. Unit: pixels of the screen."""
    left = round(layout.left_px * ratio)
    return left, max(left + 1, round(layout.width_px * ratio))


def down_px(lane: Lane, ratio: float) -> tuple[int, int]:
    """Return the first row of the lane, and the one after the last. Unit: pixels of the screen."""
    return round(lane.top_px * ratio), round(lane.end_px * ratio)


@lru_cache(maxsize=64)
def rows(lane: Lane, travel: tuple[float, float] | None, ratio: float) -> Rows:
    """Return the kinds of a lane's rows, from the top."""
    top, end = down_px(lane, ratio)
    y, thick, tile = np.arange(top, end), max(1, round(ratio)), max(_TILE_PX, round(_TILE_PX * ratio))
    kind = np.full(len(y), _PLAIN)

    def place(value: float) -> int:
        return round(round(lane.y(value)) * ratio)

    for value, _ in steps(lane):
        kind[(y >= place(value)) & (y < place(value) + thick)] = _LEVEL_ROW
    if travel is not None:
        slant = _SLANTED + y % (_HATCH_PX * thick)
        for edge, beyond in ((travel[0], y >= place(travel[0])), (travel[1], y < place(travel[1]))):
            if lane.low < edge < lane.high:
                kind[beyond] = slant[beyond]
                kind[(y >= place(edge)) & (y < place(edge) + thick)] = _END
    kind[-thick:] = _EDGE
    starts = np.append(0, 1 + np.flatnonzero(np.diff(kind)))
    ends = np.append(starts[1:], len(kind))
    runs = zip((top + starts).tolist(), (top + ends).tolist(), kind[starts].tolist(), strict=True)
    dots = y[(y % tile < tile // _TILE_PX) & (kind != _END) & (kind != _EDGE)]
    return Rows(top, end, kind, tuple(run for run in runs if run[2] != _PLAIN), dots)


class Sheet:
    """What lies under the lanes' curves in one frame. It lays pixels of the screen, those between two rows."""

    def __init__(self, look: Look, layout: Layout, grid: Grid) -> None:
        self._look = look
        self._left, self._end = across_px(layout, look.ratio)
        self._between = round(layout.lanes_px * look.ratio), round(layout.height_px * look.ratio)
        self._thick = max(1, round(look.ratio))
        self._kinds, self._dotted, self._columns = self._laid_out(layout, grid)
        self._tinted: tuple[Pixels, Pixels] | None = None

    def lay(self, pixels: Pixels, lane: Lane, travel: tuple[float, float] | None, found: Stretches | None) -> None:
        """Lay the lane's ground."""
        of, kinds, dotted = rows(lane, travel, self._look.ratio), self._kinds, self._dotted
        inside = broad = None
        if found is not None and len(found.leg):
            inside, broad = self._stretches(found)
            over = self._over()
            kinds, dotted = ink.laid(kinds, over[0], inside), ink.laid(dotted, over[1], inside[self._columns])
        left, end, (highest, lowest) = self._left, self._end, self._between
        pixels[max(of.top, highest) : min(of.end, lowest), left:end] = kinds[_PLAIN]
        for begin, stop, kind in of.runs:
            pixels[max(begin, highest) : max(0, min(stop, lowest)), left:end] = kinds[kind]
        if len(self._columns):
            dots = of.dots[(of.dots >= highest) & (of.dots < lowest)]
            pixels[dots[:, None], left + self._columns] = dotted[of.kind[dots - of.top]]
        if inside is not None and broad is not None:
            self._lay_edge(pixels, of, inside, broad)

    def _stretches(self, found: Stretches) -> tuple[Pixels, Pixels]:
        """Return which columns lie in stretches, and which in those that are broad enough for a hatch."""
        ratio, wide = self._look.ratio, self._end - self._left
        begin = np.rint(np.rint(found.from_px) * ratio).astype(np.int64) - self._left
        wide_px = np.rint(np.maximum(found.to_px - found.from_px, _LEAST_PX))
        end = begin + np.rint(wide_px * ratio).astype(np.int64)
        inside = _inside(begin, end, wide)
        broad = wide_px >= OVER_PX
        return inside, inside if broad.all() else _inside(begin[broad], end[broad], wide)

    def _lay_edge(self, pixels: Pixels, of: Rows, inside: Pixels, broad: Pixels) -> None:
        """Lay a hatched edge above where limits are broken: seen without colours too."""
        theme, (highest, lowest) = self._look.theme, self._between
        first = max(of.top, highest)
        last = min(of.end - self._thick, lowest, of.top + round(OVER_PX * self._look.ratio))
        if first >= last:
            return
        lines = _slanted(self._left, self._end - self._left, self._thick)
        lines = lines.take(np.arange(first, last) % len(lines), axis=0)
        lines &= broad
        lines &= ink.solid(theme.over) ^ ink.solid(theme.over_text)
        lines ^= ink.solid(theme.over)
        there = pixels[first:last, self._left : self._end]
        there ^= (there ^ lines) & inside

    def _laid_out(self, layout: Layout, grid: Grid) -> tuple[Pixels, Pixels, Ints]:
        """Return a row of each kind; the same in the columns where markers have dots; and these columns."""
        theme, ratio, wide = self._look.theme, self._look.ratio, self._end - self._left
        bare, columns = np.full(wide, ink.solid(theme.ground)), np.empty(0, np.int64)
        for places, colour, share in (
            (grid.fine_px, theme.rule, 0.45),
            (grid.strong_px, theme.rule, 1.0),
            (grid.markers_px, theme.edge, 0.75),
        ):
            columns = np.rint((np.rint(places) - layout.left_px) * ratio).astype(np.int64)
            columns = columns[(columns >= 0) & (columns < wide)]
            shade = ink.solid(ink.mixed(colour, theme.ground, share))
            if places is not grid.markers_px:
                bare[columns] = shade
        lines = _slanted(self._left, wide, self._thick)
        return self._each(bare, lines), self._each(np.full(len(columns), shade), lines[:, columns]), columns

    def _each(self, bare: Pixels, lines: Pixels) -> Pixels:
        """Return a row of each kind, made of a plain one."""
        theme = self._look.theme
        made = np.empty((_SLANTED + len(lines), len(bare)), np.uint32)
        made[_PLAIN], made[_LEVEL_ROW] = bare, ink.blended(bare, theme.rule, _LEVEL)
        made[_END], made[_EDGE] = ink.solid(theme.text), ink.solid(theme.edge)
        made[_SLANTED:] = ink.laid(bare, ink.blended(bare, theme.edge, _BEYOND), lines)
        return made

    def _over(self) -> tuple[Pixels, Pixels]:
        """Return rows of each kind, and in the markers' columns, where a limit is broken."""
        if self._tinted is None:
            theme = self._look.theme
            made = [ink.blended(each, theme.over, _OVER) for each in (self._kinds, self._dotted)]
            for each in made:
                each[_EDGE] = ink.solid(theme.edge)
            self._tinted = made[0], made[1]
        return self._tinted


def _inside(begin: Ints, end: Ints, wide: int) -> Pixels:
    """Return all bits in the columns that lie in one of the stretches, which do not touch."""
    turns = np.zeros(wide + 1, np.int32)
    turns[np.minimum(begin, wide)] = -1
    turns[np.minimum(end, wide)] = 1
    return np.cumsum(turns[:wide], dtype=np.int32).view(np.uint32)


@lru_cache(maxsize=4)
def _slanted(left: int, wide: int, thick: int) -> Pixels:
    """Return all bits where slanted lines are, in as many rows as it takes until they are there again."""
    period = _HATCH_PX * thick
    lines = (np.arange(period)[:, None] + np.arange(left, left + wide)) // thick % _HATCH_PX == 0
    made: Pixels = lines * np.uint32(0xFFFFFFFF)
    return made
