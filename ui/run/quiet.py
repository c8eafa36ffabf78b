"""Keeps controls of a run from being worked by accident: space presses nothing, the wheel turns nothing unfocused.

Control and return press what has the keyboard. It changes nothing by itself.
"""

from PyQt6.QtCore import QEvent, QObject, Qt
from PyQt6.QtGui import QKeyEvent
from PyQt6.QtWidgets import QAbstractButton, QComboBox, QWidget

_RETURN = (Qt.Key.Key_Return, Qt.Key.Key_Enter)
_KEYS = (QEvent.Type.KeyPress, QEvent.Type.KeyRelease)


class Quiet(QObject):
    """An event filter for buttons, ticks and lists of choices."""

    def over(self, *widgets: QWidget) -> None:
        """Watch these from now on."""
        for widget in widgets:
            widget.setFocusPolicy(Qt.FocusPolicy.StrongFocus if isinstance(widget, QComboBox) else widget.focusPolicy())
            widget.installEventFilter(self)

    def eventFilter(self, watched: QObject | None, event: QEvent | None) -> bool:
        """Return whether the widget may not see the event."""
        if event is None or not isinstance(watched, QWidget):
            return False
        if event.type() == QEvent.Type.Wheel and not watched.hasFocus():
            event.ignore()
            return True
        if event.type() not in _KEYS or not isinstance(event, QKeyEvent):
            return False
        typed = isinstance(watched, QComboBox) and watched.isEditable()
        if event.key() == Qt.Key.Key_Space and not typed:
            return True
        if event.key() in _RETURN and event.modifiers() & Qt.KeyboardModifier.ControlModifier:
            self._press(watched, event)
            return True
        return False

    def _press(self, widget: QWidget, event: QKeyEvent) -> None:
        if event.isAutoRepeat() or event.type() != QEvent.Type.KeyPress or not widget.isEnabled():
            return
        if isinstance(widget, QAbstractButton):
            widget.click()
        elif isinstance(widget, QComboBox):
            widget.showPopup()
