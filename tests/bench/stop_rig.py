"""A rig for measuring stops: the simulated rig's device at a socket of this process, and what came there, and when.

The kernel stamps each datagram where it can, so that this process may be late. Nothing that comes is left out of the
record, also while the link is made to fail.
"""

import select
import socket
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from sequencer.adapters import wallclock
from sequencer.rig.axis import Rig
from sequencer.shell.simulated_options import Faults
from sequencer.shell.simulated_rig import WAKE_NS, Device
from sequencer.wire.osc import Numbers, setpoint_addresses, split
from sequencer.wire.timetag import WallOffset, instant

_STAMPS, _ANCILLARY = 35, 256  # SO_TIMESTAMPNS of Linux, which Python does not name before 3.14
STANDS = 1e-3  # of its speed: a motor that holds its place closes in on it for ever
_SECOND_NS = 1_000_000_000
_LARGEST = 65_535


@dataclass(frozen=True, slots=True)
class Arrival:
    """A set of setpoints that came at `at_ns`. Shape: `position`, `speed` (A,)."""

    at_ns: int
    due_ns: int
    position: tuple[float, ...]
    speed: tuple[float, ...]


@dataclass(slots=True)
class Record:
    """What came since it was begun: setpoints, `/stop`, when the last answer left, and when the motors came to rest.

    `rests_ns` is None while any moves at more than `STANDS` of its speed.
    """

    arrivals: list[Arrival] = field(default_factory=list)
    stops_ns: list[int] = field(default_factory=list)
    answered_ns: int = 0
    rests_ns: int | None = None


class StopRig:
    """The rig and its socket, which a thread serves. `mute`: it hears and does not answer; `cut`: neither."""

    def __init__(self, rig: Rig, port: socket.socket) -> None:
        self._port = port
        self._axes = len(rig.axes)
        self._numbers = Numbers(setpoint_addresses(rig.names))
        self._device = Device(rig, 1, Faults(), WallOffset(*wallclock.measure()))
        self.record = Record()
        self.mute = self.cut = False
        self.port = port.getsockname()[1]
        self.ended = threading.Event()

    def begin(self) -> Record:
        """Begin a new record."""
        self.record = Record()
        return self.record

    def serve(self) -> None:
        """Serve until `ended`."""
        deadline_ns = time.monotonic_ns()
        while not self.ended.is_set():
            wait_s = max(0.0, (deadline_ns - time.monotonic_ns()) * 1e-9)
            if select.select([self._port], [], [], wait_s)[0]:
                self._hear()
                continue
            now_ns = time.monotonic_ns()
            self._device.offset = self._device.offset.follow(*wallclock.measure())
            for packet, to in self._device.answers(now_ns):
                if not (self.mute or self.cut):
                    self._port.sendto(packet, to)
                    self.record.answered_ns = time.monotonic_ns()
            self._see_rest()
            deadline_ns += ((now_ns - deadline_ns) // WAKE_NS + 1) * WAKE_NS

    def _see_rest(self) -> None:
        record, motors = self.record, self._device.motors
        pairs = zip(motors.drives, motors.motors, strict=True)
        if any(abs(motor.velocity) > STANDS * drive.speed for drive, motor in pairs):
            record.rests_ns = None
        elif record.rests_ns is None:
            record.rests_ns = motors.at_ns

    def _hear(self) -> None:
        packet, extras, _, sender = self._port.recvmsg(_LARGEST, _ANCILLARY)
        now_ns = at_ns = time.monotonic_ns()
        offset_ns = self._device.offset.offset_ns
        for level, kind, data in extras:
            if (level, kind) == (socket.SOL_SOCKET, _STAMPS):
                seconds, ns = (int.from_bytes(part, sys.byteorder) for part in (data[:8], data[8:16]))
                at_ns = min(now_ns, seconds * _SECOND_NS + ns - offset_ns)
        read = self._numbers.read(packet)
        if read is not None:
            tag, values = read
            due_ns = instant(tag, offset_ns, at_ns)
            position, speed = tuple(values[: self._axes]), tuple(values[self._axes :])
            self.record.arrivals.append(Arrival(at_ns, due_ns, position, speed))
        elif any(message.startswith(b"/stop\0") for _, message in split(packet)):
            self.record.stops_ns.append(at_ns)
        if not self.cut:
            self._device.hear(packet, sender, at_ns)


@contextmanager
def stop_rig(rig: Rig) -> Iterator[StopRig]:
    """Have such a rig at a port of this machine while the block runs."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as port:
        port.bind(("127.0.0.1", 0))
        if sys.platform.startswith("linux"):
            port.setsockopt(socket.SOL_SOCKET, _STAMPS, 1)
        one = StopRig(rig, port)
        thread = threading.Thread(target=one.serve, daemon=True)
        thread.start()
        try:
            yield one
        finally:
            one.ended.set()
            thread.join()
