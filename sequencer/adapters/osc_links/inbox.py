"""Packets that come in on a stream, so many at a time as a tick has room for."""

from collections.abc import Callable

from sequencer.wire.slip import Frames

_AT_A_TIME = 64
_READS = 2


class Inbox:
    """The frames of one stream. A peer that floods waits in the system's buffer, and then at its own end."""

    def __init__(self) -> None:
        self._frames = Frames()
        self._waiting: list[bytes] = []

    @property
    def garbage(self) -> int:
        """How many frames were left aside."""
        return self._frames.garbage

    def take(self, read: Callable[[], bytes]) -> list[bytes]:
        """Return the next packets; `read` is asked for more where few wait here, and returns nothing for nothing."""
        for _ in range(_READS):
            data = read() if len(self._waiting) < _AT_A_TIME else b""
            if not data:
                break
            self._waiting += self._frames.feed(data)
        taken, self._waiting = self._waiting[:_AT_A_TIME], self._waiting[_AT_A_TIME:]
        return taken
