"""One axis of the rig as one row: where it is and was sent, how far behind, how near to an end. It only paints."""

from PyQt6.QtCore import QPointF, QRectF, QSize, Qt
from PyQt6.QtGui import QColor, QFontMetrics, QPainter, QPaintEvent, QPen, QPolygonF
from PyQt6.QtWidgets import QSizePolicy, QWidget

from ui.desk import Desk
from ui.label import tip
from ui.language import translate
from ui.run.nearness import Near
from ui.run.plate import bold, draw_form
from ui.theme import STATE_PX, TEXT_PX, Mark, Theme, font_px

_NEAR_PART = 0.1  # of half the travel: from here on an end is said to be near
_ONE_LINE_PX = 58
_AFAR_ARCMIN, _AFAR_M = 22.0, 1.0


def number(value: float | None, unit: str) -> str:
    """Return a place as it is read: two decimals, three for a lens motor."""
    if value is None:
        return "-"
    return f"{value:.3f}" if unit == "part" else f"{value:.2f}"


def draw_mark(painter: QPainter, middle: QPointF, size: float, mark: Mark, colour: str) -> None:
    """Draw the shape of an axis's keys."""
    painter.setPen(QPen(QColor(colour), 2))
    painter.setBrush(QColor(colour))
    x, y, half = middle.x(), middle.y(), size / 2
    points: dict[str, list[tuple[float, float]]] = {
        "square": [(-1, -1), (1, -1), (1, 1), (-1, 1)],
        "diamond": [(0, -1), (1, 0), (0, 1), (-1, 0)],
        "up": [(0, -1), (1, 1), (-1, 1)],
        "down": [(0, 1), (1, -1), (-1, -1)],
        "hexagon": [(-1, 0), (-0.5, -0.9), (0.5, -0.9), (1, 0), (0.5, 0.9), (-0.5, 0.9)],
    }
    if mark == "circle":
        painter.drawEllipse(middle, half, half)
    elif mark == "cross":
        painter.setPen(QPen(QColor(colour), size / 3))
        painter.drawLine(QPointF(x - half, y - half), QPointF(x + half, y + half))
        painter.drawLine(QPointF(x - half, y + half), QPointF(x + half, y - half))
    else:
        painter.drawPolygon(QPolygonF([QPointF(x + half * dx, y + half * dy) for dx, dy in points[mark]]))


class AxisRow(QWidget):
    """The row of one axis. What the rig did not say is a dash; what is old is called stale."""

    def __init__(self, desk: Desk, near: Near, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._near = near
        self._stale = False
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.show_near(near, stale=False)

    @property
    def near(self) -> Near:
        return self._near

    def show_near(self, near: Near, *, stale: bool) -> None:
        if (near, stale) == (self._near, self._stale) and self.accessibleName():
            return
        self._near, self._stale = near, stale
        self.setAccessibleName(self._words())
        self.setToolTip(tip(self._words()))
        self.update()

    def sizeHint(self) -> QSize:
        return QSize(260, 120 if self._desk.face == "run" else 64)

    def minimumSizeHint(self) -> QSize:
        return QSize(160, 24)

    def _words(self) -> str:
        near, unit = self._near, self._near.axis.unit
        words = translate("run", "{axis}: at {actual} {unit}, asked {asked}, behind {error}").format(
            axis=near.axis.name,
            actual=number(near.actual, unit),
            asked=number(near.asked, unit),
            error=number(near.error, unit),
            unit=unit,
        )
        words += f", {self._end_words()}" if near.end else ""
        return words + (translate("run", ", stale") if self._stale else "")

    def _end_words(self) -> str:
        near = self._near
        if near.to_end is None or near.end is None:
            return translate("run", "without end") if near.axis.travel is None else "-"
        end = translate("run", "low end") if near.end == "low" else translate("run", "high end")
        words = translate("run", "{far} beyond {end}") if near.to_end < 0 else translate("run", "{far} to {end}")
        return words.format(far=number(abs(near.to_end), near.axis.unit), end=end)

    def paintEvent(self, event: QPaintEvent | None) -> None:
        theme, near = self._desk.theme, self._near
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), QColor(theme.panel))
        painter.fillRect(0, self.height() - 1, self.width(), 1, QColor(theme.rule))
        colour, mark = theme.track(near.place)
        afar = self._desk.face == "run"
        # the name must be read as well as the number, however narrow the row is
        large = max(STATE_PX, min(font_px(_AFAR_ARCMIN, _AFAR_M), self.width() // 11)) if afar else STATE_PX
        upper = min(self.height(), round(large * 1.5)) if self.height() >= _ONE_LINE_PX else self.height()
        draw_mark(painter, QPointF(14, upper / 2), 12, mark, colour)
        painter.setPen(QColor(theme.text))
        painter.setFont(bold(self, large))
        left, right = Qt.AlignmentFlag.AlignLeft, Qt.AlignmentFlag.AlignRight
        centred = Qt.AlignmentFlag.AlignVCenter
        area = QRectF(28, 0, self.width() - 36, upper)
        value = f"{number(near.actual, near.axis.unit)} {near.axis.unit}"
        room = area.width() - QFontMetrics(painter.font()).horizontalAdvance(value) - (28 if self._stale else 8)
        name = QFontMetrics(painter.font()).elidedText(near.axis.name, Qt.TextElideMode.ElideRight, round(room))
        painter.drawText(area, left | centred, name)
        if self._stale:
            box = QRectF(
                area.right() - QFontMetrics(painter.font()).horizontalAdvance(value) - 22, upper / 2 - 7, 14, 14
            )
            draw_form(painter, box, "triangle", theme.armed, theme.text)
        painter.drawText(area, right | centred, value)
        if self.height() >= _ONE_LINE_PX:
            self._lower(painter, theme, colour, upper)

    def _lower(self, painter: QPainter, theme: Theme, colour: str, top: int) -> None:
        """Draw the travel with the axis in it, and beside it what is far and what is behind."""
        small = STATE_PX if self._desk.face == "run" else TEXT_PX - 1
        near = self._near
        bar = QRectF(10, top + 3, self.width() - 20, 8)
        painter.setPen(QPen(QColor(theme.edge), 1))
        painter.setBrush(QColor(theme.ground))
        painter.drawRect(bar)
        if near.axis.travel is not None and near.actual is not None:
            low, high = near.axis.travel
            at = bar.left() + bar.width() * min(1.0, max(0.0, (near.actual - low) / (high - low)))
            if near.asked is not None:
                asked = bar.left() + bar.width() * min(1.0, max(0.0, (near.asked - low) / (high - low)))
                painter.setPen(QPen(QColor(theme.text), 1))
                painter.drawLine(QPointF(asked, bar.top() - 3), QPointF(asked, bar.bottom() + 3))
            end = bar.left() if near.end == "low" else bar.right()
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(QColor(colour))
            painter.drawRect(QRectF(QPointF(min(at, end), bar.top() + 1), QPointF(max(at, end), bar.bottom() - 1)))
            painter.setBrush(QColor(theme.text))
            painter.drawRect(QRectF(at - 2, bar.top() - 3, 4, bar.height() + 6))
        painter.setPen(QColor(theme.text))
        close = near.part is not None and near.part < _NEAR_PART
        painter.setFont(bold(self, small, heavy=close))
        line = QRectF(10, bar.bottom() + 2, self.width() - 20, small * 1.5)
        if line.bottom() > self.height() + 3:
            return
        left, right = Qt.AlignmentFlag.AlignLeft, Qt.AlignmentFlag.AlignRight
        if close:
            draw_form(painter, QRectF(10, line.center().y() - 6, 12, 12), "triangle", theme.armed, theme.text)
        behind = (
            translate("run", "STALE")
            if self._stale
            else translate("run", "behind {error}").format(
                error=number(None if near.error is None else abs(near.error), near.axis.unit)
            )
        )
        plain = bold(self, small, heavy=False)
        wide = QFontMetrics(plain).horizontalAdvance(behind)
        line.setLeft(line.left() + (18 if close else 0))
        fits = round(line.width()) - wide - 8
        below = line.bottom() + line.height() <= self.height()
        if below and QFontMetrics(painter.font()).horizontalAdvance(self._end_words()) > fits:
            fits = round(line.width())
        else:
            below = False
        words = QFontMetrics(painter.font()).elidedText(self._end_words(), Qt.TextElideMode.ElideRight, fits)
        painter.drawText(line, left, words)
        painter.setFont(plain)
        painter.drawText(line.translated(0, line.height()) if below else line, right, behind)
