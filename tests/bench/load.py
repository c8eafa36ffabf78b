"""What else a laptop on a set does, at its worst: a window that repaints without pause, and a second core kept busy.

A process of its own that ends when its standard input closes. Without PyQt6 there is only the busy core.
"""

import contextlib
import importlib.util
import os
import select
import subprocess
import sys
from collections.abc import Iterator

HAS_WINDOW = importlib.util.find_spec("PyQt6") is not None
CURVES, POINTS = 16, 400


@contextlib.contextmanager
def load() -> Iterator[None]:
    """Keep this machine busy while the block runs."""
    parts = ("burn", "repaint") if HAS_WINDOW else ("burn",)
    processes = [
        subprocess.Popen(
            [sys.executable, "-m", "tests.bench.load", part],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env={**os.environ, "QT_QPA_PLATFORM": "offscreen"},
        )
        for part in parts
    ]
    try:
        for process in processes:
            assert process.stdout is not None
            if not process.stdout.readline():
                raise AssertionError("the load ended before it began")
        yield
    finally:
        for process in processes:
            process.communicate()


def over() -> bool:
    """Whether whoever started this process has closed its standard input."""
    return bool(select.select([sys.stdin], [], [], 0)[0])


def burn() -> None:
    while not over():
        for number in range(100_000):
            _ = number * number


def repaint() -> None:
    """Draw a window as a graph editor has it, again as soon as it is drawn."""
    from PyQt6.QtCore import QPointF, QTimer
    from PyQt6.QtGui import QPainter, QPaintEvent, QPen, QPolygonF
    from PyQt6.QtWidgets import QApplication, QWidget

    class Window(QWidget):
        turn = 0

        def paintEvent(self, event: QPaintEvent | None) -> None:
            self.turn += 1
            painter = QPainter(self)
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            painter.fillRect(self.rect(), self.palette().window())
            for curve in range(CURVES):
                painter.setPen(QPen(self.palette().windowText(), 1.5))
                points = [QPointF(3.0 * x, 45.0 * curve + (self.turn + x * (curve + 1)) % 45) for x in range(POINTS)]
                painter.drawPolyline(QPolygonF(points))
            painter.end()

    application = QApplication(sys.argv[:1])
    window = Window()
    window.resize(1280, 720)
    window.show()

    def again() -> None:
        if over():
            application.quit()
        window.repaint()

    timer = QTimer()
    timer.timeout.connect(again)
    timer.start(0)
    application.exec()


if __name__ == "__main__":
    print("busy", flush=True)
    burn() if sys.argv[1] == "burn" else repaint()
