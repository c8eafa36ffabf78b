"""One loopback connection between two of our processes. Nothing here ever waits."""

import contextlib
import socket
from typing import Generic, TypeVar

import msgspec

from sequencer.shell.messages import Command, Report, Unframer, frame

T = TypeVar("T")
_PIECE = 65_536
_BACKLOG_BYTES = 1 << 20


class Control(Generic[T]):
    """Typed messages over a connected socket. `gone` turns true when the other process has ended or lost its way."""

    def __init__(self, link: socket.socket, decoder: msgspec.msgpack.Decoder[T]) -> None:
        link.setblocking(False)
        link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._link = link
        self._unframer = Unframer(decoder)
        self._unsent = bytearray()
        self.gone = False

    def fileno(self) -> int:
        return self._link.fileno()

    def say(self, message: Command | Report) -> None:
        """Send, or keep the unsent rest for the next call; a peer that reads nothing for 1 MiB is taken for gone."""
        self._unsent += frame(message)
        self.push()

    def push(self) -> None:
        """Send on what is still unsent."""
        try:
            while self._unsent and not self.gone:
                del self._unsent[: self._link.send(self._unsent)]
        except BlockingIOError:
            self.gone = self.gone or len(self._unsent) > _BACKLOG_BYTES
        except OSError:
            self.gone = True

    def read(self) -> list[T]:
        """Return the messages that have arrived whole."""
        data = b""
        try:
            data = self._link.recv(_PIECE)
            self.gone = self.gone or not data
        except BlockingIOError:
            pass
        except OSError:
            self.gone = True
        try:
            return list(self._unframer.feed(data))
        except ValueError:
            self.gone = True
            return []

    def close(self) -> None:
        with contextlib.suppress(OSError):
            self._link.close()


def connect(port: int, decoder: msgspec.msgpack.Decoder[T]) -> Control[T]:
    """Connect to the command that started this process. Error: OSError where it is gone."""
    return Control(socket.create_connection(("127.0.0.1", port), timeout=5), decoder)
