"""OSC packets over a TCP connection, SLIP-framed.

The system's own buffers are kept empty of setpoints as far as it says what it holds: a set begins when nothing that was
written before is still unsent. What the peer has in its own buffers and does not read is out of reach.
Source: OSC 1.1 (SLIP on streams); RFC 9293, section 3.7.4 (Nagle's algorithm, which is off here); RFC 5482 (user
timeout: after that long without an acknowledgement the connection is given up).
"""

import contextlib
import errno
import os
import select
import socket
import struct
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from sequencer.adapters.hosts import found
from sequencer.adapters.osc_links.inbox import Inbox
from sequencer.errors import LinkError
from sequencer.wire.outgoing import Outgoing
from sequencer.wire.slip import frame

if sys.platform == "linux":
    import fcntl

_PER_READ = 4096
_BUFFER = 32_768
_GIVEN_UP_MS = 10_000
_SIOCOUTQNSD = 0x894B  # linux/sockios.h: bytes that are not sent yet
_FIRST_S = 3.0
_AGAIN_S = 0.001
_STALE_NS = 2_000_000_000
_LAST_NS = 100_000_000
_STEP_S = 0.002
# Some servers take OSC 1.0's size counts and SLIP, and know SLIP by a stream that begins with END and a '/'. So the
# first packet is a message outside any bundle, and one that moves nothing: a ping with a number that never comes again.
FIRST = b"/rig/ping\0\0\0,i\0\0" + struct.pack(">i", -1)
_CONNECTING = frozenset({0, errno.EINPROGRESS, errno.EWOULDBLOCK, errno.EALREADY})


class TcpLink:
    """A connection that stands. `garbage` counts the frames that were left aside."""

    times = 1

    def __init__(self, port: socket.socket, where: str) -> None:
        self._port = port
        self._out = Outgoing()
        self._inbox = Inbox()
        self.where = where
        self.dropped = 0
        self.gone = False

    @property
    def garbage(self) -> int:
        return self._inbox.garbage

    @property
    def waiting(self) -> int:
        return self._out.waiting

    def fileno(self) -> int | None:
        return self._port.fileno()

    def put(self, packet: bytes) -> bool:
        self.go_on()
        if not self._out.waiting and not self._unsent():
            message = frame(packet)
            self._out.begin(message)
            self._push()
            if self._out.tail is not message:
                return True
            self._out.withdraw()  # nothing of it was taken, so a newer one may still take its place
        self.dropped += 1
        return False

    def put_urgent(self, packet: bytes, *, clears: bool = False) -> bool:
        accepted = self._out.urgent(frame(packet), clears=clears)
        self.go_on()
        return accepted

    def packets(self) -> list[bytes]:
        return self._inbox.take(self._read)

    def go_on(self) -> None:
        while (self._out.tail or self._out.begin_urgent()) and self._push():
            pass

    def trouble(self) -> str:
        return ""

    def finish(self) -> None:
        """Wait a moment for what has begun and what is urgent; the system itself sends what it has taken.

        What came in is read, since closing over it would tell the rig to forget what it has not read either: the stop.
        Source: RFC 9293, section 3.6.1, and RFC 2525, section 2.17 (data lost where a close sends a reset).
        """
        until_ns = time.monotonic_ns() + _LAST_NS
        while self._out.waiting and time.monotonic_ns() < until_ns:
            self.go_on()
            time.sleep(_STEP_S if self._out.waiting else 0)
        with contextlib.suppress(OSError):
            self._port.shutdown(socket.SHUT_WR)
            while self._port.recv(_PER_READ):
                if time.monotonic_ns() >= until_ns:
                    break

    def _push(self) -> bool:
        """Write the begun message's rest; return whether all of it was taken."""
        tail = self._out.tail
        try:
            count = self._port.send(tail)
        except BlockingIOError:
            return False
        except OSError as fault:
            raise self._gone(fault.strerror) from fault
        self._out.taken(count)
        return count == len(tail)

    def _read(self) -> bytes:
        try:
            data = self._port.recv(_PER_READ)
        except BlockingIOError:
            return b""
        except OSError as fault:
            raise self._gone(fault.strerror) from fault
        if not data:
            raise self._gone("the rig closed it")
        return data

    def _unsent(self) -> int:
        if sys.platform != "linux":
            return 0
        try:
            return int(struct.unpack("i", fcntl.ioctl(self._port, _SIOCOUTQNSD, b"\0\0\0\0"))[0])
        except OSError as fault:
            raise self._gone(fault.strerror) from fault

    def _gone(self, why: str | None) -> LinkError:
        self.gone = True
        return LinkError(f"the connection to the rig at {self.where} is gone: {why}; check cable, network and rig")


@dataclass
class _Attempt:
    """A connection that is being made, from one opening to the next."""

    port: socket.socket
    begun_ns: int


_attempts: dict[tuple[str, int], _Attempt] = {}
_asked_before: set[tuple[str, int]] = set()


@contextmanager
def open_tcp(host: str, port: int) -> Iterator[TcpLink]:
    """Open a connection. The first call for an address may wait for it; later ones take it up where it stands by then.

    Error: LinkError where there is no connection, or none yet.
    """
    where = f"{host}:{port}"
    try:
        connected = _connected(host, port)
        _prepare(connected)
    except OSError as fault:
        raise LinkError(
            f"no rig takes a connection at {where}: {fault.strerror}; start the rig, or check address and network"
        ) from fault
    with connected:
        link = TcpLink(connected, where)
        try:
            link.put_urgent(FIRST)
            yield link
        finally:
            if not link.gone:
                with contextlib.suppress(LinkError):  # whoever leaves has no more use for it
                    link.finish()


def _connected(host: str, port: int) -> socket.socket:
    """Return a connected socket. Error: OSError where there is none; an attempt that may still succeed is kept."""
    key = (host, port)
    patience_s = _AGAIN_S if key in _asked_before else _FIRST_S
    _asked_before.add(key)
    attempt = _attempts.pop(key, None)
    if attempt is not None and time.monotonic_ns() - attempt.begun_ns > _STALE_NS:
        # the system asks ever more seldom, so that a rig that is back would wait for long
        attempt.port.close()
        attempt = None
    if attempt is None:
        attempt = _begun(host, port)
    _, ready, failed = select.select([], [attempt.port], [attempt.port], patience_s)
    if not ready and not failed:
        _attempts[key] = attempt
        raise OSError(errno.ETIMEDOUT, "it does not answer")
    fault = attempt.port.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR)
    if fault:
        attempt.port.close()
        raise OSError(fault, os.strerror(fault))
    return attempt.port


def _begun(host: str, port: int) -> _Attempt:
    reached = found(host, port, socket.SOCK_STREAM)
    opened = reached.socket()
    fault = opened.connect_ex(reached.place)
    if fault not in _CONNECTING:
        opened.close()
        raise OSError(fault, os.strerror(fault))
    return _Attempt(opened, time.monotonic_ns())


def _prepare(port: socket.socket) -> None:
    port.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    port.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, _BUFFER)
    if hasattr(socket, "TCP_USER_TIMEOUT"):
        port.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, _GIVEN_UP_MS)
