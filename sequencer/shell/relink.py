"""The output of the running engine: it opens the link to the rig, and opens it anew once it is gone.

Between a LinkError and the next opening that works every method raises; `look` is where it is tried, twice a second.
"""

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager

from sequencer.adapters.contract import LinkState, Output
from sequencer.errors import LinkError
from sequencer.rig.signals import Feedback, Setpoint, Trigger

EVERY_NS = 500_000_000

Opener = Callable[[], AbstractContextManager[Output]]


class Relink:
    """An output that comes back. Use it as a context. Error: LinkError on entering it where there is no link."""

    def __init__(self, opener: Opener) -> None:
        self._opener = opener
        self._stack = ExitStack()
        self._opened: Output | None = None
        self._why = ""
        self._tried_ns: int | None = None

    def __enter__(self) -> "Relink":
        self._open()
        return self

    def __exit__(self, *_: object) -> None:
        self._close()

    def _open(self) -> None:
        self._opened = self._stack.enter_context(self._opener())

    def _close(self) -> None:
        self._opened = None
        self._stack.close()

    @contextmanager
    def _here(self) -> Iterator[Output]:
        """Lend the open link. Error: LinkError where it is gone, or goes now."""
        if self._opened is None:
            raise LinkError(self._why)
        try:
            yield self._opened
        except LinkError as fault:
            self._why, self._tried_ns = str(fault), None
            self._close()
            raise

    def fileno(self) -> int | None:
        return None if self._opened is None else self._opened.fileno()

    def send(self, setpoint: Setpoint) -> None:
        with self._here() as opened:
            opened.send(setpoint)

    def replace(self, from_ns: int) -> None:
        with self._here() as opened:
            opened.replace(from_ns)

    def fire(self, trigger: Trigger) -> bool:
        with self._here() as opened:
            return opened.fire(trigger)

    def read(self, heard_ns: int) -> tuple[Feedback, ...]:
        with self._here() as opened:
            return opened.read(heard_ns)

    def ask(self) -> None:
        with self._here() as opened:
            opened.ask()

    def stop(self) -> None:
        with self._here() as opened:
            opened.stop()

    def here(self, axis: str, value: float) -> None:
        with self._here() as opened:
            opened.here(axis, value)

    def trouble(self) -> str:
        with self._here() as opened:
            return opened.trouble()

    def link(self, now_ns: int) -> LinkState:
        with self._here() as opened:
            return opened.link(now_ns)

    def look(self, now_ns: int) -> None:
        if self._opened is None:
            self._try_again(now_ns)
        with self._here() as opened:
            opened.look(now_ns)

    def _try_again(self, now_ns: int) -> None:
        if self._tried_ns is None:
            self._tried_ns = now_ns
        if now_ns - self._tried_ns < EVERY_NS:
            return
        self._tried_ns = now_ns
        try:
            self._open()
        except LinkError as fault:
            self._why = str(fault)
