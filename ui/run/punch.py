"""The control that punches in and out: pressed, not held, since what it hands over moves already or is not begun.

Its state is a word and a shape: brackets that are empty while the axes play, and full while hands have them.
"""

from PyQt6.QtCore import QPointF, QRectF, QSize, Qt
from PyQt6.QtGui import QColor, QFontMetrics, QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QPen, QPolygonF
from PyQt6.QtWidgets import QSizePolicy, QWidget

from ui.desk import Desk
from ui.label import tip
from ui.language import translate
from ui.run.performing import Performing
from ui.run.plate import bold
from ui.theme import BIG_TARGET_PX, STATE_PX

_KEYS = (Qt.Key.Key_Return, Qt.Key.Key_Enter)
_WORD_PX = 30
_LINES = 2  # below the word, or beside it
_LEAST_WORDS_PX = 64


class PunchControl(QWidget):
    """Acts at the press, with the mouse or with control and return; space and return alone do nothing."""

    def __init__(self, desk: Desk, performing: Performing, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk, self._performing = desk, performing
        self._low = False
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleDescription(
            translate("run", "press to punch in or out, with the mouse or with control and return")
        )
        desk.preferred.connect(self.update)
        desk.faced.connect(self.updateGeometry)
        performing.changed.connect(self._follow)
        self._follow()

    @property
    def words(self) -> tuple[str, str, str]:
        """The state, who has what, and what a press does."""
        axes = translate("run", ", ").join(self._performing.axes)
        if not self._performing.within:
            state, who = translate("run", "OUT"), translate("run", "{axes} on the timeline").format(axes=axes)
            does = translate("run", "press to punch in")
        else:
            state, who = translate("run", "IN"), translate("run", "hands have {axes}").format(axes=axes)
            does = translate("run", "press to punch out")
        if not self._performing.in_hand:
            does = translate("run", "{does}; controllers not in hand").format(does=does)
        return state, who, does

    def be_low(self, low: bool) -> None:
        """Have all words on the height of one target, or the state above the others."""
        self._low = low
        self.updateGeometry()
        self.update()

    def _follow(self) -> None:
        state, who, does = self.words
        self.setAccessibleName(translate("run", "Punched {state}: {who}").format(state=state, who=who))
        self.setToolTip(tip(f"{self.accessibleName()}; {does}"))
        self.update()

    def sizeHint(self) -> QSize:
        return QSize(
            140 if self._low else 220, BIG_TARGET_PX + (0 if self._low else 32 if self._desk.face == "run" else 24)
        )

    def minimumSizeHint(self) -> QSize:
        return QSize(140, self.sizeHint().height())

    def mousePressEvent(self, event: QMouseEvent | None) -> None:
        if event is not None and event.button() == Qt.MouseButton.LeftButton and self.isEnabled():
            self._performing.punch()

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        if event is None:
            return
        if event.key() in _KEYS and event.modifiers() & Qt.KeyboardModifier.ControlModifier:
            if not event.isAutoRepeat() and self.isEnabled():
                self._performing.punch()
        elif event.key() in (*_KEYS, Qt.Key.Key_Space):
            event.accept()  # and nothing else
        else:
            super().keyPressEvent(event)

    def paintEvent(self, event: QPaintEvent | None) -> None:
        theme, within = self._desk.theme, self._performing.within
        ground, ink = (theme.text, theme.panel) if within else (theme.raised, theme.text)
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        box = QRectF(self.rect()).adjusted(1.5, 1.5, -1.5, -1.5)
        focused = self.hasFocus()
        painter.setPen(QPen(QColor(theme.focus if focused else theme.edge), 3.0 if focused else 1.5))
        painter.setBrush(QColor(ground))
        painter.drawRoundedRect(box, 6, 6)
        state, *lines = self.words
        painter.setPen(QColor(ink))
        font = bold(self, _WORD_PX)
        word_px = QFontMetrics(font).horizontalAdvance(state)
        high = box.height() - 8 if self._low else _WORD_PX * 1.3
        upper = QRectF(box.left() + 12, box.top() + 4, box.width() - 24, high)
        side = _WORD_PX * 0.9
        sign = QRectF(upper.left(), upper.center().y() - side / 2, side * 1.4, side)
        draw_brackets(painter, sign, ink, full=within)
        painter.setFont(font)
        beside = QRectF(sign.right() + 12, upper.top(), word_px + 8, upper.height())
        painter.drawText(beside, Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft, state)
        small = bold(self, STATE_PX, heavy=False)
        painter.setFont(small)
        top, left = (upper.top(), beside.right() + 4) if self._low else (upper.bottom(), upper.left())
        each = (box.bottom() - top - 4) / _LINES
        for number, words in enumerate(lines):
            place = QRectF(left, top + number * each, upper.right() - left, each)
            if place.width() < _LEAST_WORDS_PX:
                continue  # there would be hardly more than dots; they are in the tip, too
            cut = QFontMetrics(small).elidedText(words, Qt.TextElideMode.ElideRight, round(place.width()))
            painter.drawText(place, Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft, cut)


def draw_brackets(painter: QPainter, box: QRectF, ink: str, *, full: bool) -> None:
    """Draw a pair of brackets into the box, with something between them or nothing."""
    painter.save()
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.setPen(QPen(QColor(ink), max(2.5, box.height() / 9)))
    tooth = box.width() * 0.18
    for outer, inner in ((box.left(), box.left() + tooth), (box.right(), box.right() - tooth)):
        points = [
            QPointF(inner, box.top()),
            QPointF(outer, box.top()),
            QPointF(outer, box.bottom()),
            QPointF(inner, box.bottom()),
        ]
        painter.drawPolyline(QPolygonF(points))
    if full:
        painter.fillRect(box.adjusted(1.6 * tooth, box.height() / 4, -1.6 * tooth, -box.height() / 4), QColor(ink))
    painter.restore()
