"""Starts the editor, or draws its views into pictures and ends. It composes; what the parts do is theirs."""

import gc
import os
import signal
import sys
from pathlib import Path

from PyQt6.QtCore import QEvent, QTimer
from PyQt6.QtGui import QFont
from PyQt6.QtWidgets import QApplication

from sequencer.project.begin import empty
from sequencer.shell.kinds import laws
from ui.acts.files import Files
from ui.beside import Sweep
from ui.desk import Desk
from ui.link.link import Link
from ui.theme import TEXT_PX
from ui.window import Window

_SIGNALS_MS = 200
_FIRST_PX = (1600, 940)
_CALM_MS = 500  # after a project was opened: it is in sight, and what is kept beside it is made


def main(project: Path | None, render: Path | None = None) -> int:
    """Open the editor, on a project folder where one is given; return the exit status.

    With `render`, each main view is drawn into a PNG file in that folder, without a screen, and the editor ends.
    """
    if render is not None:
        os.environ["QT_QPA_PLATFORM"] = "offscreen"
    app = QApplication.instance() or QApplication(sys.argv[:1])
    assert isinstance(app, QApplication)
    app.setApplicationName("twintake")
    font = QFont(app.font())
    font.setPixelSize(TEXT_PX)
    app.setFont(font)
    # what Qt made goes before the application does: the other way round some of it would be used when it is gone
    with Sweep():
        return _run(app, project, render)


def _run(app: QApplication, project: Path | None, render: Path | None) -> int:
    window = compose(project)
    if render is not None:
        from ui.pictures import Painter

        painter = Painter(window, render)
        QTimer.singleShot(0, painter.begin)
    else:
        _hear_signals(window)
        window.resize(*_FIRST_PX)
        window.show()
        window.files.opened.connect(lambda _: QTimer.singleShot(_CALM_MS, _spare))
    status = app.exec()
    window.deleteLater()
    app.sendPostedEvents(None, QEvent.Type.DeferredDelete.value)
    return status


def compose(project: Path | None, root: Path | None = None) -> Window:
    """Put a window together; a project is opened in it, and without one it begins with the first page.

    `root` is the folder for what is no project's, where it is not the user's own.
    """
    table = laws()
    desk = Desk(empty(), table)
    files = Files(desk, root)
    link = Link(desk, files.save)
    window = Window(desk, link, files, root)
    window.open(project)
    return window


def _spare() -> None:
    """Have Python's collector look no more at what was opened.

    Of a hundred thousand keys nothing becomes garbage by itself, but looking through them takes the time of several
    frames, and comes in the middle of a gesture.
    """
    gc.unfreeze()  # what was there before may be garbage by now
    gc.collect()
    gc.freeze()


def _hear_signals(window: Window) -> None:
    """Close the window where the terminal or the system asks for it; Qt's loop alone would never look."""

    def close(number: int, frame: object) -> None:
        window.close()

    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), close)
    timer = QTimer(window)
    timer.timeout.connect(lambda: None)  # so that Python gets to see the signal
    timer.start(_SIGNALS_MS)
