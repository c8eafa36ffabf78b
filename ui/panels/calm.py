"""Keeps the wheel from changing a value that merely lies under the pointer. It refuses nothing else."""

from PyQt6.QtCore import QEvent, QObject
from PyQt6.QtWidgets import QAbstractSlider, QAbstractSpinBox, QApplication, QComboBox, QScrollBar, QWidget

_FIELDS = (QComboBox, QAbstractSpinBox, QAbstractSlider)


class CalmWheel(QObject):
    """An event filter for the whole application: a field without the keyboard leaves the wheel to its parent."""

    def eventFilter(self, watched: QObject | None, event: QEvent | None) -> bool:
        if event is None or event.type() != QEvent.Type.Wheel or not isinstance(watched, QWidget):
            return False
        field: QWidget | None = watched
        while field is not None and not isinstance(field, _FIELDS):
            field = field.parentWidget() if not field.isWindow() else None
        if field is None or isinstance(field, QScrollBar) or field.hasFocus() or field.isAncestorOf(_focus()):
            return False
        event.ignore()
        parent = field.parentWidget()
        if parent is not None:
            QApplication.sendEvent(parent, event)
        return True


def _focus() -> QWidget | None:
    return QApplication.focusWidget()
