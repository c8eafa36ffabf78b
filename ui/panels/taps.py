"""A button to tap the beat on, by mouse or by the enter key, and what the taps say. The space bar is not its key."""

import time
from collections.abc import Callable

import numpy as np
from PyQt6.QtCore import Qt, pyqtSignal
from PyQt6.QtGui import QKeyEvent
from PyQt6.QtWidgets import QPushButton

from sequencer.music.grid import Tapped, tapped
from ui.desk import Desk
from ui.language import translate

_ANEW_S = 3.0  # without a tap, the next one begins another count
_MOST = 64
_RUNS = 0.1  # how far the playhead's speed is off the clock's, where it runs with the playback


class TapButton(QPushButton):
    """`tapped`: one tap, the moment the button or key goes down."""

    tapped = pyqtSignal()

    def __init__(self, desk: Desk, clock: Callable[[], float] = time.perf_counter) -> None:
        super().__init__(translate("music", "Tap the beat"))
        self.setAccessibleName(translate("music", "Tap the beat"))
        self.setToolTip(translate("music", "click, or press enter, once a beat; four taps at least"))
        self.setAutoDefault(False)
        self._desk, self._clock = desk, clock
        self._taps: list[tuple[float, float]] = []  # on the clock, and where the playhead stood
        self.pressed.connect(self._tap)

    @property
    def count(self) -> int:
        """How many taps are counted together."""
        return len(self._taps)

    @property
    def on_playhead(self) -> bool:
        """Whether the playhead runs along with the clock, so that the taps are instants of the project."""
        if len(self._taps) < 2:
            return False
        clock, head = np.array(self._taps).T
        span = clock[-1] - clock[0]
        return bool(span > 0 and abs((head[-1] - head[0]) / span - 1) < _RUNS)

    def said(self) -> Tapped:
        """Return what the taps say, on the project's time where the playhead runs. Error: as in `tapped`."""
        clock, head = np.array(self._taps, float).reshape(-1, 2).T
        # the playhead moves in steps as the screen does; its middle distance from the clock does not
        return tapped((clock + (float(np.median(head - clock)) if self.on_playhead else 0.0)).tolist())

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        if event is not None and event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            if not event.isAutoRepeat():
                self._tap()
            return
        super().keyPressEvent(event)

    def _tap(self) -> None:
        now_s = self._clock()
        if self._taps and now_s - self._taps[-1][0] > _ANEW_S:
            self._taps.clear()
        self._taps = [*self._taps[1 - _MOST :], (now_s, self._desk.playhead_s)]
        self.tapped.emit()
