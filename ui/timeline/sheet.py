"""What lies under the curves of a lane, laid as rows of pixels: bars and beats, levels, travel, broken limits.

It refuses to draw line by line: a lane has but a few rows that differ, and each is worked out once.
"""

from dataclasses import dataclass
from functools import lru_cache
from math import floor

import numpy as np
from numpy.typing import NDArray

from ui.timeline import ink
from ui.timeline.geometry import Lane, Layout
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
    """The rows of one lane, `top` up to `end`: `kind` of each, and those that are not plain as `runs` (first, up to,
    each how many rows, kind); `dots`, those in which markers have their dots. `slanted`: some are beyond the travel.
    Unit: pixels of the screen.
    """

    top: int
    end: int
    kind: Ints
    runs: tuple[tuple[int, int, int, int], ...]
    dots: Ints
    slanted: bool


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
    dots = y[(y % tile < tile // _TILE_PX) & (kind != _END) & (kind != _EDGE)]
    return Rows(top, end, kind, _runs(top, kind, _HATCH_PX * thick), dots, bool((kind >= _SLANTED).any()))


def _runs(top: int, kind: Ints, period: int) -> tuple[tuple[int, int, int, int], ...]:
    """Return the rows that are not plain: those of slanted lines come again after each period."""
    zone = np.minimum(kind, _SLANTED)
    starts = np.append(0, 1 + np.flatnonzero(np.diff(zone)))
    found: list[tuple[int, int, int, int]] = []
    for first, last in zip(starts.tolist(), [*starts[1:].tolist(), len(kind)], strict=True):
        if zone[first] == _SLANTED:
            each = range(first, min(first + period, last))
            found += [(top + row, top + last, period, int(kind[row])) for row in each]
        elif zone[first] != _PLAIN:
            found.append((top + first, top + last, 1, int(kind[first])))
    return tuple(found)


class Sheet:
    """What lies under the lanes' curves in one frame. It lays pixels of the screen, those between two rows.

    `between` are the columns that it lays, if not all: from the one, up to the other. What it lays belongs to the time
    that is there: scrolled, it is the same but in another place.
    """

    def __init__(self, look: Look, layout: Layout, grid: Grid, between: tuple[int, int] | None = None) -> None:
        self._look = look
        self._begin = across_px(layout, look.ratio)[0]
        self._left, self._end = between or across_px(layout, look.ratio)
        self._between = round(layout.lanes_px * look.ratio), round(layout.height_px * look.ratio)
        self._thick = max(1, round(look.ratio))
        zero = floor(layout.zero_px * look.ratio + 0.5) % (_HATCH_PX * self._thick)
        self._lines = _slanted((self._left - zero) % (_HATCH_PX * self._thick), self._end - self._left, self._thick)
        self._bare, self._columns, self._dot = self._laid_out(layout, grid)
        self._each: dict[tuple[bool, bool], tuple[Pixels, Pixels]] = {}
        self._edge = self._hatched()

    def lay(
        self, pixels: Pixels, lane: Lane, travel: tuple[float, float] | None, over: tuple[Floats, Floats] | None
    ) -> None:
        """Lay the lane's ground. `over`: where limits are broken, from where and up to where (see `Judged.tints`)."""
        of = rows(lane, travel, self._look.ratio)
        kinds, dotted = self._kinds(of.slanted, over=False)
        inside = broad = None
        if over is not None and len(over[0]):
            inside, broad = self._stretches(*over)
            tinted = self._kinds(of.slanted, over=True)
            kinds = ink.laid(kinds, tinted[0], inside)
            dotted = ink.laid(dotted, tinted[1], inside[self._columns])
        left, end, (highest, lowest) = self._left, self._end, self._between
        pixels[max(of.top, highest) : min(of.end, lowest), left:end] = kinds[_PLAIN]
        for begin, stop, step, kind in of.runs:
            first = begin if begin >= highest else begin + -((begin - highest) // step) * step
            pixels[first : max(0, min(stop, lowest)) : step, left:end] = kinds[kind]
        if len(self._columns):
            dots = of.dots[(of.dots >= highest) & (of.dots < lowest)]
            pixels[dots[:, None], left + self._columns] = dotted[of.kind[dots - of.top]]
        if inside is not None and broad is not None:
            self._lay_edge(pixels, of, inside, broad)

    def _stretches(self, from_px: Floats, to_px: Floats) -> tuple[Pixels, Pixels]:
        """Return which columns lie in stretches, and which in those that are broad enough for a hatch."""
        ratio, wide = self._look.ratio, self._end - self._left
        from_px = np.floor(from_px + 0.5)
        to_px = np.maximum(np.floor(to_px + 0.5), from_px + _LEAST_PX)
        begin, end = (np.floor(each * ratio + 0.5).astype(np.int64) - self._left for each in (from_px, to_px))
        broad = to_px - from_px >= OVER_PX
        inside = _inside(begin, end, wide)
        return inside, inside if broad.all() else _inside(begin[broad], end[broad], wide)

    def _lay_edge(self, pixels: Pixels, of: Rows, inside: Pixels, broad: Pixels) -> None:
        """Lay a hatched edge above where limits are broken: seen without colours too."""
        highest, lowest = self._between
        first = max(of.top, highest)
        last = min(of.end - self._thick, lowest, of.top + round(OVER_PX * self._look.ratio))
        if first >= last:
            return
        at = first % (_HATCH_PX * self._thick)
        over = ink.solid(self._look.theme.over)
        there = pixels[first:last, self._left : self._end]
        hatched = self._edge[at : at + last - first]
        if broad is not inside:
            hatched = ink.laid(over, hatched, broad)
        there ^= (there ^ hatched) & inside

    def _hatched(self) -> Pixels:
        """Return the rows of a hatched edge, twice as many as it takes until they are there again."""
        theme = self._look.theme
        return np.tile(ink.laid(ink.solid(theme.over), ink.solid(theme.over_text), self._lines), (2, 1))

    def _laid_out(self, layout: Layout, grid: Grid) -> tuple[Pixels, Ints, np.uint32]:
        """Return a plain row; the columns where markers have dots; and the colour of these."""
        theme, ratio, wide = self._look.theme, self._look.ratio, self._end - self._left
        bare, columns = np.full(wide, ink.solid(theme.ground)), np.empty(0, np.int64)
        for places, colour, share in (
            (grid.fine_px, theme.rule, 0.45),
            (grid.strong_px, theme.rule, 1.0),
            (grid.markers_px, theme.edge, 0.75),
        ):
            far_px = np.floor(places + 0.5) - layout.left_px
            columns = np.floor(far_px * ratio + 0.5).astype(np.int64) + (self._begin - self._left)
            columns = columns[(columns >= 0) & (columns < wide)]
            shade = ink.solid(ink.mixed(colour, theme.ground, share))
            if places is not grid.markers_px:
                bare[columns] = shade
        return bare, columns, shade

    def _kinds(self, slanted: bool, *, over: bool) -> tuple[Pixels, Pixels]:
        """Return a row of each kind, and the same in the columns where markers have dots; `over`: limits are broken."""
        if (slanted, over) not in self._each:
            theme = self._look.theme
            if over:
                made = [ink.blended(each, theme.over, _OVER) for each in self._kinds(slanted, over=False)]
                for each in made:
                    each[_EDGE] = ink.solid(theme.edge)
                self._each[slanted, over] = made[0], made[1]
            else:
                lines = self._lines if slanted else self._lines[:0]
                dots = np.full(len(self._columns), self._dot)
                self._each[slanted, over] = self._rows(self._bare, lines), self._rows(dots, lines[:, self._columns])
        return self._each[slanted, over]

    def _rows(self, bare: Pixels, lines: Pixels) -> Pixels:
        """Return a row of each kind, made of a plain one."""
        theme = self._look.theme
        made = np.empty((_SLANTED + len(lines), len(bare)), np.uint32)
        made[_PLAIN], made[_LEVEL_ROW] = bare, ink.blended(bare, theme.rule, _LEVEL)
        made[_END], made[_EDGE] = ink.solid(theme.text), ink.solid(theme.edge)
        if len(lines):
            made[_SLANTED:] = ink.laid(bare, ink.blended(bare, theme.edge, _BEYOND), lines)
        return made


def _inside(begin: Ints, end: Ints, wide: int) -> Pixels:
    """Return all bits in the columns that lie in one of the stretches, which do not touch."""
    there = (end > 0) & (begin < wide)
    turns = np.zeros(wide + 1, np.int32)
    turns[np.maximum(begin[there], 0)] = -1
    turns[np.minimum(end[there], wide)] = 1
    return np.cumsum(turns[:wide], dtype=np.int32).view(np.uint32)


@lru_cache(maxsize=64)
def _slanted(left: int, wide: int, thick: int) -> Pixels:
    """Return all bits where slanted lines are, in as many rows as it takes until they are there again."""
    period = _HATCH_PX * thick
    lines = (np.arange(period)[:, None] + np.arange(left, left + wide)) // thick % _HATCH_PX == 0
    made: Pixels = lines * np.uint32(0xFFFFFFFF)
    return made
