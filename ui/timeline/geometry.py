"""Where everything of the timeline lies: time across, one lane an axis down, and which key is under the pointer.

It refuses to know Qt, and to hide an axis: what does not fit is scrolled.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import floor

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.shape import Shape
from ui.theme import LEFT_PX

Floats = NDArray[np.float64]

RULER_PX = 26.0
ROW_PX = 22.0  # of markers, and of cues
WAVE_PX = (32.0, 60.0)  # at least, at most
LANE_PX = 56.0  # at least
WITHIN_PX = 8.0  # of the pointer a key is meant
_ROOM_PX = 12.0  # between a lane's curve and its edges
_WAVE_PART = 0.14  # of the height
_PARTS = 2.0**24  # of a pixel
_WHOLE_PX = 1e-5  # from a whole number, that are none
_SAME = 1e-9  # of a scale, by which it may differ and be the same


@dataclass(frozen=True, slots=True)
class Band:
    """A strip across the timeline."""

    top_px: float
    height_px: float

    @property
    def end_px(self) -> float:
        return self.top_px + self.height_px


@dataclass(frozen=True, slots=True)
class Lane:
    """The strip of one axis, and the values at its lower and upper edge."""

    axis: str
    top_px: float
    height_px: float
    low: float
    high: float

    @property
    def end_px(self) -> float:
        return self.top_px + self.height_px

    def y(self, value: float) -> float:
        """Return how far down `value` is drawn."""
        return self.top_px + (self.high - value) * self.height_px / (self.high - self.low)

    def value(self, y_px: float) -> float:
        """Return the value that is drawn at `y_px`."""
        return self.high - (y_px - self.top_px) * (self.high - self.low) / self.height_px


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """The timeline as it is laid out now: seconds from the project's start across, right of `left_px`.

    From the top: the ruler, the markers and cues (`music`), the playback (`wave`), the lanes from `lanes_px` on. Lanes
    that are scrolled away lie above `lanes_px` or below `height_px`. `px_a_s` is how many pixels a second takes, and
    `kept_px_a_s`, where it is not 0, that of an earlier layout, which this one's differs from by rounding only.
    `zero_px` is how far to the right the project's start is drawn: a whole number, and exactly so, once `on_pixels`.
    """

    width_px: float
    height_px: float
    begin_s: float
    end_s: float
    ruler_px: float
    lanes: tuple[Lane, ...]
    wave: Band | None = None
    music: Band | None = None
    left_px: float = float(LEFT_PX)
    lanes_px: float = RULER_PX
    kept_px_a_s: float = 0.0
    px_a_s: float = field(init=False, compare=False)
    zero_px: float = field(init=False, compare=False)

    def __post_init__(self) -> None:
        px_a_s = self.kept_px_a_s or max(1.0, self.width_px - self.left_px) / (self.end_s - self.begin_s)
        exact = self.left_px - self.begin_s * px_a_s
        whole = floor(exact + 0.5)
        # worked out once: everything that is drawn asks for them
        object.__setattr__(self, "px_a_s", px_a_s)
        object.__setattr__(self, "zero_px", float(whole) if abs(exact - whole) < _WHOLE_PX else exact)

    @property
    def all_lanes_px(self) -> float:
        """How high all lanes are together, scrolled away or not."""
        return sum(lane.height_px for lane in self.lanes)

    @property
    def furthest_px(self) -> float:
        """How far the lanes can be scrolled."""
        return max(0.0, self.all_lanes_px - (self.height_px - self.lanes_px))

    def x(self, t_s: float) -> float:
        """Return how far to the right the instant `t_s` is drawn."""
        return self.left_px + (t_s - self.begin_s) * self.px_a_s

    def across(self, at_s: Floats) -> Floats:
        """Return how far to the right instants are drawn: by a whole number less once scrolled, and not by a hair more.

        Shape: any.
        """
        # to parts of a pixel that stay what they are when a whole number is added: halves are rounded alike everywhere
        made: Floats = np.rint(at_s * (self.px_a_s * _PARTS)) / _PARTS + self.zero_px
        return made

    def t_s(self, x_px: float) -> float:
        """Return the instant that is drawn at `x_px`."""
        return self.begin_s + (x_px - self.left_px) / self.px_a_s

    def lane(self, axis: str) -> Lane:
        """Return the lane of `axis`. Error: KeyError where the rig has no such axis."""
        for lane in self.lanes:
            if lane.axis == axis:
                return lane
        raise KeyError(axis)

    def lane_at(self, y_px: float) -> Lane | None:
        """Return the lane in sight at `y_px`."""
        if not self.lanes_px <= y_px < self.height_px:
            return None
        return next((lane for lane in self.lanes if lane.top_px <= y_px < lane.end_px), None)


def on_pixels(layout: Layout, before: Layout | None = None) -> Layout:
    """Return the layout with its left edge moved onto a whole pixel of time; at the scale of `before`, if that is its.

    What was drawn of one such layout is what is drawn of another, shifted by whole pixels, if their scale is the same.
    """
    px_a_s, lasts_s = layout.px_a_s, layout.end_s - layout.begin_s
    if before is not None and abs(before.px_a_s - px_a_s) < _SAME * px_a_s:
        px_a_s = before.px_a_s
    begin_s = floor(layout.begin_s * px_a_s + 0.5) / px_a_s
    return replace(layout, begin_s=begin_s, end_s=begin_s + lasts_s, kept_px_a_s=px_a_s)


@dataclass(frozen=True, slots=True)
class Hit:
    """One key, by its axis and its number."""

    axis: str
    key: int


def arrange(
    size_px: tuple[float, float],
    span_s: tuple[float, float],
    ranges: Sequence[tuple[str, tuple[float, float]]],
    *,
    rows: int = 0,
    waved: bool = False,
    scroll_px: float = 0.0,
) -> Layout:
    """Lay out a timeline of this size: `rows` of markers and cues, the playback, and a lane for each of `ranges`.

    `ranges` are the axes, from the top, with the values that their lanes show; lanes share the height that is left.
    """
    width_px, height_px = size_px
    top_px = RULER_PX
    music = Band(top_px, rows * ROW_PX) if rows else None
    top_px += rows * ROW_PX
    wave = None
    if waved:
        least, most = WAVE_PX
        wave = Band(top_px, min(most, max(least, round(height_px * _WAVE_PART))))
        top_px += wave.height_px
    each_px = max(LANE_PX, (height_px - top_px) // max(1, len(ranges)))
    furthest_px = max(0.0, each_px * len(ranges) - (height_px - top_px))
    begin_px = top_px - round(min(max(0.0, scroll_px), furthest_px))
    lanes = tuple(
        Lane(axis, begin_px + number * each_px, each_px, low, high) for number, (axis, (low, high)) in enumerate(ranges)
    )
    return Layout(
        width_px=width_px,
        height_px=height_px,
        begin_s=span_s[0],
        end_s=span_s[1],
        ruler_px=RULER_PX,
        lanes=lanes,
        wave=wave,
        music=music,
        lanes_px=top_px,
    )


def shown(
    shape: Shape | None, travel: tuple[float, float] | None, home: float, height_px: float
) -> tuple[float, float]:
    """Return the values at the lower and upper edge of a lane: those of its curve with room, and a near end of travel.

    An axis without keys is shown about its home.
    """
    if shape is None or not len(shape.value):
        low = high = home
    else:
        low, high = float(shape.value.min()), float(shape.value.max())
        for more in (shape.low, shape.high):
            finite = more[np.isfinite(more)]
            if len(finite):
                low, high = min(low, float(finite.min())), max(high, float(finite.max()))
    whole = travel[1] - travel[0] if travel else max(abs(high), 1.0)
    least = max(0.02 * whole, 1e-6)
    if high - low < least:
        middle = (low + high) / 2
        low, high = middle - least / 2, middle + least / 2
    if travel is not None:  # an end that is nearly reached, or crossed, belongs in sight
        near = 0.15 * (high - low)
        low = min(low, travel[0]) if abs(low - travel[0]) < near else low
        high = max(high, travel[1]) if abs(travel[1] - high) < near else high
    room = (high - low) * _ROOM_PX / max(1.0, height_px - 2 * _ROOM_PX)
    return low - room, high + room


def hit(
    layout: Layout, shapes: Mapping[str, Shape], x_px: float, y_px: float, within_px: float = WITHIN_PX
) -> Hit | None:
    """Return the key nearest to the point, if one is within `within_px`."""
    if not layout.lanes_px <= y_px < layout.height_px or x_px < layout.left_px - within_px:
        return None
    found, least = None, within_px * within_px
    t_s, around_s = layout.t_s(x_px), within_px / layout.px_a_s
    for lane in layout.lanes:
        if not lane.top_px - within_px <= y_px <= lane.end_px + within_px or lane.axis not in shapes:
            continue
        shape = shapes[lane.axis]
        first = int(np.searchsorted(shape.at_s, t_s - around_s, "left"))
        last = int(np.searchsorted(shape.at_s, t_s + around_s, "right"))
        if first == last:
            continue
        across = (shape.at_s[first:last] - t_s) * layout.px_a_s
        down = (lane.value(y_px) - shape.value[first:last]) * (lane.height_px / (lane.high - lane.low))
        far = across * across + down * down
        nearest = int(far.argmin())
        if far[nearest] <= least:
            found, least = Hit(lane.axis, first + nearest), float(far[nearest])
    return found


def boxed(
    layout: Layout, shapes: Mapping[str, Shape], x0_px: float, y0_px: float, x1_px: float, y1_px: float
) -> dict[str, frozenset[int]]:
    """Return the keys in the box between two corners, by axis; no axis without any."""
    from_s, to_s = sorted((layout.t_s(x0_px), layout.t_s(x1_px)))
    top_px, end_px = sorted((y0_px, y1_px))
    found = {}
    for lane in layout.lanes:
        if lane.axis not in shapes or lane.end_px < top_px or lane.top_px > end_px:
            continue
        shape = shapes[lane.axis]
        first = int(np.searchsorted(shape.at_s, from_s, "left"))
        value = shape.value[first : int(np.searchsorted(shape.at_s, to_s, "right"))]
        inside = (value <= lane.value(top_px)) & (value >= lane.value(end_px))
        if inside.any():
            found[lane.axis] = frozenset((np.flatnonzero(inside) + first).tolist())
    return found
