"""OSC over UDP, as triggers: each message alone, stamped with the instant that its timetag names, or of its arrival.

Address: `osc:PORT` hears this machine only. `osc:INTERFACE:PORT?from=ADDRESS[,ADDRESS...]` hears the machines that are
named, by one interface; adapters/listening.py says how it is written. `osc:0` takes a free port.

It does not judge what a message asks. What a stranger sends is left aside before anything is read of it, a `/stop` too,
and uses up nothing that others may send. It bounds how many messages a second pass, so that a sender gone wild holds up
nobody; `/stop` passes always, and `/run/stop` beside whatever else floods the port. Timetags are read by the wall clock
as it is now: a clock that was set anew while this program runs was most likely wrong before.
Source: OSC 1.0 for messages and timetags; Linux socket(7) for the kernel's stamps, SO_TIMESTAMPNS and SO_RXQ_OVFL.
"""

import socket
import struct
import time
from collections.abc import Iterator
from contextlib import contextmanager

from sequencer.adapters import wallclock
from sequencer.adapters.contract import Chunk, SourceKind
from sequencer.adapters.listening import Speakers
from sequencer.adapters.udp_door import LOST, STAMPS, UdpDoor, judge, open_door
from sequencer.errors import LinkError, PeerError
from sequencer.sync.allowance import Allowance
from sequencer.sync.complaints import Complaints
from sequencer.sync.osc_orders import ADDRESSES, RUN_STOP, STOP
from sequencer.wire.osc import command, split
from sequencer.wire.timetag import IMMEDIATELY, instant

ORDERS_PER_S = 100
AT_ONCE = 20  # of either: what the engine reads in one tick must not make it late
OTHERS_PER_S = 10  # enough to say what comes that is no order
LONGEST = 512  # bytes of one message: no order is longer, and what is would fill the way to the engine
_MESSAGES_PER_READ = 512
_LARGEST = 65_535
_CALM_NS = 1_000_000_000
_ORDERS = frozenset(address.encode() for address in ADDRESSES)
_STOP, _RUN_STOP = STOP.encode(), RUN_STOP.encode()
_BARE_STOPS = {address.encode(): split(command(address))[0][1] for address in (STOP, RUN_STOP)}

_STAMP, _COUNT = struct.Struct("@ll"), struct.Struct("@I")
_ANCILLARY = 256

Extras = list[tuple[int, int, bytes]]


class OscIn:
    """The listening port. `left_aside` counts messages that came too fast, `malformed` packets that are no OSC, `lost`
    what the machine had no room for before it was read, `strangers` packets of whom nobody named.
    """

    def __init__(self, port: UdpDoor) -> None:
        self.port = port
        self.address = port.address
        speakers = port.door.wanted.speakers
        self._speakers = Speakers(speakers) if speakers else None
        self._orders, self._others = Allowance(ORDERS_PER_S, AT_ONCE), Allowance(OTHERS_PER_S, AT_ONCE)
        self._stops = Allowance(ORDERS_PER_S, AT_ONCE)  # of the clock, which nothing else may hold up
        self._complaints = Complaints()
        self._notices: list[str] = []
        self._flood_ns: int | None = None  # when the last message was left aside, while that is not long ago
        self._before_flood = 0
        self.left_aside = 0
        self.malformed = 0
        self.lost = 0
        self._lost_here = 0  # the kernel counts anew for each opening
        self.strangers = 0

    def fileno(self) -> int | None:
        return None if self.port.socket is None else self.port.socket.fileno()

    def notices(self) -> tuple[str, ...]:
        """Return what happened since the last call, in words for the operator."""
        said, self._notices = (*self._notices, *self._complaints.take()), []
        return said

    def read(self, heard_ns: int) -> tuple[Chunk, ...]:
        """Return the messages that may pass; of several `/stop` in one call the first, for they all say the same."""
        there = self.port.strayed(heard_ns)
        chunks: list[Chunk] = []
        stopped = False
        offset_ns: int | None = None
        looked_at = 0
        while looked_at < _MESSAGES_PER_READ and (received := self._received(heard_ns)) is not None:
            packet, extras, sender = received
            looked_at += 1
            if self._speakers is not None and not self._speakers.may(sender):
                self._strange(sender)
                continue
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
                    passes = self._passes(name, len(message), heard_ns)
                if passes:
                    stamp_ns = arrived_ns if tag == IMMEDIATELY else instant(tag, offset_ns, arrived_ns)
                    chunks.append(Chunk(stamp_ns, message if len(message) <= LONGEST else _BARE_STOPS[name]))
        # not before all is read that came to where it was
        if there is not None and looked_at < _MESSAGES_PER_READ and (notice := self.port.move(there)):
            self._notices.append(notice)
            self._lost_here = 0
        self._calm(heard_ns)
        return tuple(chunks)

    def _received(self, heard_ns: int) -> tuple[bytes, Extras, str] | None:
        """Return the next datagram with what the kernel says of it and who sent it, or None where there is none."""
        port = self.port.socket
        if port is None:
            return None
        try:
            if self.port.stamped:
                packet, extras, _, sender = port.recvmsg(_LARGEST, _ANCILLARY)
                return packet, extras, sender[0]
            packet, sender = port.recvfrom(_LARGEST)
            return packet, [], sender[0]
        except BlockingIOError:
            self.port.empty_ns = heard_ns
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
            if (level, kind) == (socket.SOL_SOCKET, STAMPS) and len(data) == _STAMP.size:
                seconds, ns = _STAMP.unpack(data)
                stamp_ns = seconds * 1_000_000_000 + ns - offset_ns
                arrived_ns = min(max(stamp_ns, self.port.empty_ns), time.monotonic_ns())
            elif (level, kind) == (socket.SOL_SOCKET, LOST) and len(data) == _COUNT.size:
                self._missed(_COUNT.unpack(data)[0], heard_ns)
        return arrived_ns

    def _passes(self, name: bytes, length: int, now_ns: int) -> bool:
        """Whether there is room for a message. Orders are not held up by a flood of something else."""
        if not name.startswith(b"/"):
            self._spoilt(f"an OSC message begins with '/', not with {name[:8]!r}")
            return False
        if length > LONGEST and name not in _BARE_STOPS:
            self._spoilt(f"an OSC message of {length} bytes; no order is longer than {LONGEST}")
            return False
        room = self._stops if name == _RUN_STOP else self._orders if name in _ORDERS else self._others
        if room.grants(now_ns):
            return True
        self.left_aside += 1
        self._flooded(now_ns)
        return False

    def _missed(self, lost: int, now_ns: int) -> None:
        """Take note of how many datagrams the kernel had no room for so far."""
        if lost > self._lost_here:
            self.lost += lost - self._lost_here
            self._lost_here = lost
            self._flooded(now_ns)

    def _flooded(self, now_ns: int) -> None:
        if self._flood_ns is None:
            self._notices.append(
                f"more OSC arrives at {self.address} than a show sends ({ORDERS_PER_S} orders a second pass, and "
                f"{OTHERS_PER_S} other messages); the rest is left aside, but for stops. Look for what sends so much"
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

    def _strange(self, sender: str) -> None:
        self.strangers += 1
        sender = sender.partition("%")[0]  # its interface is in the address already
        self._complaints.tell(
            "stranger",
            f"what {sender} sends to {self.address} is left aside, since nobody said that it may speak; if that "
            f"machine is yours, add it: {self.address},{sender}",
        )

    def _spoilt(self, why: str) -> None:
        self.malformed += 1
        self._complaints.tell("malformed", f"what came to {self.address} cannot be read: {why}")


@contextmanager
def open_osc(address: str) -> Iterator[OscIn]:
    """Listen at `address`. Error: LinkError where it is none of this machine's, or not free."""
    with open_door(address) as port:
        yield OscIn(port)


KIND = SourceKind(schemes=("osc",), blocks=True, open=open_osc, names=lambda: ("osc:9001",), carries="osc", judge=judge)
