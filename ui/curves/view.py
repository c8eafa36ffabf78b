"""Speed, acceleration and jerk of one axis under the timeline, over the same stretch of time, with their limits.

It refuses to judge: what is too much is what the axis's limits say.
"""

from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor
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
    QRegion,
    QResizeEvent,
)
from PyQt6.QtWidgets import QSizePolicy, QWidget

from sequencer.motion.peaks import number, unit_of
from sequencer.motion.shape import Shape
from ui.curves.geometry import (
    OF,
    Courses,
    Floats,
    Ints,
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
from ui.curves.notes import MOST, Note, Page, draw, notes
from ui.desk import Desk
from ui.language import translate
from ui.theme import LEFT_PX

_TEXT_PX = 13
_SMALL_PX = 12
_ROOM_PX = 4
_ARROW_PX = 10  # between two jumps that are drawn apart
_HEAD_PX = 5.0
_DASH_PX = 8
_AROUND_PX = 18  # beside what changed: the width of a line, half of an arrow and the way to one that stands for it
_BESIDE_PX = 6  # beside that, so that each line goes on
_SIP: Any = sip  # what its stubs know of arrays is too little
_COLOURS = QImage.Format.Format_ARGB32_Premultiplied
_CALM_MS = 140  # after which what moved stands still, and is drawn finely
_FINE = 100  # parts of a frame in which the playhead is placed


@dataclass(frozen=True, slots=True, eq=False)
class _Shown:
    """One strip as the picture shows it, and the words on it."""

    shape: Shape
    strip: Strip
    found: Seen
    broken: list[Over]
    jumping: bool
    notes: list[Note]


class CurvesView(QWidget):
    """Three strips that follow the desk. A press or a drag in them places the playhead."""

    def __init__(self, desk: Desk, axis: str = "") -> None:
        super().__init__()
        self._desk = desk
        self._axis = axis
        self._courses: Courses | None = None
        self._picture = QPixmap()
        self._fresh = False
        self._shown: tuple[_Shown, ...] = ()  # what the picture shows, strip by strip; nothing where it is not known
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
            self._anew()

    def _redraw(self) -> None:
        self._shown = ()
        self._anew()

    def _anew(self) -> None:
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
        self._shown, self._fresh = (), False
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
        where = QRegion(self.rect()) if event is None else event.region()
        painter = QPainter(self)
        painter.drawPixmap(0, 0, self._picture)
        painter.setFont(self._font(_TEXT_PX))
        for strip in self._shown:
            draw(painter, self._desk.theme, strip.notes, where)
        if self._courses is not None and where.intersects(QRect(0, 0, LEFT_PX, self.height())):
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
        """Bring the picture up to date: what a dragged key leaves as it is stays as it was drawn."""
        ratio, picture = self.devicePixelRatioF(), self._picture
        if picture.size() != self.size() * ratio:
            # new pixels cost more than all that is drawn on them, so they are kept
            picture = self._picture = QPixmap(self.size() * ratio)
            picture.setDevicePixelRatio(ratio)
        theme, of = self._desk.theme, self._worked_out()
        painter = QPainter(picture)
        painter.setFont(self._font(_TEXT_PX))
        if of is None:
            self._shown = ()
            painter.fillRect(self.rect(), QColor(theme.ground))
            painter.setPen(QColor(theme.weak))
            painter.drawText(self.rect(), Qt.AlignmentFlag.AlignCenter, translate("curves", "no axis has a track"))
        else:
            now = strips(of, self.height())
            before = self._shown or (None, None, None)
            self._shown = tuple(self._draw_strip(painter, of, *pair) for pair in zip(now, before, strict=True))
            painter.setClipping(False)
            painter.fillRect(0, 0, LEFT_PX, self.height(), QColor(theme.panel))
            painter.setPen(QColor(theme.edge))
            for strip in now[1:]:
                painter.drawLine(QLineF(0, strip.top_px, self.width(), strip.top_px))
            painter.drawLine(LEFT_PX - 1, 0, LEFT_PX - 1, self.height())
        painter.end()

    def _columns(self, of: Courses, strip: Strip, shown: _Shown | None) -> slice:
        """Return the columns of pixels that are to be drawn: all, or those of the pieces that changed."""
        every = slice(0, self._wide())
        if shown is None or shown.strip != strip or of.since is None or of.since is not shown.shape:
            return every
        if of.pieces.start == of.pieces.stop:
            return slice(0, 0)
        end = of.pieces.stop - 1
        first, last = (self.x_of(at_s) for at_s in (of.begin_s[of.pieces.start], of.begin_s[end] + of.lasts_s[end]))
        begin = min(max(floor(first - LEFT_PX) - _AROUND_PX, 0), every.stop)
        return slice(begin, max(begin, min(ceil(last - LEFT_PX) + _AROUND_PX, every.stop)))

    def _draw_strip(self, painter: QPainter, of: Courses, strip: Strip, before: _Shown | None) -> _Shown:
        """Draw what is another than before, and return how the strip is shown."""
        theme, limit = self._desk.theme, of.limits[strip.number]
        begin_s, end_s = self._desk.span_s
        columns = self._columns(of, strip, before)
        if columns == slice(0, self._wide()):
            before = None
        painter.setClipRect(
            QRectF(LEFT_PX + columns.start, strip.top_px, columns.stop - columns.start, strip.height_px)
        )
        wide = slice(max(0, columns.start - _BESIDE_PX) // 2 * 2, min(columns.stop + _BESIDE_PX, self._wide()))
        part = seen(of, strip.number, begin_s, end_s, self._wide(), wide)
        found = part if before is None else before.found.patched(part, columns, wide.start)
        broken = overs(found, limit, MOST)
        left_px = LEFT_PX + wide.start
        painter.fillRect(QRectF(left_px, strip.top_px, len(part.low), strip.height_px), QColor(theme.ground))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        painter.setPen(QColor(theme.rule))
        painter.drawLine(QLineF(LEFT_PX, strip.y_of(0.0), self.width(), strip.y_of(0.0)))
        dense = not len(part.at_s)
        if dense:  # then the curve is an area, and what is over lies on it
            self._draw_curve(painter, part, strip, left_px)
        for top_px, cells in hatched(part, strip, limit, wide.start):
            self._draw_cells(painter, left_px, top_px, cells, QColor(theme.over), QColor(theme.over_text))
        painter.setPen(QPen(QColor(theme.edge), 1))
        # dashes one by one: a dashed pen takes longer than all the rest
        every_px = _DASH_PX + _DASH_PX // 2
        x = np.arange(LEFT_PX + wide.start // every_px * every_px, LEFT_PX + wide.stop, every_px, dtype=np.float64)
        for end in (limit, -limit):
            y = np.full(len(x), round(strip.y_of(end)))
            _rule(painter, np.stack((x, y, x + _DASH_PX, y), axis=1))
        if not dense:
            self._draw_curve(painter, part, strip, left_px)
        jumps = self._draw_jumps(painter, of, strip)
        jumping = len(jumps[0]) > 0
        if before is not None and before.broken == broken and not (jumping or before.jumping):
            written = before.notes
        else:
            written = notes(Page(self.width(), painter.fontMetrics()), of.shape.axis, strip, broken, jumps)
        return _Shown(of.shape, strip, found, broken, jumping, written)

    def _draw_curve(self, painter: QPainter, found: Seen, strip: Strip, left_px: int) -> None:
        theme, axis = self._desk.theme, self.axis
        colour = QColor(theme.track(self._desk.project.rig.index(axis))[0])
        if not len(found.at_s):
            top_px, cells = filled(found, strip)
            self._draw_cells(painter, left_px, top_px, cells, colour)
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

    def _draw_cells(
        self, painter: QPainter, left_px: int, top_px: int, cells: NDArray[np.uint8], *colours: QColor
    ) -> None:
        """Draw pixels: 0 is clear, the others count the colours from 1."""
        high, wide = cells.shape
        picture = QImage(cells.tobytes(), wide, high, QImage.Format.Format_Indexed8)
        picture.setColorTable([0, *(colour.rgba() for colour in colours)])
        # to draw by way of a table of colours takes eight times as long as to make the colours first
        painter.drawImage(QPointF(left_px, top_px), picture.convertToFormat(_COLOURS))

    def _draw_jumps(self, painter: QPainter, of: Courses, strip: Strip) -> tuple[Floats, Ints]:
        """Draw an arrow up and out of the strip for each jump; return where they are and what jumps."""
        theme = self._desk.theme
        begin_s, end_s = self._desk.span_s
        at_s, what = of.jumps(strip.number, begin_s, end_s)
        if not len(at_s):
            return at_s, what
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
        return x, what

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
