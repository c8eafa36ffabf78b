"""How a host is reached, remembered: a name may take long to look up, and a link is opened again in mid-run."""

import socket
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache

from sequencer.errors import LinkError


@dataclass(frozen=True, slots=True)
class Reached:
    """What a socket to the host is made of, and what it connects to."""

    family: int
    kind: int
    protocol: int
    place: tuple[object, ...]

    def socket(self) -> socket.socket:
        """Return a new socket that does not wait. Error: OSError."""
        made = socket.socket(self.family, self.kind, self.protocol)
        made.setblocking(False)
        return made


@cache
def found(host: str, port: int, kind: socket.SocketKind) -> Reached:
    """Return how the host is reached. Error: OSError, which is not remembered."""
    there = socket.getaddrinfo(host, port, type=kind)
    # small devices speak IPv4 only, while `localhost` often names IPv6 first
    family, _, protocol, _, place = min(there, key=lambda one: one[0] != socket.AF_INET)
    return Reached(family, kind, protocol, place)


@contextmanager
def connected(host: str, port: int, cannot: str) -> Iterator[socket.socket]:
    """Open a datagram socket to a host and port, that does not wait; `cannot` is the clause where there is no way.

    Error: LinkError where there is no such host or no network.
    """
    try:
        reached = found(host, port, socket.SOCK_DGRAM)
        opened = reached.socket()
    except OSError as fault:
        raise LinkError(f"{cannot}: {fault.strerror}; check the address") from fault
    with opened:
        try:
            opened.connect(reached.place)
        except OSError as fault:
            raise LinkError(f"{cannot}: {fault.strerror}; check the network") from fault
        yield opened
