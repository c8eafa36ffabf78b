"""A process beside the window that speaks in lines: started and ended in a thread, heard in the window's own time."""

from collections.abc import Callable
from contextlib import AbstractContextManager, ExitStack
from functools import partial
from typing import Any, Generic, Protocol, TypeVar

from PyQt6.QtCore import QObject, QTimer, pyqtSignal

from sequencer.errors import LinkError
from ui.link.company import Aside


class Heard(Protocol):
    """What is needed of the process."""

    def hear(self) -> list[dict[str, Any]]: ...


T = TypeVar("T", bound=Heard)


class Talking(QObject, Generic[T]):
    """One such process at a time, between `begin` and `end`.

    `heard`: the lines since the last look, at each look. `failed`: why it could not be started, or ended by itself.
    """

    heard = pyqtSignal(object)  # not list: Qt would order the keys of what is in it
    failed = pyqtSignal(str)

    def __init__(self, look_ms: int, parent: QObject | None = None, *, aside: Aside | None = None) -> None:
        super().__init__(parent)
        self.talk: T | None = None
        self._aside = aside or Aside(self)
        self._turn = 0  # what was started for an earlier one is ended again
        self._ends: ExitStack | None = None
        self._look = QTimer(self)
        self._look.setInterval(look_ms)
        self._look.timeout.connect(self.look)

    @property
    def begun(self) -> bool:
        return self._look.isActive()

    def begin(self, start: Callable[[], AbstractContextManager[T]]) -> None:
        """Start the process, and listen from now on."""
        self._turn += 1
        self._look.start()
        self._aside.do(partial(_opened, start), partial(self._began, self._turn))

    def end(self) -> None:
        """End it; what it still says is not heard."""
        self._turn += 1
        self._close()

    def look(self) -> None:
        """Take in what was said since the last look."""
        if self.talk is None:
            return
        try:
            lines = self.talk.hear()
        except LinkError as fault:
            self.fail(str(fault))
        else:
            self.heard.emit(lines)

    def _began(self, turn: int, outcome: object) -> None:
        if isinstance(outcome, Exception):
            if turn == self._turn:
                self.fail(str(outcome))
            if not isinstance(outcome, LinkError | OSError):
                raise outcome
            return
        assert isinstance(outcome, tuple)
        talk, ends = outcome
        if turn != self._turn:
            self._aside.do(ends.close)
            return
        self.talk, self._ends = talk, ends

    def fail(self, words: str) -> None:
        """Take in that it is of no use any more, and say why."""
        self._close()
        self.failed.emit(words)

    def _close(self) -> None:
        self._look.stop()
        self.talk = None
        if self._ends is not None:
            self._aside.do(self._ends.close)
            self._ends = None


def _opened(start: Callable[[], AbstractContextManager[T]]) -> tuple[T, ExitStack]:
    ends = ExitStack()
    return ends.enter_context(start()), ends
