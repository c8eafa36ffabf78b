"""What goes on beside the window's thread, kept away from Qt: nothing there speaks to it, or frees what is Qt's.

It refuses to wait: what threads say lies in a queue until the window's own thread looks into it.
"""

import gc
from collections.abc import Callable
from queue import SimpleQueue
from typing import Generic, TypeVar

from PyQt6.QtCore import QObject, QTimer

T = TypeVar("T")
_LOOK_MS = 10
_SWEEP_MS = 200
_NEW, _NEWER, _ALL = 0, 1, 2  # what Python's collector looks through: its youngest objects, or the next ones as well
_MORE = 1.25  # times as many old objects as when all were looked through


class Inbox(Generic[T]):
    """Where threads leave what they have to say; `take` is called with each, in the window's thread, while it is open.

    A thread that signalled by itself into a window that is just being closed would end the whole program. `put` is
    what a thread may hold on to: it knows nothing of Qt.
    """

    def __init__(self, take: Callable[[T], object], parent: QObject | None = None, every_ms: int = _LOOK_MS) -> None:
        left: SimpleQueue[T] = SimpleQueue()
        self.put = left.put
        self._left, self._take, self._open = left, take, False
        self._look = QTimer(parent)
        self._look.setInterval(every_ms)
        self._look.timeout.connect(self.look)

    def open(self) -> None:
        """Look for what was said from now on."""
        self._open = True
        self._look.start()

    def close(self) -> None:
        """Leave what is said from now on where it lies."""
        self._open = False
        self._look.stop()

    def look(self) -> None:
        """Take in what was said since the last look."""
        while self._open and not self._left.empty():
            self._take(self._left.get())


class Sweep:
    """While it is entered, Python's garbage is collected from the window's thread, and from no other.

    Python collects in whichever thread happens to make the next object. There, what a timer of Qt's calls is taken
    apart while the timer still runs in the window's thread, and its next call ends the program.
    """

    def __init__(self) -> None:
        self._old = 0  # objects that were old when all were looked through
        self._by_itself = True
        self._look = QTimer()
        self._look.setInterval(_SWEEP_MS)
        self._look.timeout.connect(self.look)

    def __enter__(self) -> "Sweep":
        self._by_itself = gc.isenabled()
        gc.disable()
        self._look.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Collect what is left, while there still is an application, and let Python collect by itself as before."""
        self._look.stop()
        gc.unfreeze()
        gc.collect()
        if self._by_itself:
            gc.enable()

    def look(self) -> None:
        """Collect as much as Python itself would have by now.

        Source: CPython 3.11, Modules/gcmodule.c, gc_collect_generations: thresholds, and all of them only when a
        quarter more have grown old (from memory).
        """
        new, newer, older = gc.get_count()
        most_new, most_newer, most_older = gc.get_threshold()
        if new <= most_new:
            return
        newer += new // max(1, most_new)  # so often Python would have looked through the newest meanwhile
        older += newer // max(1, most_newer)
        if newer <= most_newer:
            gc.collect(_NEW)
        elif older <= most_older or len(gc.get_objects(_ALL)) < _MORE * self._old:
            gc.collect(_NEWER)
        else:
            gc.collect(_ALL)
            self._old = len(gc.get_objects(_ALL))
