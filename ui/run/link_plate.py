"""The link to the rig in the strip: two ends, joined, apart, or joined by dots where nothing is known; and a word.

It only paints.
"""

from PyQt6.QtCore import QPointF, QRectF, QSize, Qt
from PyQt6.QtGui import QColor, QFontMetrics, QPainter, QPaintEvent, QPen
from PyQt6.QtWidgets import QSizePolicy, QWidget

from ui.desk import Desk
from ui.label import tip as words_only
from ui.language import translate
from ui.run.link_state import NOTHING, LinkSeen, Word, link_words, tip
from ui.run.plate import CAPTION_PX, bold
from ui.theme import STATE_PX

_SIGN, _BRIEF_SIGN = 1.9, 1.4  # font sizes that the shape takes


class LinkPlate(QWidget):
    """Inverse where the link is down, where the rig is back and waits for a reset, or where an output has a trouble."""

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self.seen: LinkSeen = NOTHING
        self._size_px, self._brief = STATE_PX, False
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Preferred)
        desk.preferred.connect(self.update)
        self.show_link(NOTHING)

    @property
    def value(self) -> str:
        return link_words(self.seen, brief=self._brief)

    def show_link(self, seen: LinkSeen) -> None:
        """Show another link."""
        before, self.seen = self.value, seen
        if len(before) != len(self.value):
            self.updateGeometry()
        self.setAccessibleName(tip(seen))
        self.setToolTip(words_only(tip(seen)))
        self.update()

    def size_for(self, size_px: int, *, brief: bool) -> None:
        """Write in this size; `brief` where there is little room."""
        self._size_px, self._brief = size_px, brief
        self.updateGeometry()
        self.update()

    def sizeHint(self) -> QSize:
        letters = QFontMetrics(bold(self, self._size_px))
        wide = max(letters.horizontalAdvance(words) for words in (self.value, translate("run", "up")))
        return QSize(round(wide + self._left()) + 4, round(self._size_px * 1.4))

    def minimumSizeHint(self) -> QSize:
        return self.sizeHint()

    def _left(self) -> float:
        """Return where the word begins, behind the caption and the shape."""
        caption = QFontMetrics(bold(self, CAPTION_PX, heavy=False)).horizontalAdvance(self._caption())
        return 4 + (caption + 8 if caption else 0) + self._sign() + 6

    def _sign(self) -> float:
        return self._size_px * (_BRIEF_SIGN if self._brief else _SIGN)

    def _caption(self) -> str:
        return "" if self._brief else translate("run", "link")

    def paintEvent(self, event: QPaintEvent | None) -> None:
        theme = self._desk.theme
        alarm = self.seen.dropped or bool(self.seen.told)
        ground, ink = (theme.strip_text, theme.strip) if alarm else (theme.strip, theme.strip_text)
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), QColor(ground))
        painter.setPen(QColor(ink))
        middle = Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft
        captions = bold(self, CAPTION_PX, heavy=False)
        painter.setFont(captions)
        painter.drawText(QRectF(self.rect()).adjusted(4, 0, 0, 0), middle, self._caption())
        wide, high = self._sign(), self._size_px * 0.45
        left = self._left() - 6 - wide
        draw_link(painter, QRectF(left, (self.height() - high) / 2, wide, high), self.seen.word, ink)
        font = bold(self, self._size_px)
        painter.setFont(font)
        painter.setPen(QColor(ink))
        area = QRectF(self._left(), 0, self.width() - self._left(), self.height())
        cut = QFontMetrics(font).elidedText(self.value, Qt.TextElideMode.ElideRight, round(area.width()))
        painter.drawText(area, middle, cut)


def draw_link(painter: QPainter, box: QRectF, word: Word, ink: str) -> None:
    """Draw the two ends of the link into the box, and what is between them."""
    painter.save()
    pen = QPen(QColor(ink), 2.0)
    radius, y = box.height() / 2, box.center().y()
    ends = QPointF(box.left() + radius, y), QPointF(box.right() - radius, y)
    painter.setPen(pen)
    painter.setBrush(QColor(ink) if word == "up" else Qt.BrushStyle.NoBrush)
    for end in ends:
        painter.drawEllipse(end, radius - pen.widthF() / 2, radius - pen.widthF() / 2)
    inner = QPointF(ends[0].x() + radius, y), QPointF(ends[1].x() - radius, y)
    match word:
        case "up":
            painter.drawLine(*inner)
        case "unknown":
            for part in (0.25, 0.5, 0.75):
                at = inner[0] + (inner[1] - inner[0]) * part
                painter.fillRect(QRectF(at.x() - 1.5, at.y() - 1.5, 3, 3), QColor(ink))
        case "down":
            x, reach = box.center().x(), box.height()
            painter.drawLine(QPointF(x - reach * 0.3, y + reach), QPointF(x + reach * 0.3, y - reach))
    painter.restore()
