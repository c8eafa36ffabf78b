"""Stop, from anywhere: two keys that work wherever the keyboard is, and one large control that is always there.

It is a controlled stop by software and no emergency stop, and is not drawn as one. It works at the press, not at the
release, goes through shared memory, and never asks.
"""

from PyQt6.QtCore import QEvent, QObject, QPoint, QRect, QSize, Qt
from PyQt6.QtGui import QColor, QFont, QKeyEvent, QMouseEvent, QPainter, QPaintEvent
from PyQt6.QtWidgets import QApplication, QWidget

from ui.language import translate
from ui.link.countdown import STOPS
from ui.link.link import Link
from ui.theme import STOP_PX

BLACK, WHITE = "#000000", "#ffffff"
_KEYS = (Qt.Key.Key_Escape, Qt.Key.Key_Space)
_CLICKS = (QEvent.Type.MouseButtonPress, QEvent.Type.MouseButtonDblClick)


class StopControl(QWidget):
    """A white field with a black plate, a white square and the word; the same in every theme, and never disabled."""

    def __init__(self, link: Link, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._link = link
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setFixedSize(*STOP_PX)
        self.setProperty(STOPS, True)
        self.setAttribute(Qt.WidgetAttribute.WA_AcceptTouchEvents)
        self.setCursor(Qt.CursorShape.PointingHandCursor)
        self.setAccessibleName(translate("run", "Stop the rig (Escape or space)"))
        self.setAccessibleDescription(translate("run", "a controlled stop by software; it is no emergency stop"))
        self.setToolTip(translate("run", "Controlled stop (Escape or space). It is no emergency stop."))

    def setEnabled(self, enabled: bool) -> None:
        """Stay enabled, whatever is wanted."""

    def setDisabled(self, disabled: bool) -> None:
        """Stay enabled, whatever is wanted."""

    def sizeHint(self) -> QSize:
        return QSize(*STOP_PX)

    def event(self, event: QEvent | None) -> bool:
        """Stop at the first touch, too."""
        if event is not None and event.type() == QEvent.Type.TouchBegin:
            self._link.stop()
            event.accept()
            return True
        return super().event(event)

    def mousePressEvent(self, event: QMouseEvent | None) -> None:
        self._link.stop()

    def mouseDoubleClickEvent(self, event: QMouseEvent | None) -> None:
        self._link.stop()

    def paintEvent(self, event: QPaintEvent | None) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), QColor(WHITE))
        painter.setPen(QColor(BLACK))
        painter.drawRect(self.rect().adjusted(0, 0, -1, -1))
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(BLACK))
        side = self.height() - 20
        plate = QRect(10, 10, side, side)
        painter.drawRoundedRect(plate, 6, 6)
        inset = side * 3 // 10
        painter.fillRect(plate.adjusted(inset, inset, -inset, -inset), QColor(WHITE))
        font = QFont(self.font())
        font.setPixelSize(32)
        font.setBold(True)
        painter.setFont(font)
        painter.setPen(QColor(BLACK))
        beside = self.rect().adjusted(plate.right() + 6, 0, -6, 0)
        painter.drawText(beside, Qt.AlignmentFlag.AlignCenter, translate("run", "STOP"))


class StopKeys(QObject):
    """Has Escape and space stop the rig from anywhere while anything is armed or moves; then they do nothing else.

    A key that stopped stays without other effect until it is let go. A press on a stop control counts even where a menu
    or a list is open over the rest of the window. Install it once, on the application.
    """

    def __init__(self, link: Link, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._link = link
        self._held: set[int] = set()
        app = QApplication.instance()
        if app is not None:
            app.installEventFilter(self)

    def eventFilter(self, watched: QObject | None, event: QEvent | None) -> bool:
        if isinstance(event, QKeyEvent) and event.key() in _KEYS:
            return self._key(event)
        if isinstance(event, QMouseEvent) and event.type() in _CLICKS and QApplication.activePopupWidget() is not None:
            return self._click(event.globalPosition().toPoint())
        return False

    def _key(self, event: QKeyEvent) -> bool:
        """Return whether nobody else may see it."""
        key, repeated = event.key(), event.isAutoRepeat()
        if event.type() == QEvent.Type.KeyRelease:
            stopped = key in self._held
            if not repeated:
                self._held.discard(key)
            return stopped
        if repeated and key in self._held:
            event.accept()
            return True
        if not self._link.dangerous:
            self._held.discard(key)  # where its release went to another program
            return False
        # the override comes before the press: who accepts it keeps the key from being somebody's shortcut
        if event.type() == QEvent.Type.KeyPress:
            self._held.add(key)
            self._link.stop()
        event.accept()
        return True

    def _click(self, at: QPoint) -> bool:
        for widget in QApplication.allWidgets():
            there = isinstance(widget, StopControl) and widget.isVisible()
            if there and widget.rect().contains(widget.mapFromGlobal(at)):
                self._link.stop()
                return True
        return False
