"""Sockets that hear what an output sends, to one machine or to a multicast group, on this machine only."""

import socket
from collections.abc import Iterator
from contextlib import contextmanager

LOOPBACK = "127.0.0.1"


@contextmanager
def hearing(port: int = 0) -> Iterator[socket.socket]:
    """Open a socket on the loopback interface that gives up after five seconds."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as opened:
        opened.bind((LOOPBACK, port))
        opened.settimeout(5)
        yield opened


@contextmanager
def hearing_group(group: str, port: int) -> Iterator[socket.socket]:
    """Open a socket that has joined `group` on the loopback interface."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as opened:
        opened.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        opened.bind((group, port))
        opened.setsockopt(
            socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, socket.inet_aton(group) + socket.inet_aton(LOOPBACK)
        )
        opened.settimeout(5)
        yield opened


def waiting(port: socket.socket) -> list[bytes]:
    """Return all that has arrived; what was sent on the loopback interface is there when its sending returns."""
    heard = []
    port.setblocking(False)
    try:
        while True:
            heard.append(port.recv(65_535))
    except BlockingIOError:
        return heard
    finally:
        port.settimeout(5)
