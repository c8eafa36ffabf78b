"""A counted start: three seconds in big numbers, which any key and any click anywhere call off.

It starts nothing but what it was given, and only while that may be started. Time in which the window stood still is not
counted: nobody could have called it off then.
"""

import time
from collections.abc import Callable

from PyQt6.QtCore import QEvent, QObject, Qt, QTimer, pyqtSignal
from PyQt6.QtGui import QKeyEvent, QMouseEvent
from PyQt6.QtWidgets import QApplication

COUNT_S = 3.0
_TICK_MS = 50
_LONGEST_TICK_S = 0.2
_STOP_KEYS = (Qt.Key.Key_Escape, Qt.Key.Key_Space)
STOPS = "stops"  # property of a widget whose press stops the rig: it is never taken away from it


class Countdown(QObject):
    """`ticked`: another time is left, or it is over. `left_s` is None while nothing is counted."""

    ticked = pyqtSignal()

    def __init__(
        self, start: Callable[[], None], may: Callable[[], bool], now_ns: Callable[[], int] = time.monotonic_ns
    ) -> None:
        super().__init__()
        self.left_s: float | None = None
        self.called_off = False  # the last one
        self._start = start
        self._may = may
        self._now_ns = now_ns
        self._seen_ns = 0
        self._timer = QTimer(self)
        self._timer.setInterval(_TICK_MS)
        self._timer.timeout.connect(self.tick)

    @property
    def counting(self) -> bool:
        return self.left_s is not None

    def begin(self) -> None:
        """Count down, then start."""
        app = QApplication.instance()
        if self.counting or app is None or not self._may():
            return
        self.left_s, self._seen_ns, self.called_off = COUNT_S, self._now_ns(), False
        app.installEventFilter(self)
        self._timer.start()
        self.ticked.emit()

    def call_off(self) -> None:
        """End it without a start."""
        if self.counting:
            self.called_off = True
            self._end()

    def tick(self) -> None:
        """Let the time that has gone by count."""
        if self.left_s is None:
            return
        if not self._may():
            self.call_off()
            return
        now_ns = self._now_ns()
        self.left_s -= min((now_ns - self._seen_ns) * 1e-9, _LONGEST_TICK_S)
        self._seen_ns = now_ns
        if self.left_s > 0:
            self.ticked.emit()
            return
        self._end()
        self._start()

    def _end(self) -> None:
        self.left_s = None
        self._timer.stop()
        app = QApplication.instance()
        if app is not None:
            app.removeEventFilter(self)
        self.ticked.emit()

    def eventFilter(self, watched: QObject | None, event: QEvent | None) -> bool:
        """Call it off by whatever is pressed, which then does nothing else; but a stop stops."""
        if event is None or not self.counting:
            return False
        match event.type():
            case QEvent.Type.ShortcutOverride if isinstance(event, QKeyEvent):
                # it comes before the press, which is then nobody's shortcut
                event.accept()
                return event.key() not in _STOP_KEYS
            case QEvent.Type.KeyPress if isinstance(event, QKeyEvent) and not event.isAutoRepeat():
                self.call_off()
                return event.key() not in _STOP_KEYS
            case QEvent.Type.MouseButtonPress | QEvent.Type.MouseButtonDblClick:
                self.call_off()
                return isinstance(event, QMouseEvent) and not _on_stop(event)
            case QEvent.Type.TouchBegin | QEvent.Type.TabletPress:
                self.call_off()
                return False
        return False


def _on_stop(event: QMouseEvent) -> bool:
    at = event.globalPosition().toPoint()
    stops = (one for one in QApplication.allWidgets() if one.property(STOPS) and one.isVisible())
    return any(one.rect().contains(one.mapFromGlobal(at)) for one in stops)
