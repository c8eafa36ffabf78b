"""OSC packets as datagrams, one each. A network may lose any of them, and says nothing of it.

The socket is connected: what comes from another machine than the rig, or from another port of it, never gets here.

Where nothing listens at the address, the machine there may say so. That is no reason to raise: it also happens before
the rig is switched on. `trouble` says it, and playback stops a rig whose answers are missing.
"""

import errno
import socket
import time
from collections.abc import Iterator
from contextlib import contextmanager

from sequencer.adapters.hosts import connected
from sequencer.errors import LinkError

_PER_READ = 64
BYTES_PER_READ = 4096  # after these no other datagram is read: what they hold must not make a tick late
LARGEST = 4096
"""Bytes of the largest datagram that is read: answers of a hundred axes have less."""
_REFUSAL_HOLDS_NS = 1_000_000_000
_TOO_LONG = errno.EMSGSIZE
_FULL = frozenset({errno.EAGAIN, errno.EWOULDBLOCK, errno.ENOBUFS})


class UdpLink:
    """A connected socket that does not wait."""

    times = 3
    waiting = 0

    def __init__(self, port: socket.socket, where: str) -> None:
        self._port = port
        self._refused_ns: int | None = None
        self.where = where
        self.dropped = 0
        self.garbage = 0

    def fileno(self) -> int | None:
        return self._port.fileno()

    def put(self, packet: bytes) -> bool:
        """Send one datagram, or drop it where there is no room.

        A refusal belongs to an earlier datagram and keeps this one from going out, so it is tried once more.
        """
        for _ in range(2):
            try:
                self._port.send(packet)
                return True
            except ConnectionError:
                self._refused_ns = time.monotonic_ns()
            except OSError as fault:
                if fault.errno not in _FULL:
                    raise self._gone(fault) from fault
                self.dropped += 1
                return False
        return False

    def put_urgent(self, packet: bytes, *, clears: bool = False) -> bool:
        return self.put(packet)

    def packets(self) -> list[bytes]:
        heard: list[bytes] = []
        size = 0
        for _ in range(_PER_READ):
            if size >= BYTES_PER_READ:
                break
            try:
                packet = self._port.recv(LARGEST + 1)
            except BlockingIOError:
                break
            except ConnectionError:
                self._refused_ns = time.monotonic_ns()
                continue
            except OSError as fault:
                if fault.errno != _TOO_LONG:
                    raise self._gone(fault) from fault
                packet = bytes(LARGEST + 1)  # some systems do not give what does not fit
            self._refused_ns = None
            size += len(packet)
            if len(packet) > LARGEST:
                self.garbage += 1
            else:
                heard.append(packet)
        return heard

    def go_on(self) -> None:
        pass  # a datagram goes out whole or not at all

    def trouble(self) -> str:
        if self._refused_ns is not None and time.monotonic_ns() - self._refused_ns < _REFUSAL_HOLDS_NS:
            return f"nothing listens at {self.where}; start the rig, or correct the address"
        return ""

    def _gone(self, fault: OSError) -> LinkError:
        return LinkError(f"the link to the rig at {self.where} is gone: {fault.strerror}; check cable and network")


@contextmanager
def open_udp(host: str, port: int) -> Iterator[UdpLink]:
    """Open a link to a host and port. Error: LinkError where there is no such host or no network."""
    where = f"{host}:{port}"
    with connected(host, port, f"no rig can be reached at {where}") as opened:
        yield UdpLink(opened, where)
