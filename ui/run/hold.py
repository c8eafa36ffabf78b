"""A control that acts only after it has been held: with the mouse, or with control and return by keyboard.

A click does nothing, space and return alone do nothing, and a key that repeats itself is one press. Time in which the
window stood still is not counted as held.
"""

import time
from collections.abc import Callable

from PyQt6.QtCore import QEvent, QRectF, QSize, Qt, QTimer, pyqtSignal
from PyQt6.QtGui import QColor, QFocusEvent, QFont, QFontMetrics, QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QPen
from PyQt6.QtWidgets import QApplication, QSizePolicy, QWidget

from ui.desk import Desk
from ui.language import translate
from ui.theme import BIG_TARGET_PX, STATE_PX

HOLD_S = 0.8
_TICK_MS = 20
_LONGEST_TICK_S = 0.1
_KEYS = (Qt.Key.Key_Return, Qt.Key.Key_Enter)
_LOST = (QEvent.Type.UngrabMouse, QEvent.Type.WindowDeactivate, QEvent.Type.Hide, QEvent.Type.EnabledChange)


class Hold(QWidget):
    """`held`: it was held for long enough; nothing more happens before it is let go and held again."""

    held = pyqtSignal()

    def __init__(
        self,
        desk: Desk,
        words: str,
        parent: QWidget | None = None,
        *,
        now_ns: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        super().__init__(parent)
        self._desk = desk
        self._words = words
        self._now_ns = now_ns
        self._seen_ns = 0
        self._gone_s: float | None = None
        self._done = False
        self._timer = QTimer(self)
        self._timer.setInterval(_TICK_MS)
        self._timer.timeout.connect(self.tick)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName(words)
        self.setAccessibleDescription(
            translate("run", "hold it for 0.8 seconds, with the mouse or with control and return; a click does nothing")
        )
        desk.preferred.connect(self.update)
        desk.faced.connect(self.updateGeometry)

    @property
    def part(self) -> float:
        """How much of the time it has been held, from 0 to 1."""
        return 0.0 if self._gone_s is None else min(1.0, self._gone_s / HOLD_S)

    def sizeHint(self) -> QSize:
        return QSize(180, BIG_TARGET_PX)

    def minimumSizeHint(self) -> QSize:
        return QSize(120, BIG_TARGET_PX)

    def tick(self) -> None:
        """Let the time that has gone by count."""
        if self._gone_s is None or self._done:
            return
        if QApplication.activePopupWidget() is not None:  # a list or a menu has the mouse and the keyboard now
            self._let_go()
            return
        now_ns = self._now_ns()
        self._gone_s += min((now_ns - self._seen_ns) * 1e-9, _LONGEST_TICK_S)
        self._seen_ns = now_ns
        self.update()
        if self._gone_s >= HOLD_S:
            self._done = True
            self._timer.stop()
            self.held.emit()

    def _begin(self) -> None:
        if self.isEnabled() and self._gone_s is None:
            self._gone_s, self._seen_ns, self._done = 0.0, self._now_ns(), False
            self._timer.start()
            self.update()

    def _let_go(self) -> None:
        self._gone_s, self._done = None, False
        self._timer.stop()
        self.update()

    def mousePressEvent(self, event: QMouseEvent | None) -> None:
        if event is not None and event.button() == Qt.MouseButton.LeftButton:
            self._begin()

    def mouseReleaseEvent(self, event: QMouseEvent | None) -> None:
        self._let_go()

    def mouseMoveEvent(self, event: QMouseEvent | None) -> None:
        if event is not None and not self.rect().contains(event.position().toPoint()):
            self._let_go()

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        if event is None:
            return
        if event.key() in _KEYS and event.modifiers() & Qt.KeyboardModifier.ControlModifier:
            if not event.isAutoRepeat():
                self._begin()
        elif event.key() in (*_KEYS, Qt.Key.Key_Space):
            event.accept()  # and nothing else
        else:
            super().keyPressEvent(event)

    def keyReleaseEvent(self, event: QKeyEvent | None) -> None:
        if event is not None and not event.isAutoRepeat():
            self._let_go()

    def focusOutEvent(self, event: QFocusEvent | None) -> None:
        self._let_go()
        super().focusOutEvent(event)

    def event(self, event: QEvent | None) -> bool:
        """Let go where a release might never come."""
        if event is not None and event.type() in _LOST:
            self._let_go()
        return super().event(event)

    def paintEvent(self, event: QPaintEvent | None) -> None:
        theme = self._desk.theme
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        box = QRectF(self.rect()).adjusted(1.5, 1.5, -1.5, -1.5)
        focused = self.hasFocus()
        pen = QPen(QColor(theme.focus if focused else theme.edge), 3.0 if focused else 1.5)
        if not self.isEnabled():
            pen.setStyle(Qt.PenStyle.DashLine)
        painter.setPen(pen)
        painter.setBrush(QColor(theme.raised))
        painter.drawRoundedRect(box, 6, 6)
        self._write(painter, theme.text)
        if self.part > 0:
            painter.setClipRect(QRectF(0, 0, self.width() * self.part, self.height()))
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(QColor(theme.text))
            painter.drawRoundedRect(box, 6, 6)
            self._write(painter, theme.panel)

    def _write(self, painter: QPainter, colour: str) -> None:
        font = QFont(self.font())
        font.setPixelSize(26 if self._desk.face == "run" else STATE_PX + 2)
        font.setBold(True)
        # as large as there is room for it, and as large whether it can be held or not
        wide = QFontMetrics(font).horizontalAdvance(self._words)
        font.setPixelSize(max(STATE_PX - 2, min(font.pixelSize(), font.pixelSize() * (self.width() - 16) // wide)))
        font.setBold(self.isEnabled())
        painter.setFont(font)
        painter.setPen(QColor(colour))
        words = QFontMetrics(font).elidedText(self._words, Qt.TextElideMode.ElideRight, self.width() - 16)
        painter.drawText(self.rect(), Qt.AlignmentFlag.AlignCenter, words)
