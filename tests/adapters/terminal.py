"""A pair of terminals of this machine: the name of one for the program, the other end for the test."""

import os
import pty
import select
import tty
from collections.abc import Iterator
from contextlib import contextmanager


class FarEnd:
    """What a board would have: reads what has come, says something, is unplugged."""

    def __init__(self, fd: int, path: str) -> None:
        self.fd, self.path = fd, path
        self.open = True
        os.set_blocking(fd, False)

    def hear(self, enough: int = 1, patience_s: float = 5.0) -> bytes:
        """Return what has come in once it is `enough` bytes, or nothing has come for `patience_s`."""
        heard = b""
        while len(heard) < enough and select.select([self.fd], [], [], patience_s)[0]:
            heard += os.read(self.fd, 65_536)
        return heard

    def say(self, data: bytes) -> None:
        assert os.write(self.fd, data) == len(data)

    def unplug(self) -> None:
        if self.open:
            os.close(self.fd)
            self.open = False


def arrived(fd: int | None) -> None:
    """Wait until something can be read there: the system hands it over in its own time."""
    assert fd is not None
    assert select.select([fd], [], [], 5.0)[0]


@contextmanager
def terminal() -> Iterator[FarEnd]:
    """Open a pair."""
    far, near = pty.openpty()
    tty.setraw(near)
    end = FarEnd(far, os.ttyname(near))
    try:
        yield end
    finally:
        end.unplug()
        os.close(near)
