"""The built-in byte pipe: MIDI bytes over TCP from a program on this machine, where no MIDI port is to be had.

It listens on 127.0.0.1 only, serves one peer at a time, and does not look into the bytes. The engine reads it itself,
a small piece at a time, so that a sender gone wild holds up nobody. Nothing is held back, since a stop may be in it.
"""

import socket
from collections.abc import Iterator
from contextlib import contextmanager

from sequencer.adapters.contract import Chunk, SourceKind
from sequencer.errors import LinkError
from sequencer.sync.allowance import Allowance

_HOST = "127.0.0.1"
PIECE = 256  # bytes at a time: about 90 messages, which a tick has room for
_NOTICES_PER_S, _NOTICES_AT_ONCE = 1, 10


class PipeIn:
    """The listening end. A peer that goes away makes room for the next one; `notices` tells of both, while that is not
    too often to be read.
    """

    def __init__(self, listener: socket.socket) -> None:
        self._listener = listener
        self._peer: socket.socket | None = None
        self._telling = Allowance(_NOTICES_PER_S, _NOTICES_AT_ONCE)
        self._notices: list[str] = []

    @property
    def port(self) -> int:
        """The port that it listens on, also where `pipe:0` left the choice to the system."""
        return int(self._listener.getsockname()[1])

    @property
    def address(self) -> str:
        return f"pipe:{self.port}"

    def fileno(self) -> int:
        """Return what to wait on now: the peer, or the door while nobody is there. It changes; ask before each wait."""
        return (self._peer or self._listener).fileno()

    def read(self, heard_ns: int) -> tuple[Chunk, ...]:
        """Return the piece that has arrived; what remains keeps `fileno` readable."""
        if self._peer is not None:
            try:
                data = self._peer.recv(PIECE)
            except BlockingIOError:
                self._turn_away(heard_ns)
                return ()
            except OSError:
                # a connection that was reset is a peer that has gone
                data = b""
            if data:
                return (Chunk(heard_ns, data),)
            self._peer.close()
            self._peer = None
            self._tell("timecode pipe: the sender has gone; waiting for the next one", heard_ns)
        self._peer = self._comer()
        if self._peer is not None:
            self._tell("timecode pipe: a sender is here", heard_ns)
        return ()

    def notices(self) -> tuple[str, ...]:
        """Return what happened to the link since the last call, in words for the operator."""
        said, self._notices = tuple(self._notices), []
        return said

    def _comer(self) -> socket.socket | None:
        try:
            comer, _ = self._listener.accept()
        except OSError:
            # nobody there, or gone again before the door was open
            return None
        comer.setblocking(False)
        return comer

    def _tell(self, words: str, now_ns: int) -> None:
        if self._telling.grants(now_ns):
            self._notices.append(words)

    def _turn_away(self, now_ns: int) -> None:
        """Refuse whoever else knocks. Asked only while the peer is known to be there, else its successor would go."""
        comer = self._comer()
        if comer is not None:
            comer.close()
            self._tell("timecode pipe: a second sender was turned away; one is enough", now_ns)

    def close(self) -> None:
        """Close the peer and the door."""
        if self._peer is not None:
            self._peer.close()
        self._listener.close()


@contextmanager
def open_pipe(address: str) -> Iterator[PipeIn]:
    """Listen on `pipe:PORT`; `pipe:0` takes a free port. Error: LinkError where the port is no number or not free."""
    text = address.partition(":")[2]
    if not (text.isascii() and text.isdigit() and len(text) <= 5 and int(text) < 65_536):
        raise LinkError(f"{address!r}: no port of a pipe; write a number from 0 to 65535, as in pipe:4711")
    try:
        listener = socket.create_server((_HOST, int(text)), backlog=4)
    except OSError as error:
        raise LinkError(f"{address} cannot be opened ({error.strerror}); name another port, or pipe:0") from error
    listener.setblocking(False)
    pipe = PipeIn(listener)
    try:
        yield pipe
    finally:
        pipe.close()


KIND = SourceKind(schemes=("pipe",), blocks=False, open=open_pipe, names=lambda: ("pipe:0",))
