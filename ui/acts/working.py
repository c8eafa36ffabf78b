"""Work that takes long, in a thread of its own, so that the window answers meanwhile: above all the stop keys.

It refuses to hide a bug: what is no fault of the world is raised in the window's thread.
"""

import threading
from collections.abc import Callable
from typing import Any, TypeVar

from PyQt6.QtCore import QObject, pyqtSignal

from sequencer.errors import SequencerError
from ui.beside import Inbox

T = TypeVar("T")
Ended = tuple[Any, Exception | None]


class Worker(QObject):
    """Does one thing after the other; `busy` says what, or that nothing is done any more (empty)."""

    busy = pyqtSignal(str)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._waiting: list[tuple[str, Callable[[], Any], Callable[[Any], object], Callable[[Exception], None]]] = []
        self._thread: threading.Thread | None = None
        self._ended: Inbox[Ended] = Inbox(self._end, self)

    @property
    def at_work(self) -> bool:
        return bool(self._waiting)

    def do(
        self, words: str, what: Callable[[], T], done: Callable[[T], object], failed: Callable[[Exception], None]
    ) -> None:
        """Have `what` done elsewhere; then one of the others is called here, with its result or its fault."""
        self._waiting.append((words, what, done, failed))
        if len(self._waiting) == 1:
            self._begin()

    def wait(self) -> None:
        """Wait for what is being done; its end is told by the event loop."""
        if self._thread is not None:
            self._thread.join()

    def _begin(self) -> None:
        words, what, _, _ = self._waiting[0]
        # no daemon: one that is ended in the middle of a sound library takes the whole program down with it
        self._thread = threading.Thread(target=_run, args=(what, self._ended.put), name="worker")
        if words:
            self.busy.emit(words)
        self._thread.start()
        self._ended.open()

    def _end(self, ended: Ended) -> None:
        self._ended.close()
        words, _, done, failed = self._waiting.pop(0)
        if self._waiting:
            self._begin()
        elif words:
            self.busy.emit("")
        result, fault = ended
        if fault is None:
            done(result)
        elif isinstance(fault, SequencerError | OSError):
            failed(fault)
        else:
            raise fault


def _run(what: Callable[[], Any], say: Callable[[Ended], None]) -> None:
    try:
        ended = (what(), None)
    except Exception as fault:
        say((None, fault))
    else:
        say(ended)
