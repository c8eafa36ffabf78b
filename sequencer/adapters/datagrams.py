"""A socket that sends datagrams to one machine or to groups, and never waits; it knows nothing of what they say.

Where nothing listens, the machine there may say so. That is no reason to raise: it also happens before it is switched
on. `trouble` says it for a while.
"""

import errno
import socket
import time
from collections.abc import Iterator
from contextlib import contextmanager

from sequencer.adapters.hosts import connected
from sequencer.errors import LinkError

_FULL = frozenset({errno.EAGAIN, errno.EWOULDBLOCK, errno.ENOBUFS})
_REFUSAL_HOLDS_NS = 1_000_000_000


class Datagrams:
    """The open socket. `where` names the other side in words; `dropped` counts what there was no room for."""

    def __init__(self, port: socket.socket, where: str) -> None:
        self._port, self._where = port, where
        self._refused_ns: int | None = None
        self.gone = False
        self.dropped = 0

    def put(self, packet: bytes, to: tuple[str, int] | None = None) -> None:
        """Send one datagram to the one machine, or `to` a group; drop it where there is no room. Error: LinkError.

        A refusal belongs to an earlier datagram and keeps this one from going out, so it is tried once more.
        """
        for _ in range(2):
            try:
                if to is None:
                    self._port.send(packet)
                else:
                    self._port.sendto(packet, to)
                return
            except ConnectionError:
                self._refused_ns = time.monotonic_ns()
            except OSError as fault:
                if fault.errno not in _FULL:
                    self.gone = True
                    raise LinkError(
                        f"nothing can be sent to {self._where} any more: {fault.strerror}; check cable and network"
                    ) from fault
                self.dropped += 1
                return

    def trouble(self) -> str:
        """Return what is wrong on the link, in plain words; empty for nothing."""
        if self._refused_ns is not None and time.monotonic_ns() - self._refused_ns < _REFUSAL_HOLDS_NS:
            return f"nothing listens at {self._where}; start it, or correct the address"
        return ""


@contextmanager
def to_machine(host: str, port: int) -> Iterator[Datagrams]:
    """Open the way to one machine. Error: LinkError where there is none of that name, or no network."""
    where = f"{host}:{port}"
    with connected(host, port, f"{where} cannot be reached") as opened:
        yield Datagrams(opened, where)


@contextmanager
def to_groups(by: str, what: str) -> Iterator[Datagrams]:
    """Open the way to multicast groups, through the network card that has the address `by`.

    Empty leaves the card to the system. `what` names the groups in words. Error: LinkError for an address of no card.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as opened:
        opened.setblocking(False)
        if by:
            try:
                opened.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton(by))
            except OSError as fault:
                raise LinkError(
                    f"by={by} is the IPv4 address of no network card here ({fault}); take one that this machine has"
                ) from fault
        yield Datagrams(opened, what)
