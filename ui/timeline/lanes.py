"""One axis's lane: its name and scale, its curve and keys, its travel, and where it asks more than the axis can do.

It refuses to judge: what is too much stands in the shape.
"""

from collections.abc import Set
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from PyQt6.QtCore import QPointF, QRectF, Qt
from PyQt6.QtGui import QFontMetricsF, QPainter

from sequencer.motion.shape import Shape
from sequencer.rig.axis import Axis
from ui.language import translate
from ui.timeline import ink
from ui.timeline.geometry import Lane, Layout
from ui.timeline.judged import Judged, Stretches
from ui.timeline.look import Look
from ui.timeline.scale import steps
from ui.timeline.sheet import OVER_PX, down_px
from ui.timeline.trace import APART_PX, DENSE_PX, MARKED_PX, Sight, envelope, lines, sight
from ui.timeline.words import asked, unit_of

Floats = NDArray[np.float64]
Pixels = NDArray[np.uint32]

_LABELS = 4  # in a lane, at most
_STRIP_PX = 5.0  # of how many keys there are
_MOST_KEYS = 64  # in a column, as far as one can tell
_SEEN_PX = 1.0  # of a line, at least
_MOVING_PX = 2.0  # of the lines that make a curve while it moves
_NAME_PX = 78.0  # of the head, for the name


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Content:
    """What one lane shows. `ghost` is what a proposal makes of it; `current` says that the keyboard is in it.

    `found` are the stretches in sight in which limits are broken.
    """

    axis: Axis
    number: int
    judged: Judged | None
    found: Stretches | None
    ghost: Shape | None
    chosen: Set[int]
    current: bool

    @property
    def shape(self) -> Shape | None:
        """The track, compiled; None for an axis without keys."""
        return self.judged.shape if self.judged is not None else None


def draw_head(painter: QPainter, look: Look, layout: Layout, lane: Lane, what: Content) -> None:
    """Draw the lane's left edge: the axis's mark and name, its unit, and the scale."""
    theme = look.theme
    colour, mark = theme.track(what.number)
    area = QRectF(0, lane.top_px, layout.left_px, lane.height_px)
    painter.fillRect(area, ink.paint(theme.raised if what.current else theme.panel))
    if what.current:
        painter.fillRect(QRectF(0, lane.top_px, 4, lane.height_px - 1), ink.paint(theme.focus))
    ink.press(
        painter, ink.stamp(mark, colour, theme.panel, ink.MARK_PX, look.ratio), np.array([[15.0, lane.top_px + 15]])
    )
    painter.setFont(look.strong if what.current else look.name)
    painter.setPen(ink.paint(theme.text))
    metrics = QFontMetricsF(painter.font())
    name = metrics.elidedText(what.axis.name, Qt.TextElideMode.ElideRight, _NAME_PX - 22)
    painter.drawText(QPointF(25, lane.top_px + 20), name)
    painter.setFont(look.small)
    painter.setPen(ink.paint(theme.weak))
    painter.drawText(QPointF(25, lane.top_px + 37), unit_of(what.axis))
    for value, label in steps(lane):
        y = round(lane.y(value))
        painter.fillRect(QRectF(layout.left_px - 4, y, 4, 1), ink.paint(theme.edge))
        where = QRectF(_NAME_PX, y - 8, layout.left_px - _NAME_PX - 7, 16)
        painter.drawText(where, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, label)
    painter.fillRect(QRectF(layout.left_px - 1, lane.top_px, 1, lane.height_px), ink.paint(theme.edge))
    painter.fillRect(QRectF(0, lane.end_px - 1, layout.left_px, 1), ink.paint(theme.edge))


@dataclass(frozen=True, slots=True, eq=False)
class Canvas:
    """What is drawn on: with a painter, or as pixels of the screen in the same memory. Shape: (rows, columns).

    Of a lane, only the rows from `highest` up to `lowest` are drawn.
    """

    painter: QPainter
    pixels: Pixels
    highest: int = 0
    lowest: int = 1 << 30


def draw_body(canvas: Canvas, look: Look, layout: Layout, lane: Lane, what: Content) -> None:
    """Draw everything right of the lane's left edge, on its ground (`sheet`)."""
    painter = canvas.painter
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
    shape, found = what.shape, what.found
    if shape is not None and found is not None and len(shape.at_s):
        inside = sight(shape, layout)
        _rests(painter, look, layout, lane, what)
        _curve(canvas, look, layout, lane, what, inside)
        if what.ghost is not None:
            _ghost(painter, look, layout, lane, what.ghost)
        _keys(painter, look, layout, lane, what, inside)
        _labels(painter, look, layout, lane, what, found)
    else:
        painter.setFont(look.small)
        painter.setPen(ink.paint(look.theme.weak))
        words = translate("timeline", "no keys: stays where it is")
        painter.drawText(QPointF(layout.left_px + 12, lane.top_px + lane.height_px / 2 + 4), words)
        if what.ghost is not None:
            _ghost(painter, look, layout, lane, what.ghost)


def _labels(painter: QPainter, look: Look, layout: Layout, lane: Lane, what: Content, found: Stretches) -> None:
    """Write what is too much, the worst first, as far as there is room for it; and why a track cannot be compiled."""
    theme, judged = look.theme, what.judged
    assert judged is not None
    taken: list[tuple[float, float]] = []
    top_px = lane.top_px + OVER_PX
    fault = judged.shape.fault or (what.ghost.fault if what.ghost is not None else "")
    if not fault and not len(found.leg):
        return
    if fault:
        words = translate("timeline", "cannot be worked out: {fault}").format(fault=fault)
        room_px = layout.width_px - layout.left_px - 24
        words = look.shortened(words, room_px)
        plate = ink.worded(words, look.small, theme.fault_text, theme.fault, look.ratio, 5)
        painter.drawPixmap(QPointF(layout.left_px + 6, top_px), plate)
        taken.append((layout.left_px, layout.width_px))
    for place in np.argsort(-found.excess, kind="stable")[:_LABELS].tolist():
        words = asked(judged.over(int(found.leg[place])), judged.shape.axis)
        wide = look.width_px(words) + 10
        from_px = min(max(layout.left_px + 2, float(found.from_px[place])), layout.width_px - wide)
        if all(from_px + wide < begin or from_px > end for begin, end in taken):
            taken.append((from_px - 4, from_px + wide + 4))
            plate = ink.worded(words, look.small, theme.over_text, theme.over, look.ratio, 5)
            painter.drawPixmap(QPointF(round(from_px), top_px), plate)


def _rests(painter: QPainter, look: Look, layout: Layout, lane: Lane, what: Content) -> None:
    """Draw where the axis stands before its first key and after its last one."""
    shape = what.shape
    assert shape is not None
    first_px, last_px = layout.x(float(shape.at_s[0])), layout.x(float(shape.at_s[-1]))
    if first_px < layout.left_px + _SEEN_PX and last_px > layout.width_px - _SEEN_PX:
        return
    colour, _ = look.theme.track(what.number)
    painter.setPen(ink.pen(colour, 1.0, Qt.PenStyle.DotLine, 0.8))
    y, end_y = round(lane.y(float(shape.value[0]))), round(lane.y(float(shape.value[-1])))
    if first_px >= layout.left_px + _SEEN_PX:
        painter.drawLine(QPointF(layout.left_px, y), QPointF(min(first_px, layout.width_px), y))
    if last_px <= layout.width_px - _SEEN_PX:
        painter.drawLine(QPointF(max(last_px, layout.left_px), end_y), QPointF(layout.width_px, end_y))


def _curve(canvas: Canvas, look: Look, layout: Layout, lane: Lane, what: Content, inside: Sight) -> None:
    """Draw the curve; where keys are too dense for marks, how many there are stands along the lower edge."""
    judged, shape, colour, painter = what.judged, what.shape, look.theme.track(what.number)[0], canvas.painter
    assert judged is not None
    assert shape is not None
    if inside.mean_px < DENSE_PX:
        _dense(canvas, look, layout, lane, judged, colour)
        return
    if inside.mean_px < APART_PX:
        edge_s = np.linspace(layout.begin_s, layout.end_s, round((layout.width_px - layout.left_px) * look.ratio) + 1)
        bars = _bars(np.diff(np.searchsorted(shape.at_s, edge_s)), look.ratio)
        height = round(_STRIP_PX * look.ratio)
        strip = ink.columns(height - bars, np.where(bars, height - 1, -1), height, colour, ratio=look.ratio)
        painter.drawImage(QPointF(layout.left_px, lane.end_px - 2 - _STRIP_PX), strip)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
    painter.setPen(ink.hair(colour) if lane.axis in look.thin else ink.pen(colour, look.theme.line_px))
    ink.rule(painter, lines(shape, layout, lane, _MOVING_PX if lane.axis in look.thin else 1.0))
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)


def _dense(canvas: Canvas, look: Look, layout: Layout, lane: Lane, judged: Judged, colour: str) -> None:
    found = envelope(judged.shape, layout, 1 / look.ratio, judged.at_s)
    if not len(found.low):
        return
    height = round(lane.height_px * look.ratio)
    rows_a_value = height / (lane.high - lane.low)
    top, end = (lane.high - found.high) * rows_a_value, (lane.high - found.low) * rows_a_value
    foot = height - 1 - round(look.ratio)
    rows = (foot - _bars(found.keys, look.ratio), foot)
    left, highest = round(layout.left_px * look.ratio) + found.begin, down_px(lane, look.ratio)[0]
    begin, lowest = max(highest, canvas.highest), min(highest + height, canvas.lowest)
    if begin < lowest:
        block = canvas.pixels[begin:lowest, left : left + len(top)]
        wide = block.shape[1]
        ink.fill_columns(block, top[:wide], end[:wide], height, colour, (rows[0][:wide], rows[1]), begin - highest)


def _bars(keys: NDArray[np.int64], ratio: float) -> NDArray[np.int64]:
    """Return how high the bar is that says how many keys are in each column. Unit: pixels of the screen."""
    return _heights(ratio)[np.minimum(keys, _MOST_KEYS - 1)]


@lru_cache(maxsize=8)
def _heights(ratio: float) -> NDArray[np.int64]:
    heights = np.minimum(_STRIP_PX, 1.0 + np.log2(np.arange(1.0, _MOST_KEYS))) * ratio
    return np.append(0, np.round(heights)).astype(np.int64)


def _ghost(painter: QPainter, look: Look, layout: Layout, lane: Lane, ghost: Shape) -> None:
    inside = sight(ghost, layout)
    if inside.mean_px < DENSE_PX:
        found = envelope(ghost, layout)
        x = layout.left_px + found.begin + 0.5 + np.arange(len(found.low))
        px_a_value = lane.height_px / (lane.high - lane.low)
        upper = lane.top_px + (lane.high - found.high) * px_a_value
        lower = lane.top_px + (lane.high - found.low) * px_a_value
        painter.setPen(ink.hair(look.theme.text))
        ink.rule(painter, ink.dashed(np.stack((x, upper, x, np.maximum(lower, upper + 1)), axis=1)))
        return
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
    painter.setPen(
        ink.hair(look.theme.text) if lane.axis in look.thin else ink.pen(look.theme.text, look.theme.line_px)
    )
    ink.rule(painter, ink.dashed(lines(ghost, layout, lane)))
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
    if inside.mean_px >= MARKED_PX:
        points = _points(ghost, layout, lane, np.arange(inside.first, inside.last))
        ink.press(painter, ink.stamp("circle", look.theme.text, look.theme.ground, 3.5, look.ratio, "ghost"), points)


def _points(shape: Shape, layout: Layout, lane: Lane, numbers: NDArray[np.int64]) -> Floats:
    """Return where these keys lie, as far as they are in sight. Shape: (N, 2)."""
    x = layout.left_px + (shape.at_s[numbers] - layout.begin_s) * layout.px_a_s
    y = lane.top_px + (lane.high - shape.value[numbers]) * (lane.height_px / (lane.high - lane.low))
    return np.stack((x, y), axis=1)[(x > layout.left_px - 9) & (x < layout.width_px + 9)]


def _keys(painter: QPainter, look: Look, layout: Layout, lane: Lane, what: Content, inside: Sight) -> None:
    shape, theme = what.shape, look.theme
    assert shape is not None
    colour, mark = theme.track(what.number)
    chosen = np.array(sorted(each for each in what.chosen if inside.first <= each < inside.last), np.int64)
    if inside.mean_px < APART_PX:
        if len(chosen):
            points = _points(shape, layout, lane, chosen)
            painter.setPen(ink.pen(theme.chosen, 2.0))
            ink.rule(painter, ink.upright(points[:, 0], lane.end_px - 1 - 3 * _STRIP_PX, lane.end_px - 1))
        if len(chosen) > 200:
            return
    elif inside.mean_px < MARKED_PX:
        points = np.round(_points(shape, layout, lane, np.arange(inside.first, inside.last)))
        for shade, width_px in ((theme.ground, 7.0), (colour, 5.0)):
            painter.setPen(ink.square(shade, width_px))
            ink.dot(painter, points)
    else:
        plain = np.setdiff1d(np.arange(inside.first, inside.last), chosen, assume_unique=True)
        pinned = np.array([number for number in plain.tolist() if shape.track.keys[number].pin], np.int64)
        for numbers, kind in ((np.setdiff1d(plain, pinned), "plain"), (pinned, "pinned")):
            picture = ink.stamp(mark, colour, theme.ground, ink.MARK_PX, look.ratio, kind)
            ink.press(painter, picture, _points(shape, layout, lane, numbers))
    if len(chosen):
        picture = ink.stamp(mark, theme.chosen, theme.ground, ink.CHOSEN_PX, look.ratio, "chosen")
        ink.press(painter, picture, _points(shape, layout, lane, chosen))
