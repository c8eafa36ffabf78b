"""Where the processes of a run report for duty: it listens to this machine for as long as one is missing, no longer.

Any program of this machine can knock. Until it has said the run's token it may hold little, and not for long; nothing
that it says is read but that.
"""

import secrets
import socket
from collections.abc import Collection
from dataclasses import dataclass

import msgspec

from sequencer.shell.messages import LENGTH, Hello

MOST = 32
"""How many may stand there at once; others wait outside."""
PATIENCE_S = 2.0
LARGEST = 512  # bytes of what is said first
_BACKLOG = 128
_HELLO = msgspec.msgpack.Decoder(Hello)


@dataclass(frozen=True, slots=True)
class _Stranger:
    link: socket.socket
    since_s: float


class Porch:
    """The open door. `port` is where to knock; it is closed once all `roles` are in. Error: OSError, from the start."""

    def __init__(self, token: str, roles: Collection[str]) -> None:
        self._token = token.encode()
        self._missing = set(roles)
        self._strangers: list[_Stranger] = []
        self._listener = socket.create_server(("127.0.0.1", 0), backlog=_BACKLOG)
        self._listener.setblocking(False)
        self.port = int(self._listener.getsockname()[1])

    @property
    def standing(self) -> int:
        """How many have come and have not said who they are."""
        return len(self._strangers)

    def look(self, now_s: float) -> dict[str, socket.socket]:
        """Return the processes that have come, by their roles; whoever says something else, or nothing, is put out."""
        came: dict[str, socket.socket] = {}
        if not self._missing:
            return came
        self._let_in(now_s)
        for stranger in self._strangers.copy():
            try:
                said = _first_words(stranger.link)
                if said is None and now_s - stranger.since_s < PATIENCE_S:
                    continue
                role = "" if said is None else self._role(said)
            except (OSError, ValueError, msgspec.DecodeError, RecursionError):
                role = ""
            self._strangers.remove(stranger)
            if role:
                self._missing.remove(role)
                came[role] = stranger.link
            else:
                stranger.link.close()
        if not self._missing:
            self.close()
        return came

    def close(self) -> None:
        """Let nobody in any more, and put out who is not known."""
        self._missing.clear()
        for stranger in self._strangers:
            stranger.link.close()
        self._strangers.clear()
        self._listener.close()

    def _let_in(self, now_s: float) -> None:
        while len(self._strangers) < MOST:
            try:
                link, _ = self._listener.accept()
            except OSError:
                # nobody there, gone again before the door was open, or no descriptor left for now
                return
            link.setblocking(False)
            self._strangers.append(_Stranger(link, now_s))

    def _role(self, said: bytes) -> str:
        """Return who it is; nothing where the token is wrong, or nobody waits for it."""
        hello = _HELLO.decode(said)
        is_ours = secrets.compare_digest(hello.token.encode(), self._token)
        return hello.role if is_ours and hello.role in self._missing else ""


def _first_words(link: socket.socket) -> bytes | None:
    """Return the first message, and leave what follows it; None while it is not whole.

    Error: ValueError where it is none of ours; OSError where the other end has gone.
    """
    try:
        seen = link.recv(LENGTH.size + LARGEST, socket.MSG_PEEK)
    except BlockingIOError:
        return None
    if not seen:
        raise OSError("gone without a word")
    if len(seen) < LENGTH.size:
        return None
    (length,) = LENGTH.unpack_from(seen)
    if length > LARGEST:
        raise ValueError(f"a message of {length} bytes says more than who it is")
    if len(seen) < LENGTH.size + length:
        return None
    return link.recv(LENGTH.size + length)[LENGTH.size :]
