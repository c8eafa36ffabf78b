"""The UDP port at a door: opened, and opened anew where its interface gets another address, or is plugged in anew.

Source: RFC 3493 for IPV6_V6ONLY and scopes; Linux socket(7) for SO_BINDTODEVICE, SO_TIMESTAMPNS and SO_RXQ_OVFL.
"""

import contextlib
import errno
import socket
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager

from sequencer.adapters.cards import cards
from sequencer.adapters.listening import Cards, Door, placed, read
from sequencer.errors import LinkError

LOOK_NS = 2_000_000_000
"""Between two looks at the interface."""
# Linux gives these numbers on all but its rarest machines; Python names neither before 3.14
STAMPS, LOST = 35, 40
_BUFFER = 1 << 22  # at most; small messages take 700 bytes of it each, so that 10,000 a second fill it in half a second
_NOT_THERE = frozenset({errno.EADDRNOTAVAIL, errno.ENODEV, errno.ENXIO})


class UdpDoor:
    """An open port. `socket` is None while its interface has no address for it: then nobody can be heard.

    `stamped`: the kernel stamps what comes. Unit: `empty_ns` monotonic; nothing that is in the port came before it.
    """

    def __init__(self, port: socket.socket, door: Door, stamped: bool, opened_ns: int) -> None:
        self.socket: socket.socket | None = port
        self.door = door
        self.stamped = stamped
        self.empty_ns = opened_ns
        self._number = int(port.getsockname()[1])
        self._looked_ns = opened_ns
        self._card = _index(door.card)

    @property
    def address(self) -> str:
        """How the operator writes it, with the port that it has."""
        return self.door.address(self._number)

    def close(self) -> None:
        """Let the port go, where there is one; who reads it then learns that it is gone."""
        if self.socket is not None:
            self.socket.close()

    def strayed(self, now_ns: int) -> Cards | None:
        """Look now and then after the interface; where it is no more as it was opened, return all that there are.

        Nothing is closed yet: what came until then, and may be a stop, is to be read before `move`.
        """
        if not self.door.card or now_ns - self._looked_ns < LOOK_NS:
            return None
        self._looked_ns = now_ns
        try:
            there = cards()
        except LinkError:
            return None  # nothing is known of it now
        return None if self.socket is not None and self._is_there(there) else there

    def move(self, there: Cards) -> str | None:
        """Go where the interface's address has gone; what is unread is lost. Return what to tell."""
        was_open = self.socket is not None
        # before it is opened: the same address may have to be taken once more
        self.close()
        self.socket = None
        try:
            self.door = placed(self.door.wanted, there)
            self.socket, self.stamped = _opened(self.door, self._number)
        except (LinkError, OSError) as fault:
            why = _why(fault, self._number) if isinstance(fault, OSError) else str(fault)
            return f"nobody is heard at {self.address} now, not even a stop: {why}" if was_open else None
        self._card, self.empty_ns = _index(self.door.card), time.monotonic_ns()
        return f"{self.address} is heard at {self.door.host} now; have those who may speak send there"

    def _is_there(self, there: Cards) -> bool:
        """Whether the interface is the one that was opened, with the address that was taken."""
        return self.door.host in there.get(self.door.card, ()) and _index(self.door.card) == self._card


def judge(address: str) -> Door:
    """Return where `address` is, without opening it. Error: LinkError where it is nowhere, or for others unnamed."""
    wanted = read(address)
    return placed(wanted, {} if wanted.is_here else cards())


@contextmanager
def open_door(address: str) -> Iterator[UdpDoor]:
    """Open the port at `address`. Error: LinkError where it is none of this machine's, or not free."""
    door = judge(address)
    opened_ns = time.monotonic_ns()
    try:
        port, stamped = _opened(door, door.wanted.port)
    except OSError as fault:
        raise LinkError(f"{address} cannot be opened: {_why(fault, door.wanted.port)}") from fault
    opened = UdpDoor(port, door, stamped, opened_ns)
    try:
        yield opened
    finally:
        opened.close()


def _opened(door: Door, number: int) -> tuple[socket.socket, bool]:
    """Return the socket that is bound there, and whether the kernel stamps what comes. Error: OSError."""
    port = socket.socket(socket.AF_INET if door.host.version == 4 else socket.AF_INET6, socket.SOCK_DGRAM)
    try:
        port.setblocking(False)
        port.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, _BUFFER)
        stamped = _stamps(port)
        _bind(port, door, number)
    except OSError:
        port.close()
        raise
    return port, stamped


def _bind(port: socket.socket, door: Door, number: int) -> None:
    """Take the door's address, and nothing that comes by another interface, as far as the system lets us."""
    if sys.platform == "linux" and door.card:
        # an address counts for the whole machine there; its interface has an alias's name up to the colon
        with contextlib.suppress(PermissionError):
            port.setsockopt(socket.SOL_SOCKET, socket.SO_BINDTODEVICE, door.card.partition(":")[0].encode())
    if door.host.version == 4:
        port.bind((str(door.host), number))
        return
    port.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 1)
    scope = socket.if_nametoindex(door.card) if door.host.is_link_local else 0
    port.bind((str(door.host), number, 0, scope))


def _stamps(port: socket.socket) -> bool:
    """Have the kernel stamp what comes, where it can."""
    if not sys.platform.startswith("linux"):
        return False
    with contextlib.suppress(OSError):
        port.setsockopt(socket.SOL_SOCKET, LOST, 1)
        port.setsockopt(socket.SOL_SOCKET, STAMPS, 1)
        return True
    return False


def _index(card: str) -> int:
    """Return the system's number of an interface, which is another once it was plugged in anew; 0 for none."""
    try:
        return socket.if_nametoindex(card.partition(":")[0])
    except OSError:
        return 0


def _why(fault: OSError, number: int) -> str:
    if fault.errno == errno.EADDRINUSE:
        return (
            f"port {number} is in use by another program; end that one, or name another port (osc:0 takes a free one)"
        )
    if fault.errno in _NOT_THERE:
        return "this machine has that address or interface no more; look at twintake ports"
    return f"{fault.strerror}; name another port, above 1023"
