"""What the strip is made of: a plate with the state's form and word, and readings with a caption. They only paint."""

from math import cos, pi, sin

from PyQt6.QtCore import QPointF, QRectF, QSize, Qt
from PyQt6.QtGui import QColor, QFont, QFontMetrics, QPainter, QPaintEvent, QPen, QPolygonF
from PyQt6.QtWidgets import QSizePolicy, QWidget

from ui.desk import Desk
from ui.label import tip
from ui.link.standing import OFFLINE, Standing
from ui.run.look import Form, Look, look
from ui.run.words import clause, word
from ui.theme import STATE_PX

CAPTION_PX = 14
_EDGES_PX = 18  # beside a caption and a value on one line


def bold(widget: QWidget, size_px: int, heavy: bool = True) -> QFont:
    """Return the widget's font in another size."""
    font = QFont(widget.font())
    font.setPixelSize(size_px)
    font.setBold(heavy)
    return font


def draw_form(painter: QPainter, box: QRectF, form: Form, fill: str, line: str) -> None:
    """Draw the form of a state into a square."""
    painter.setPen(QPen(QColor(line), max(2.0, box.width() / 14)))
    painter.setBrush(QColor(fill))
    middle, size = box.center(), box.width()
    match form:
        case "circle":
            painter.drawEllipse(box)
        case "slash":
            painter.drawEllipse(box)
            painter.drawLine(_on_circle(middle, size / 2, 0.25), _on_circle(middle, size / 2, 1.25))
        case "dots":
            for number in (-1, 0, 1):
                painter.drawEllipse(middle + QPointF(number * size * 0.36, 0), size * 0.09, size * 0.09)
        case "triangle":
            top, left, right = QPointF(middle.x(), box.top()), box.bottomLeft(), box.bottomRight()
            painter.drawPolygon(QPolygonF([top, right, left]))
        case "chevrons":
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(QPen(QColor(line), size / 6))
            for shift in (0.08, 0.5):
                back, tip = box.left() + shift * size, box.left() + (shift + 0.4) * size
                points = [QPointF(back, box.top()), QPointF(tip, middle.y()), QPointF(back, box.bottom())]
                painter.drawPolyline(QPolygonF(points))
        case "bars":
            for at in (0.12, 0.58):
                painter.drawRect(QRectF(box.left() + at * size, box.top(), 0.3 * size, size))
        case "octagon":
            painter.drawPolygon(QPolygonF([_on_circle(middle, size / 2, (k + 0.5) / 4) for k in range(8)]))
        case "square":
            painter.drawRect(box)


def _on_circle(middle: QPointF, radius: float, half_turns: float) -> QPointF:
    return middle + QPointF(radius * cos(half_turns * pi), radius * sin(half_turns * pi))


class Plate(QWidget):
    """The state: its form, its word, and under it how it is so. A fault's form blinks once a second; its word never."""

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._standing: Standing = OFFLINE
        self._size_px = STATE_PX
        self.dimmed = False
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        desk.preferred.connect(self.update)
        self.show_standing(OFFLINE)

    def show_standing(self, standing: Standing) -> None:
        self._standing = standing
        words = f"{word(standing.state)}, {clause(standing.how)}"
        self.setAccessibleName(words)
        self.setToolTip(tip(words))
        self.update()

    def look(self) -> Look:
        """Return how the state looks now."""
        return look(self._standing.state, self._desk.theme)

    def size_for(self, size_px: int) -> None:
        """Write the word with capitals of a font of this size."""
        self._size_px = size_px
        widest = QFontMetrics(bold(self, size_px)).horizontalAdvance(word("stopped") + "M")
        clauses = QFontMetrics(bold(self, self._small_px())).horizontalAdvance(clause("hold or count down to start"))
        self.setFixedSize(
            max(widest + round(1.5 * size_px), clauses + 20), round(1.35 * size_px) + self._small_px() + 8
        )
        self.update()

    def _small_px(self) -> int:
        return max(STATE_PX, self._size_px * 2 // 5)

    def paintEvent(self, event: QPaintEvent | None) -> None:
        view, size = self.look(), self._size_px
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), QColor(view.ground))
        if view.fill not in (view.ground, view.ink) and self._standing.state != "idle":
            painter.fillRect(QRectF(0, 0, 8, self.height()), QColor(view.fill))
        upper = round(1.35 * size)
        side = size * 0.8
        form = QRectF(18, (upper - side) / 2 + 2, side, side)
        draw_form(painter, form, view.form, view.ground if self.dimmed else view.fill, view.ink)
        painter.setPen(QColor(view.ink))
        painter.setFont(bold(self, size))
        left = form.right() + size * 0.4
        middle = Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft
        painter.drawText(QRectF(left, 0, self.width() - left, upper), middle, word(self._standing.state))
        painter.setFont(bold(self, self._small_px(), heavy=False))
        painter.drawText(
            QRectF(18, upper, self.width() - 18, self.height() - upper), middle, clause(self._standing.how)
        )


class Reading(QWidget):
    """A value with its caption: over it, or before it on the same line. What does not fit is cut, and in its tip."""

    def __init__(self, desk: Desk, caption: str, parent: QWidget | None = None, *, inline: bool = False) -> None:
        super().__init__(parent)
        self._desk = desk
        self.heavy = True
        self.wraps = False  # onto as many lines as there is room for
        self._caption = caption
        self._inline = inline
        self._value = ""
        self._alarm = False
        self._more = ""
        self._size_px = STATE_PX
        self._widest = ""
        desk.preferred.connect(self.update)
        self.show_value("")

    @property
    def value(self) -> str:
        return self._value

    def show_value(self, value: str, alarm: bool = False, more: str = "") -> None:
        """Show a value; with `alarm` inverse, behind a triangle. `more` is in its tip only."""
        if (value, alarm, more) == (self._value, self._alarm, self._more) and self.accessibleName():
            return
        self._value, self._alarm, self._more = value, alarm, more
        self._name()
        self.update()

    def caption_as(self, caption: str) -> None:
        """Show another caption."""
        if caption != self._caption:
            self._caption = caption
            self._name()
            self.update()

    def _name(self) -> None:
        self.setAccessibleName(f"{self._caption}: {self._value}")
        self.setAccessibleDescription(self._more)
        self.setToolTip(tip("\n".join(filter(None, (self.accessibleName(), self._more)))))

    def size_for(self, size_px: int, widest: str) -> None:
        """Write values in this size, with room for one as wide as `widest`."""
        self._size_px, self._widest = size_px, widest
        self.updateGeometry()
        self.update()

    @property
    def cut(self) -> bool:
        """Whether the value has no room on the line behind its caption."""
        caption = QFontMetrics(bold(self, CAPTION_PX, heavy=False)).horizontalAdvance(self._caption)
        value = QFontMetrics(bold(self, self._size_px, self.heavy)).horizontalAdvance(self._value)
        return value + caption + _EDGES_PX > self.width()

    def sizeHint(self) -> QSize:
        wide = QFontMetrics(bold(self, self._size_px, self.heavy)).horizontalAdvance(self._widest)
        caption = QFontMetrics(bold(self, CAPTION_PX, heavy=False)).horizontalAdvance(self._caption)
        if self._inline:
            return QSize(wide + caption + _EDGES_PX, round(self._size_px * 1.4))
        return QSize(max(wide, caption) + 12, round(self._size_px * 1.25) + CAPTION_PX + 6)

    def minimumSizeHint(self) -> QSize:
        return self.sizeHint()

    def paintEvent(self, event: QPaintEvent | None) -> None:
        theme = self._desk.theme
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        ground, ink = (theme.strip_text, theme.strip) if self._alarm else (theme.strip, theme.strip_text)
        painter.fillRect(self.rect(), QColor(ground))
        painter.setPen(QColor(ink))
        captions = bold(self, CAPTION_PX, heavy=False)
        painter.setFont(captions)
        area = QRectF(self.rect()).adjusted(6, 0, -2, 0)
        middle = Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft
        if self._inline:
            painter.drawText(area, middle, self._caption)
            area.setLeft(area.left() + QFontMetrics(captions).horizontalAdvance(self._caption) + 6)
        else:
            caption = QFontMetrics(captions).elidedText(self._caption, Qt.TextElideMode.ElideRight, round(area.width()))
            painter.drawText(QRectF(area.left(), 0, area.width(), CAPTION_PX + 5), middle, caption)
            area.setTop(CAPTION_PX + 4)
        if self._alarm:
            side = self._size_px * 0.7
            box = QRectF(area.left() + 2, area.center().y() - side / 2, side, side)
            draw_form(painter, box, "triangle", theme.armed, ink)
            area.setLeft(box.right() + 6)
        painter.setPen(QColor(ink))
        font = bold(self, self._size_px, self.heavy)
        painter.setFont(font)
        if self.wraps:
            # from the top: where it is too long, its end is lost and not its beginning
            top = Qt.AlignmentFlag.AlignTop | Qt.AlignmentFlag.AlignLeft
            painter.drawText(area, int(top) | Qt.TextFlag.TextWordWrap, self._value)
            return
        words = QFontMetrics(font).elidedText(self._value, Qt.TextElideMode.ElideRight, round(area.width()))
        painter.drawText(area, middle, words)
