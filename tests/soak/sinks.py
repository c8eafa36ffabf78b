"""Sockets of this machine that outputs are sent to: how much came of each, and how long after it was due."""

import select
import socket
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager

from sequencer.adapters import wallclock
from sequencer.wire.osc import Numbers, setpoint_addresses
from sequencer.wire.timetag import WallOffset, instant

_STAMPS, _ANCILLARY = 35, 256  # SO_TIMESTAMPNS of Linux, which Python does not name before 3.14
_SECOND_NS = 1_000_000_000
_LARGEST = 65_535
_LOOK_S = 0.2
_MOST = 1 << 16  # of one window


class Sinks:
    """The sockets, by name; a thread reads them. Those in `timed` get OSC of which each bundle says when it was due."""

    def __init__(self, ports: dict[str, socket.socket], timed: dict[str, Numbers]) -> None:
        self._ports, self._timed = ports, timed
        self._names = {port.fileno(): name for name, port in ports.items()}
        self._packets = dict.fromkeys(ports, 0)
        self._after_ns: list[int] = []
        self._offset = WallOffset(*wallclock.measure())
        self.ended = threading.Event()

    def port(self, name: str) -> int:
        return int(self._ports[name].getsockname()[1])

    def window(self) -> tuple[dict[str, int], list[int]]:
        """Return what came of each since the last call, and how long after it was due. Unit: nanoseconds."""
        packets, self._packets = self._packets, dict.fromkeys(self._ports, 0)
        after_ns, self._after_ns = self._after_ns, []
        return packets, after_ns

    def serve(self) -> None:
        """Read until `ended`."""
        ports = list(self._ports.values())
        while not self.ended.is_set():
            for port in select.select(ports, [], [], _LOOK_S)[0]:
                self._hear(self._names[port.fileno()], port)
            self._offset = self._offset.follow(*wallclock.measure())

    def _hear(self, name: str, port: socket.socket) -> None:
        packet, extras, _, _ = port.recvmsg(_LARGEST, _ANCILLARY)
        at_ns = time.monotonic_ns()
        self._packets[name] += 1
        numbers = self._timed.get(name)
        read = None if numbers is None else numbers.read(packet)
        if read is None:
            return
        for level, kind, data in extras:
            if (level, kind) == (socket.SOL_SOCKET, _STAMPS):
                seconds, ns = (int.from_bytes(part, sys.byteorder) for part in (data[:8], data[8:16]))
                at_ns = min(at_ns, seconds * _SECOND_NS + ns - self._offset.offset_ns)
        if len(self._after_ns) < _MOST:
            self._after_ns.append(at_ns - instant(read[0], self._offset.offset_ns, at_ns))


@contextmanager
def sinks(timed: str, axes: Sequence[str], *others: str) -> Iterator[Sinks]:
    """Have sockets while the block runs: one for OSC of `axes`, and others."""
    with ExitStack() as stack:
        ports = {}
        for name in (timed, *others):
            port = ports[name] = stack.enter_context(socket.socket(socket.AF_INET, socket.SOCK_DGRAM))
            port.bind(("127.0.0.1", 0))
            if sys.platform.startswith("linux"):
                port.setsockopt(socket.SOL_SOCKET, _STAMPS, 1)
        one = Sinks(ports, {timed: Numbers(setpoint_addresses(axes))})
        thread = threading.Thread(target=one.serve, daemon=True)
        thread.start()
        try:
            yield one
        finally:
            one.ended.set()
            thread.join()
