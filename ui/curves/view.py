"""Speed, acceleration and jerk of one axis under the timeline, over the same stretch of time, with their limits.

It refuses to judge: what is too much is what the axis's limits say.
"""

from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PyQt6 import sip
from PyQt6.QtCore import QLineF, QPointF, QRect, QRectF, QSize, Qt, QTimer
from PyQt6.QtGui import (
    QColor,
    QFont,
    QImage,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QPixmap,
    QResizeEvent,
)
from PyQt6.QtWidgets import QSizePolicy, QWidget

from sequencer.motion.peaks import Asked, number, unit_of
from sequencer.motion.shape import Shape
from ui.curves.geometry import (
    JUMPING,
    OF,
    Courses,
    Floats,
    Over,
    Seen,
    Strip,
    courses,
    filled,
    hatched,
    overs,
    seen,
    strips,
)
from ui.desk import Desk
from ui.language import translate
from ui.theme import LEFT_PX

_TEXT_PX = 13
_SMALL_PX = 12
_ROOM_PX = 4
_MOST_LABELS = 6  # in one strip
_ARROW_PX = 10  # between two jumps that are drawn apart
_HEAD_PX = 5.0
_DASH_PX = 8
_LABEL_PX = 160  # from a jump that is named to the next one
_SIP: Any = sip  # what its stubs know of arrays is too little
_COLOURS = QImage.Format.Format_ARGB32_Premultiplied
_CALM_MS = 140  # after which what moved stands still, and is drawn finely
_FINE = 100  # parts of a frame in which the playhead is placed


class CurvesView(QWidget):
    """Three strips that follow the desk. A press or a drag in them places the playhead."""

    def __init__(self, desk: Desk, axis: str = "") -> None:
        super().__init__()
        self._desk = desk
        self._axis = axis
        self._courses: Courses | None = None
        self._picture = QPixmap()
        self._fresh = False
        self._fonts: dict[int, QFont] = {}
        self._at_x: float | None = None
        self._moving = False  # what is in sight has just moved: curves are a pixel wide then
        self._calm = QTimer(self)
        self._calm.setInterval(_CALM_MS)
        self._calm.setSingleShot(True)
        self._calm.timeout.connect(self._come_to_rest)
        self.setAccessibleName(translate("curves", "Speed, acceleration and jerk"))
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumHeight(3 * 40)
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        desk.changed.connect(self._follow)
        desk.opened.connect(self._follow)
        desk.zoomed.connect(self._move)
        desk.preferred.connect(self._redraw)
        desk.placed.connect(self._move_playhead)
        self._follow()

    def sizeHint(self) -> QSize:
        return QSize(640, 240)

    @property
    def axis(self) -> str:
        """The axis that is shown: the one that was asked for, or the first that has a track."""
        shapes = self._desk.shapes
        return self._axis if self._axis in shapes or not shapes else next(iter(shapes))

    def show_axis(self, name: str) -> None:
        """Show another axis; one that has no track is shown as soon as it has one."""
        if name != self._axis:
            self._axis = name
            self._follow()

    def x_of(self, t_s: float) -> float:
        """Return how far to the right an instant is drawn."""
        begin_s, end_s = self._desk.span_s
        return LEFT_PX + (t_s - begin_s) * self._wide() / (end_s - begin_s)

    def words(self) -> str:
        """Say the numbers at the playhead, for who cannot see them."""
        of = self._worked_out()
        if of is None:
            return translate("curves", "no axis has a track")
        parts = [f"{name} {value} {unit}".rstrip() for name, value, unit in self._numbers(of)]
        return f"{self.axis}: {', '.join(parts)}"

    def _wide(self) -> int:
        return max(1, self.width() - LEFT_PX)

    def _shape(self) -> Shape | None:
        return self._desk.shapes.get(self.axis)

    def _worked_out(self) -> Courses | None:
        """Return the derivatives of the track that is shown, as it is now."""
        shape = self._shape()
        self._courses = None if shape is None else courses(shape, self._courses)
        return self._courses

    def _follow(self) -> None:
        shape = self._shape()
        shown = None if self._courses is None else self._courses.shape
        if shape is not shown:
            self._redraw()

    def _redraw(self) -> None:
        self._fresh = False
        self.update()

    def _move(self) -> None:
        self._moving = True
        self._calm.start()
        self._redraw()

    def _come_to_rest(self) -> None:
        self._moving = False
        self._redraw()

    def _move_playhead(self) -> None:
        """Repaint where the playhead was and is, and the numbers."""
        self.setAccessibleDescription(self.words())
        for x in (self._at_x, self.x_of(self._desk.playhead_s)):
            if x is not None:
                self.update(QRect(int(x) - 2, 0, 6, self.height()))
        self.update(QRect(0, 0, LEFT_PX, self.height()))

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        self._fresh = False
        super().resizeEvent(event)

    def mousePressEvent(self, event: QMouseEvent | None) -> None:
        self._place(event)

    def mouseMoveEvent(self, event: QMouseEvent | None) -> None:
        self._place(event)

    def _place(self, event: QMouseEvent | None) -> None:
        if event is None or not event.buttons() & Qt.MouseButton.LeftButton:
            return
        begin_s, end_s = self._desk.span_s
        x = min(max(event.position().x(), LEFT_PX), self.width())
        t_s = begin_s + (x - LEFT_PX) * (end_s - begin_s) / self._wide()
        rate = self._desk.project.timebase.rate
        self._desk.place(Fraction(round(t_s * float(rate.fraction) * _FINE), _FINE))

    # drawing

    def paintEvent(self, event: QPaintEvent | None) -> None:
        if not self._fresh:
            self._draw()
            self._fresh = True
        painter = QPainter(self)
        painter.drawPixmap(0, 0, self._picture)
        if self._courses is not None:
            self._draw_numbers(painter, self._courses)
        self._at_x = self.x_of(self._desk.playhead_s)
        if self._at_x >= LEFT_PX:
            theme = self._desk.theme
            painter.setPen(QPen(QColor(theme.ground), 4))
            line = QLineF(self._at_x, 0, self._at_x, self.height())
            painter.drawLine(line)
            painter.setPen(QPen(QColor(theme.playhead), 2))
            painter.drawLine(line)
        painter.end()

    def _draw(self) -> None:
        ratio, picture = self.devicePixelRatioF(), self._picture
        if picture.size() != self.size() * ratio:
            # new pixels cost more than all that is drawn on them, so they are kept
            picture = self._picture = QPixmap(self.size() * ratio)
            picture.setDevicePixelRatio(ratio)
        theme = self._desk.theme
        picture.fill(QColor(theme.ground))
        painter = QPainter(picture)
        painter.setFont(self._font(_TEXT_PX))
        of = self._worked_out()
        if of is None:
            painter.setPen(QColor(theme.weak))
            painter.drawText(self.rect(), Qt.AlignmentFlag.AlignCenter, translate("curves", "no axis has a track"))
        else:
            for strip in strips(of, self.height()):
                self._draw_strip(painter, of, strip)
            painter.setClipping(False)
            painter.fillRect(0, 0, LEFT_PX, self.height(), QColor(theme.panel))
            painter.setPen(QColor(theme.edge))
            for strip in strips(of, self.height())[1:]:
                painter.drawLine(QLineF(0, strip.top_px, self.width(), strip.top_px))
            painter.drawLine(LEFT_PX - 1, 0, LEFT_PX - 1, self.height())
        painter.end()

    def _draw_strip(self, painter: QPainter, of: Courses, strip: Strip) -> None:
        theme, limit = self._desk.theme, of.limits[strip.number]
        begin_s, end_s = self._desk.span_s
        found = seen(of, strip.number, begin_s, end_s, self._wide())
        broken = overs(found, limit, _MOST_LABELS)
        painter.setClipRect(QRectF(LEFT_PX, strip.top_px, self._wide(), strip.height_px))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        painter.setPen(QColor(theme.rule))
        painter.drawLine(QLineF(LEFT_PX, strip.y_of(0.0), self.width(), strip.y_of(0.0)))
        dense = not len(found.at_s)
        if dense:  # then the curve is an area, and what is over lies on it
            self._draw_curve(painter, found, strip)
        if broken:
            self._draw_over(painter, found, strip, limit)
        painter.setPen(QPen(QColor(theme.edge), 1))
        # dashes one by one: a dashed pen takes longer than all the rest
        x = np.arange(LEFT_PX, self.width(), _DASH_PX + _DASH_PX // 2, dtype=np.float64)
        for end in (limit, -limit):
            y = np.full(len(x), round(strip.y_of(end)))
            _rule(painter, np.stack((x, y, x + _DASH_PX, y), axis=1))
        if not dense:
            self._draw_curve(painter, found, strip)
        taken: list[QRectF] = [self._draw_limit(painter, strip, limit)]
        self._draw_jumps(painter, of, strip, taken)
        self._draw_labels(painter, broken, strip, limit, taken)

    def _draw_curve(self, painter: QPainter, found: Seen, strip: Strip) -> None:
        theme, axis = self._desk.theme, self.axis
        colour = QColor(theme.track(self._desk.project.rig.index(axis))[0])
        if not len(found.at_s):
            top_px, cells = filled(found, strip)
            self._draw_cells(painter, top_px, cells, colour)
            return
        begin_s, end_s = self._desk.span_s
        x = LEFT_PX + (found.at_s - begin_s) * (self._wide() / (end_s - begin_s))
        y = strip.y(found.value)
        pen = QPen(colour, 1.0 if self._moving else theme.line_px)
        pen.setCosmetic(self._moving)
        painter.setPen(pen)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
        _rule(painter, np.stack((x[:-1], y[:-1], x[1:], y[1:]), axis=1))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)

    def _draw_over(self, painter: QPainter, found: Seen, strip: Strip, limit: float) -> None:
        """Hatch what lies beyond the limit, either way."""
        theme = self._desk.theme
        for top_px, cells in hatched(found, strip, limit):
            self._draw_cells(painter, top_px, cells, QColor(theme.over), QColor(theme.over_text))

    def _draw_cells(self, painter: QPainter, top_px: int, cells: NDArray[np.uint8], *colours: QColor) -> None:
        """Draw pixels: 0 is clear, the others count the colours from 1."""
        high, wide = cells.shape
        picture = QImage(cells.tobytes(), wide, high, QImage.Format.Format_Indexed8)
        picture.setColorTable([0, *(colour.rgba() for colour in colours)])
        # to draw by way of a table of colours takes eight times as long as to make the colours first
        painter.drawImage(QPointF(LEFT_PX, top_px), picture.convertToFormat(_COLOURS))

    def _draw_jumps(self, painter: QPainter, of: Courses, strip: Strip, taken: list[QRectF]) -> None:
        """Draw an arrow up and out of the strip for each jump, and what jumps where there is room to say it."""
        theme = self._desk.theme
        at_s, what = of.jumps(strip.number, *self._desk.span_s)
        if not len(at_s):
            return
        begin_s, end_s = self._desk.span_s
        x = LEFT_PX + (at_s - begin_s) * (self._wide() / (end_s - begin_s))
        # where they crowd, one stands for its neighbours
        first = np.unique((x // _ARROW_PX).astype(np.int64), return_index=True)[1]
        x, what = np.round(x[first]), what[first]
        tip, foot = np.full(len(x), strip.top_px + 2), np.full(len(x), strip.y_of(0.0))
        parts = [(x, foot, x, tip), (x - _HEAD_PX, tip + 7, x, tip), (x + _HEAD_PX, tip + 7, x, tip)]
        lines = np.concatenate([np.stack(part, axis=1) for part in parts])
        for colour, wide in ((theme.over_text, 4.0), (theme.over, 2.0)):
            painter.setPen(QPen(QColor(colour), wide))
            _rule(painter, lines)
        words = {
            "position": translate("curves", "infinite: position jumps"),
            "speed": translate("curves", "infinite: speed jumps"),
            "acceleration": translate("curves", "infinite: acceleration jumps"),
        }
        last = -np.inf
        for at, jumping in zip(x.tolist(), what.tolist(), strict=True):
            if len(taken) <= _MOST_LABELS and at >= last:
                self._label(painter, words[JUMPING[jumping]], at - _HEAD_PX, strip.y_of(0.0) + 2, taken)
                last = at + _LABEL_PX
        painter.setBrush(Qt.BrushStyle.NoBrush)

    def _draw_labels(
        self, painter: QPainter, broken: list[Over], strip: Strip, limit: float, taken: list[QRectF]
    ) -> None:
        """Name the worst peaks, as far as there is room."""
        unit = unit_of(self._courses.shape.axis.unit, OF[strip.number]) if self._courses else ""
        high_px = painter.fontMetrics().height()
        for run in broken:
            size = abs(run.value)
            pair = number(size, 3), number(limit, 3)
            if pair[0] == pair[1]:
                pair = Asked(of=OF[strip.number], at_s=0.0, value=size, limit=limit, excess=0.0).numbers()
            words = translate("curves", "{asked} {unit}, limit {limit}").format(asked=pair[0], unit=unit, limit=pair[1])
            down = strip.y_of(run.value)
            below = strip.top_px + strip.height_px - high_px - 3
            y = min(max(down, strip.top_px + 2), below)
            self._label(painter, words, LEFT_PX + run.last + 4, y, taken)

    def _label(self, painter: QPainter, words: str, x: float, y: float, taken: list[QRectF]) -> None:
        """Write on the colour of what is over, unless something else is written there."""
        theme, metrics = self._desk.theme, painter.fontMetrics()
        wide = metrics.horizontalAdvance(words) + 2 * _ROOM_PX
        box = QRectF(min(x, self.width() - wide - 1), y, wide, metrics.height())
        if any(box.intersects(other) for other in taken) or box.left() < LEFT_PX:
            return
        taken.append(box)
        painter.fillRect(box.adjusted(-1, -1, 1, 1), QColor(theme.over_text))
        painter.fillRect(box, QColor(theme.over))
        painter.setPen(QColor(theme.over_text))
        painter.drawText(box, Qt.AlignmentFlag.AlignCenter, words)

    def _draw_limit(self, painter: QPainter, strip: Strip, limit: float) -> QRectF:
        """Write the limit at the right end of its line, and return where."""
        unit = unit_of(self._courses.shape.axis.unit, OF[strip.number]) if self._courses else ""
        words = translate("curves", "limit ±{limit} {unit}").format(limit=number(limit, 3), unit=unit)
        metrics = painter.fontMetrics()
        wide = metrics.horizontalAdvance(words) + 2 * _ROOM_PX
        y = min(max(strip.y_of(limit) + 1, strip.top_px + 1), strip.top_px + strip.height_px - metrics.height())
        box = QRectF(self.width() - wide - 2, y, wide, metrics.height())
        painter.fillRect(box, QColor(self._desk.theme.ground))
        painter.setPen(QColor(self._desk.theme.weak))
        painter.drawText(box, Qt.AlignmentFlag.AlignCenter, words)
        return box

    def _draw_numbers(self, painter: QPainter, of: Courses) -> None:
        """Write each derivative's name and its value at the playhead, left of its strip."""
        theme = self._desk.theme
        for strip, (name, value, unit) in zip(strips(of, self.height()), self._numbers(of), strict=True):
            lines = [(name, _SMALL_PX, theme.weak), (value, _TEXT_PX + 2, theme.text), (unit, _SMALL_PX, theme.weak)]
            y = strip.top_px + max(1.0, (strip.height_px - 3 * 17) / 2)
            if strip.height_px < 3 * 18:
                lines = [(name, _SMALL_PX, theme.weak), (f"{value} {unit}", _SMALL_PX, theme.text)]
                y = strip.top_px + max(1.0, (strip.height_px - 2 * 17) / 2)
            for words, size, colour in lines:
                painter.setFont(self._font(size))
                painter.setPen(QColor(colour))
                room = LEFT_PX - 2 * _ROOM_PX
                shown = painter.fontMetrics().elidedText(words, Qt.TextElideMode.ElideRight, room)
                painter.drawText(QRectF(_ROOM_PX, y, room, 17), Qt.AlignmentFlag.AlignVCenter, shown)
                y += 17

    def _numbers(self, of: Courses) -> list[tuple[str, str, str]]:
        """Return name, value at the playhead and unit of each derivative."""
        t_s = self._desk.playhead_s
        half_s = 0.5 / (_FINE * float(self._desk.project.timebase.rate.fraction))
        names = {
            "speed": translate("curves", "speed"),
            "acceleration": translate("curves", "acceleration"),
            "jerk": translate("curves", "jerk"),
        }
        found = []
        for place, name in enumerate(OF):
            jumps = len(of.jumps(place, t_s - half_s, t_s + half_s)[0])
            value = float(of.at(place, np.array([t_s]))[0])
            words = translate("curves", "infinite") if jumps else number(round(value, 9), 3)
            found.append((names[name], words, unit_of(of.shape.axis.unit, name)))
        return found

    def _font(self, size_px: int) -> QFont:
        if size_px not in self._fonts:
            self._fonts[size_px] = QFont(self.font())
            self._fonts[size_px].setPixelSize(size_px)
        return self._fonts[size_px]


def _rule(painter: QPainter, lines: Floats) -> None:
    """Draw lines, one by one and all at once: as one polyline they would take many times as long. Shape: (L, 4)."""
    array = _SIP.array(QLineF, len(lines))
    np.frombuffer(array, np.float64)[:] = lines.ravel()
    painter.drawLines(array)
