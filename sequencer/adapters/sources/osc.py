"""OSC over UDP, as triggers: each message alone, stamped with the instant that its timetag names, or of its arrival.

Address: `osc:PORT` hears this machine only; `osc:HOST:PORT` hears whoever can reach HOST, one of this machine's
addresses; `osc:0.0.0.0:PORT` hears every network, and must be asked for. `osc:0` takes a free port.

It does not judge what a message asks. It bounds how many messages a second pass, so that a sender gone wild holds up
nobody; only `/stop` passes always. Timetags are read by the wall clock as it is now: a clock that was set anew while
this program runs was most likely wrong before.
Source: OSC 1.0 for messages and timetags; Linux socket(7) for the kernel's stamps, SO_TIMESTAMPNS and SO_RXQ_OVFL.
"""

import contextlib
import errno
import socket
import struct
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager

from sequencer.adapters import wallclock
from sequencer.adapters.contract import Chunk, SourceKind
from sequencer.errors import LinkError, PeerError
from sequencer.sync.complaints import Complaints
from sequencer.sync.osc_orders import ADDRESSES, STOP
from sequencer.wire.osc import split
from sequencer.wire.timetag import IMMEDIATELY, instant

ORDERS_PER_S = 100
AT_ONCE = 20  # of either: what the engine reads in one tick must not make it late
OTHERS_PER_S = 10  # enough to say what comes that is no order
_THIS_MACHINE = "127.0.0.1"
_MESSAGES_PER_READ = 512
_LARGEST = 65_535
_BUFFER = 1 << 22  # at most; small messages take 700 bytes of it each, so that 10,000 a second fill it in half a second
_CALM_NS = 1_000_000_000
_ORDERS = frozenset(address.encode() for address in ADDRESSES)
_STOP = STOP.encode()

# Linux gives these numbers on all but its rarest machines; Python names neither before 3.14
_STAMPS, _LOST = 35, 40
_STAMP, _COUNT = struct.Struct("@ll"), struct.Struct("@I")
_ANCILLARY = 256

Extras = list[tuple[int, int, bytes]]


class _Allowance:
    """So many a second on average, and no more at once than may be."""

    def __init__(self, per_s: int) -> None:
        self._per_s = per_s
        self._left = float(AT_ONCE)
        self._at_ns: int | None = None

    def grants(self, now_ns: int) -> bool:
        if self._at_ns is not None:
            self._left = min(AT_ONCE, self._left + max(0, now_ns - self._at_ns) * 1e-9 * self._per_s)
        self._at_ns = now_ns
        if self._left < 1:
            return False
        self._left -= 1
        return True


class OscIn:
    """The listening port. `left_aside` counts messages that came too fast, `malformed` packets that are no OSC, `lost`
    what the machine had no room for before it was read.
    """

    def __init__(self, port: socket.socket, host: str, stamped: bool, opened_ns: int) -> None:
        self._port = port
        named = f"[{host}]" if ":" in host else host
        self.address = f"osc:{named}:{port.getsockname()[1]}"
        self.stamped = stamped  # by the kernel
        self._empty_ns = opened_ns  # nothing that is in the port now came before this
        self._orders, self._others = _Allowance(ORDERS_PER_S), _Allowance(OTHERS_PER_S)
        self._complaints = Complaints()
        self._notices: list[str] = []
        self._flood_ns: int | None = None  # when the last message was left aside, while that is not long ago
        self._before_flood = 0
        self.left_aside = 0
        self.malformed = 0
        self.lost = 0

    def fileno(self) -> int:
        return self._port.fileno()

    def notices(self) -> tuple[str, ...]:
        """Return what happened since the last call, in words for the operator."""
        said, self._notices = (*self._notices, *self._complaints.take()), []
        return said

    def read(self, heard_ns: int) -> tuple[Chunk, ...]:
        """Return the messages that may pass; of several `/stop` in one call the first, for they all say the same."""
        chunks: list[Chunk] = []
        stopped = False
        offset_ns: int | None = None
        looked_at = 0
        while looked_at < _MESSAGES_PER_READ and (received := self._received(heard_ns)) is not None:
            packet, extras = received
            looked_at += 1
            if offset_ns is None:
                offset_ns = wallclock.measure()[1]
            arrived_ns = self._arrived_ns(extras, heard_ns, offset_ns)
            try:
                messages = split(packet)
            except PeerError as fault:
                self._spoilt(str(fault))
                continue
            looked_at += len(messages)
            for tag, message in messages:
                name = message.partition(b"\0")[0]
                if name == _STOP:
                    passes, stopped = not stopped, True
                else:
                    passes = self._passes(name, heard_ns)
                if passes:
                    stamp_ns = arrived_ns if tag == IMMEDIATELY else instant(tag, offset_ns, arrived_ns)
                    chunks.append(Chunk(stamp_ns, message))
        self._calm(heard_ns)
        return tuple(chunks)

    def _received(self, heard_ns: int) -> tuple[bytes, Extras] | None:
        """Return the next datagram with what the kernel says of it, or None where there is none."""
        try:
            if self.stamped:
                packet, extras, _, _ = self._port.recvmsg(_LARGEST, _ANCILLARY)
                return packet, extras
            return self._port.recv(_LARGEST), []
        except BlockingIOError:
            self._empty_ns = heard_ns
        except ConnectionError:
            pass  # some systems tell here of a datagram that was sent
        except OSError as fault:
            raise LinkError(f"{self.address} is gone: {fault.strerror}; check the network and open it anew") from fault
        return None

    def _arrived_ns(self, extras: Extras, heard_ns: int, offset_ns: int) -> int:
        """Return when a datagram came, as the kernel says.

        Its stamp is of the wall clock, and wrong where that was set anew since; so it is held between the last look
        that found the port empty and now.
        """
        arrived_ns = heard_ns
        for level, kind, data in extras:
            if (level, kind) == (socket.SOL_SOCKET, _STAMPS) and len(data) == _STAMP.size:
                seconds, ns = _STAMP.unpack(data)
                stamp_ns = seconds * 1_000_000_000 + ns - offset_ns
                arrived_ns = min(max(stamp_ns, self._empty_ns), time.monotonic_ns())
            elif (level, kind) == (socket.SOL_SOCKET, _LOST) and len(data) == _COUNT.size:
                self._missed(_COUNT.unpack(data)[0], heard_ns)
        return arrived_ns

    def _passes(self, name: bytes, now_ns: int) -> bool:
        """Whether there is room for a message. Orders are not held up by a flood of something else."""
        if not name.startswith(b"/"):
            self._spoilt(f"an OSC message begins with '/', not with {name[:8]!r}")
            return False
        if (self._orders if name in _ORDERS else self._others).grants(now_ns):
            return True
        self.left_aside += 1
        self._flooded(now_ns)
        return False

    def _missed(self, lost: int, now_ns: int) -> None:
        """Take note of how many datagrams the kernel had no room for so far."""
        if lost > self.lost:
            self.lost = lost
            self._flooded(now_ns)

    def _flooded(self, now_ns: int) -> None:
        if self._flood_ns is None:
            self._notices.append(
                f"more OSC arrives at {self.address} than a show sends ({ORDERS_PER_S} orders a second pass, and "
                f"{OTHERS_PER_S} other messages); the rest is left aside, but for {STOP}. Look for what sends so much"
            )
        self._flood_ns = now_ns

    def _calm(self, now_ns: int) -> None:
        """Tell how much was left aside, when there was nothing more for a second."""
        if self._flood_ns is None or now_ns - self._flood_ns < _CALM_NS:
            return
        self._flood_ns = None
        count = self.left_aside + self.lost - self._before_flood
        self._before_flood = self.left_aside + self.lost
        self._notices.append(f"the flood at {self.address} is over; {count} OSC messages were left aside")

    def _spoilt(self, why: str) -> None:
        self.malformed += 1
        self._complaints.tell("malformed", f"what came to {self.address} cannot be read: {why}")


def parse_address(text: str) -> tuple[str, int]:
    """Read `osc:PORT` or `osc:HOST:PORT`. Error: LinkError that says how to write it."""
    host, _, port = text.partition(":")[2].rpartition(":")
    if host.startswith("[") and host.endswith("]"):
        host = host[1:-1]
    elif ":" in host or "/" in host:
        host, port = "", ""
    if not (port.isascii() and port.isdigit() and int(port) < 65_536):
        raise LinkError(f"{text!r} is no OSC port; write osc:9001, osc:HOST:9001 or osc:0.0.0.0:9001")
    return host or _THIS_MACHINE, int(port)


@contextmanager
def open_osc(address: str) -> Iterator[OscIn]:
    """Listen at `address`. Error: LinkError where it is none of this machine's, or not free."""
    host, number = parse_address(address)
    try:
        found = socket.getaddrinfo(host, number, type=socket.SOCK_DGRAM, flags=socket.AI_PASSIVE)
        family, kind, protocol, _, place = min(found, key=lambda one: one[0] != socket.AF_INET)
        port = socket.socket(family, kind, protocol)
    except OSError as fault:
        raise LinkError(f"{address} cannot be opened ({fault.strerror}); name an address of this machine") from fault
    with port:
        try:
            port.setblocking(False)
            port.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, _BUFFER)
            stamped = _stamps(port)
            opened_ns = time.monotonic_ns()
            port.bind(place)
        except OSError as fault:
            raise LinkError(f"{address} cannot be opened: {_why(fault, number)}") from fault
        yield OscIn(port, host, stamped, opened_ns)


def _stamps(port: socket.socket) -> bool:
    """Have the kernel stamp what comes, where it can."""
    if not sys.platform.startswith("linux"):
        return False
    with contextlib.suppress(OSError):
        port.setsockopt(socket.SOL_SOCKET, _LOST, 1)
        port.setsockopt(socket.SOL_SOCKET, _STAMPS, 1)
        return True
    return False


def _why(fault: OSError, number: int) -> str:
    if fault.errno == errno.EADDRINUSE:
        return (
            f"port {number} is in use by another program; end that one, or name another port (osc:0 takes a free one)"
        )
    if fault.errno == errno.EADDRNOTAVAIL:
        return "that is no address of this machine; name one that is, or 0.0.0.0 for all"
    return f"{fault.strerror}; name another port, above 1023"


KIND = SourceKind(schemes=("osc",), blocks=True, open=open_osc, names=lambda: ("osc:9001",), carries="osc")
