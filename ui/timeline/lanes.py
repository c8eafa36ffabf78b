"""One axis's lane: its name and scale, its curve and keys, its travel, and where it asks more than the axis can do.

It refuses to judge: what is too much stands in the shape.
"""

from collections.abc import Set
from dataclasses import dataclass
from functools import lru_cache
from math import floor, inf

import numpy as np
from numpy.typing import NDArray
from PyQt6.QtCore import QPointF, QRectF, Qt
from PyQt6.QtGui import QFontMetricsF, QPainter, QPixmap

from sequencer.motion.shape import Shape
from sequencer.rig.axis import Axis
from ui.language import translate
from ui.timeline import ink
from ui.timeline.geometry import Lane, Layout
from ui.timeline.ink import Canvas
from ui.timeline.judged import Judged
from ui.timeline.look import Look
from ui.timeline.scale import steps
from ui.timeline.sheet import OVER_PX, across_px, down_px
from ui.timeline.trace import APART_PX, DENSE_PX, MARKED_PX, crowd, envelope, evenly, lines, sight
from ui.timeline.words import asked, unit_of

Floats = NDArray[np.float64]
Label = tuple[QPointF, QPixmap]

_LABELS = 4  # in a lane, at most
_STRIP_PX = 5.0  # of how many keys there are
_MOST_KEYS = 64  # in a column, as far as one can tell
_RESTS = 0.8  # how much of a track's colour its rests have
_DOTS = 3  # of which one is seen
_FURTHER_PX = 4.0  # that a curve is drawn beyond what is looked at
_MARK_PX = 14.0  # that a key's mark reaches, at most
_MOST_CHOSEN = 200  # keys in sight whose marks can be told apart where all keys cannot
_MOVING_PX = 2.0  # of the lines that make a curve while it moves
_NAME_PX = 78.0  # of the head, for the name


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Content:
    """What one lane shows. `ghost` is what a proposal makes of it; `current` says that the keyboard is in it."""

    axis: Axis
    number: int
    judged: Judged | None
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


@dataclass(frozen=True, slots=True)
class Manner:
    """In what manner a lane is drawn, as everything in sight decides it: only parts drawn in the same fit together.

    `density` says how far apart keys are, `even` how many lines each piece of the curve gets (see `evenly`), `thin`
    whether the lane is in motion, `many` that too many keys are chosen to be marked; `fits`, that parts may be drawn.
    """

    density: float = 0.0
    even: int = 0
    thin: bool = False
    many: bool = False
    fits: bool = True


def manner(look: Look, layout: Layout, what: Content) -> Manner:
    """Return in what manner this lane is to be drawn now."""
    shape, thin = what.shape, what.axis.name in look.thin
    if shape is None or not len(shape.at_s):
        return Manner(thin=thin, fits=what.ghost is None)
    inside = sight(shape, layout)
    density = next((each for each in (DENSE_PX, APART_PX, MARKED_PX) if inside.mean_px < each), inf)
    even = evenly(shape, layout, _MOVING_PX if thin else 1.0, inside) if density > DENSE_PX else 0
    many = density <= APART_PX and sum(inside.first <= each < inside.last for each in what.chosen) > _MOST_CHOSEN
    return Manner(density, even, thin, many, what.ghost is None)


def draw_body(canvas: Canvas, look: Look, layout: Layout, lane: Lane, what: Content, how: Manner) -> None:
    """Draw everything right of the lane's left edge, on its ground (`sheet`), but for words (`labels`)."""
    painter = canvas.painter
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
    shape = what.shape
    if shape is not None and len(shape.at_s):
        _rests(canvas, look, layout, lane, what)
        _curve(canvas, look, layout, lane, what, how)
        if what.ghost is not None:
            _ghost(painter, look, layout, lane, what.ghost)
        _keys(canvas, look, layout, lane, what, how)
    elif what.ghost is not None:
        _ghost(painter, look, layout, lane, what.ghost)


def labels(look: Look, layout: Layout, lane: Lane, what: Content) -> list[Label]:
    """Return what is too much, the worst first, as far as there is room for it; and why a track cannot be compiled."""
    theme, judged = look.theme, what.judged
    if judged is None or not len(judged.shape.at_s):
        words = translate("timeline", "no keys: stays where it is")
        plate = ink.worded(words, look.small, theme.weak, "transparent", look.ratio)
        foot_px = lane.top_px + lane.height_px / 2 + 4
        return [(QPointF(layout.left_px + 12, round(foot_px - QFontMetricsF(look.small).ascent())), plate)]
    taken: list[tuple[float, float]] = []
    top_px = lane.top_px + OVER_PX
    found = judged.stretches(layout)
    fault = judged.shape.fault or (what.ghost.fault if what.ghost is not None else "")
    made: list[Label] = []
    if fault:
        words = translate("timeline", "cannot be worked out: {fault}").format(fault=fault)
        room_px = layout.width_px - layout.left_px - 24
        words = look.shortened(words, room_px)
        plate = ink.worded(words, look.small, theme.fault_text, theme.fault, look.ratio, 5)
        made.append((QPointF(layout.left_px + 6, top_px), plate))
        taken.append((layout.left_px, layout.width_px))
    for place in np.argsort(-found.excess, kind="stable")[:_LABELS].tolist():
        words = asked(judged.over(int(found.leg[place])), judged.shape.axis)
        wide = look.width_px(words) + 10
        from_px = min(max(layout.left_px + 2, float(found.from_px[place])), layout.width_px - wide)
        if all(from_px + wide < begin or from_px > end for begin, end in taken):
            taken.append((from_px - 4, from_px + wide + 4))
            plate = ink.worded(words, look.small, theme.over_text, theme.over, look.ratio, 5)
            made.append((QPointF(round(from_px), top_px), plate))
    return made


def _rests(canvas: Canvas, look: Look, layout: Layout, lane: Lane, what: Content) -> None:
    """Draw dots where the axis stands before its first key and after its last one."""
    shape, ratio = what.shape, look.ratio
    assert shape is not None
    ends = [floor(floor(layout.across(at_s) + 0.5) * ratio + 0.5) for at_s in (shape.at_s[0], shape.at_s[-1])]
    if ends[0] <= canvas.left and ends[1] >= canvas.end:
        return
    colour = ink.solid(ink.mixed(look.theme.track(what.number)[0], look.theme.ground, _RESTS))
    thick, zero = max(1, round(ratio)), floor(layout.zero_px * ratio + 0.5)
    for value, first, last in (
        (float(shape.value[0]), canvas.left, min(canvas.end, ends[0])),
        (float(shape.value[-1]), max(canvas.left, ends[1]), canvas.end),
    ):
        row = round(round(lane.y(value)) * ratio)
        top, foot = max(row, canvas.highest), min(row + thick, canvas.lowest)
        if first < last and top < foot:
            each = _DOTS * thick
            begin = first - (first - zero) % each  # where the dot is that is here, or was last
            for column in range(begin, begin + thick):
                canvas.pixels[top:foot, column + (each if column < first else 0) : last : each] = colour


def _curve(canvas: Canvas, look: Look, layout: Layout, lane: Lane, what: Content, how: Manner) -> None:
    """Draw the curve; where keys are too dense for marks, how many there are stands along the lower edge."""
    judged, shape, colour, painter = what.judged, what.shape, look.theme.track(what.number)[0], canvas.painter
    assert judged is not None
    assert shape is not None
    if how.density <= DENSE_PX:
        _dense(canvas, look, layout, lane, judged, colour)
        return
    if how.density <= APART_PX:
        keys = crowd(shape.at_s, layout, 1 / look.ratio, _between(canvas, look, layout))
        bars, height = _bars(keys, look.ratio), round(_STRIP_PX * look.ratio)
        top = round((lane.end_px - 2 - _STRIP_PX) * look.ratio)
        begin, end = max(top, canvas.highest), min(top + height, canvas.lowest)
        if begin < end:
            ends = np.where(bars, height - 1, -1)
            there = canvas.pixels[begin:end, canvas.left : canvas.end]
            ink.fill_columns(there, height - bars, ends, height, colour, first=begin - top)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
    painter.setPen(ink.hair(colour) if how.thin else ink.pen(colour, look.theme.line_px))
    between_px = canvas.left / look.ratio - _FURTHER_PX, canvas.end / look.ratio + _FURTHER_PX
    ink.rule(painter, lines(shape, layout, lane, _MOVING_PX if how.thin else 1.0, between_px, how.even))
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)


def _between(canvas: Canvas, look: Look, layout: Layout) -> tuple[int, int]:
    """Return the columns that are drawn, counted from the left edge of the lanes."""
    left = across_px(layout, look.ratio)[0]
    return canvas.left - left, canvas.end - left


def _dense(canvas: Canvas, look: Look, layout: Layout, lane: Lane, judged: Judged, colour: str) -> None:
    between = _between(canvas, look, layout)
    found = envelope(judged.shape, layout, 1 / look.ratio, judged.at_s, between, judged.reaches)
    if not len(found.low):
        return
    height = round(lane.height_px * look.ratio)
    rows_a_value = height / (lane.high - lane.low)
    top, end = (lane.high - found.high) * rows_a_value, (lane.high - found.low) * rows_a_value
    left, highest = canvas.left + found.begin - between[0], down_px(lane, look.ratio)[0]
    begin, lowest = max(highest, canvas.highest), min(highest + height, canvas.lowest)
    if begin < lowest:
        block = canvas.pixels[begin:lowest, left : left + len(top)]
        wide, first, foot = block.shape[1], begin - highest, height - 1 - round(look.ratio)
        ink.fill_columns(block, top[:wide], end[:wide], height, colour, first)
        bars = foot - _bars(found.keys[:wide], look.ratio)
        ink.fill_columns(block, bars, np.full(wide, foot - 1), height, colour, first)


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
        upright = np.stack((x, upper, x, np.maximum(lower, upper + 1)), axis=1)
        ink.rule(painter, ink.dashed(upright, layout.zero_px))
        return
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
    painter.setPen(
        ink.hair(look.theme.text) if lane.axis in look.thin else ink.pen(look.theme.text, look.theme.line_px)
    )
    ink.rule(painter, ink.dashed(lines(ghost, layout, lane), layout.zero_px))
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
    if inside.mean_px >= MARKED_PX:
        points = _points(ghost, layout, lane, slice(inside.first, inside.last))
        ink.press(painter, ink.stamp("circle", look.theme.text, look.theme.ground, 3.5, look.ratio, "ghost"), points)


def _points(shape: Shape, layout: Layout, lane: Lane, numbers: slice | NDArray[np.int64]) -> Floats:
    """Return where these keys lie. Shape: (N, 2)."""
    at_s = shape.at_s[numbers]
    made = np.empty((len(at_s), 2))
    made[:, 0] = layout.across(at_s)
    np.multiply(shape.value[numbers], -lane.height_px / (lane.high - lane.low), out=made[:, 1])
    made[:, 1] += lane.y(0.0)
    return made


def _keys(canvas: Canvas, look: Look, layout: Layout, lane: Lane, what: Content, how: Manner) -> None:
    shape, theme, painter = what.shape, look.theme, canvas.painter
    assert shape is not None
    colour, mark = theme.track(what.number)
    if how.density <= APART_PX and not what.chosen:
        return
    first = int(shape.at_s.searchsorted(layout.t_s(canvas.left / look.ratio - _MARK_PX), "left"))
    last = int(shape.at_s.searchsorted(layout.t_s(canvas.end / look.ratio + _MARK_PX), "right"))
    chosen = np.array(sorted(each for each in what.chosen if first <= each < last), np.int64)
    if how.density <= APART_PX:
        if len(chosen):
            points = _points(shape, layout, lane, chosen)
            painter.setPen(ink.pen(theme.chosen, 2.0))
            ink.rule(painter, ink.upright(points[:, 0], lane.end_px - 1 - 3 * _STRIP_PX, lane.end_px - 1))
        if how.many:
            return
    elif how.density <= MARKED_PX:
        points = ink.nearest(_points(shape, layout, lane, slice(first, last)))
        for shade, width_px in ((theme.ground, 7.0), (colour, 5.0)):
            painter.setPen(ink.square(shade, width_px))
            ink.dot(painter, points)
    else:
        plain = np.arange(first, last)
        if len(chosen):
            plain = np.setdiff1d(plain, chosen, assume_unique=True)
        pinned = np.array([number for number in plain.tolist() if shape.track.keys[number].pin], np.int64)
        if len(pinned):
            plain = np.setdiff1d(plain, pinned, assume_unique=True)
        for numbers, kind in ((plain, "plain"), (pinned, "pinned")):
            picture = ink.stamp(mark, colour, theme.ground, ink.MARK_PX, look.ratio, kind)
            ink.press(painter, picture, _points(shape, layout, lane, numbers))
    if len(chosen):
        picture = ink.stamp(mark, theme.chosen, theme.ground, ink.CHOSEN_PX, look.ratio, "chosen")
        ink.press(painter, picture, _points(shape, layout, lane, chosen))
