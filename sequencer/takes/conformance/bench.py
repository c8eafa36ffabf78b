"""The bench on which a device is tried: what was said to it, what it answered, and when. It reads no clock and opens
no port: whoever drives it sends `out`, hands in what comes, and moves `now_ns` on.

A part of a trial is a generator that yields how many seconds to wait; it may be driven in real time or in simulated.
"""

from collections import deque
from collections.abc import Generator, Sequence
from dataclasses import dataclass

import numpy as np

from sequencer.errors import PeerError
from sequencer.rig.signals import Floats
from sequencer.takes.conformance.speech import (
    SECOND_NS,
    WRAP,
    Told,
    bundle,
    device_ns,
    device_tag,
    heard,
    message,
    one,
    setpoints,
)
from sequencer.wire.timetag import IMMEDIATELY

Waits = Generator[float, None, None]

STILL = 0.02  # of the amplitude: what moves less in a tenth of a second stands; encoders have noise
MOVED = 0.15  # of the amplitude: what goes further has moved
_SILENT_S = 1.5
_STAND_S = 4.0


class NoAnswer(Exception):
    """The device does not say what every trial needs; the words say what."""


@dataclass(frozen=True, slots=True)
class Able:
    """What a device says of itself in `/device/able`."""

    version: int
    name: str
    room: int
    rate: int
    boot: int
    axes: tuple[str, ...]


class Bench:
    """One device under trial. `axis` is what moves, by `by` of its unit; `schedules`: it speaks the device protocol.

    `most_hz`: the sets a second that the link holds, where that is known. `axes` are as the device names them, `boot`
    is the first boot number that was told. `refused` counts packets that could not be read, `start` is where the axes
    stood, `offset_ns` makes this machine's time device time.
    """

    def __init__(self, *, by: float, schedules: bool, axis: str = "") -> None:
        self.by, self.schedules, self.wanted = by, schedules, axis
        self.most_hz: float | None = None
        self.axes: tuple[str, ...] = ()
        self.now_ns = 0
        self.out: deque[bytes] = deque()
        self.told: list[Told] = []
        self.refused = 0
        self.able: Able | None = None
        self.boot: int | None = None
        self.start: tuple[float, ...] = ()
        self.offset_ns = 0
        self.number = 0

    # what goes out and comes in

    def say(self, packet: bytes) -> None:
        """Send a packet after those that wait already."""
        self.out.append(packet)

    def hear(self, packet: bytes, at_ns: int) -> None:
        """Take in a packet that came at `at_ns`."""
        try:
            self.told += heard(packet, at_ns)
        except PeerError:
            self.refused += 1

    def mark(self) -> int:
        """Return a mark, from which on `said` looks for answers."""
        return len(self.told)

    def said(self, address: str, mark: int = 0) -> list[Told]:
        """Return the messages at an address since a mark."""
        return [told for told in self.told[mark:] if told.address == address]

    def sent(self) -> Waits:
        """Wait until all has gone out."""
        while self.out:
            yield 0.002

    def until(self, address: str, mark: int, patience_s: float = _SILENT_S) -> Generator[float, None, bool]:
        """Wait for a message; return whether it came."""
        until_ns = self.now_ns + round(patience_s * SECOND_NS)
        while self.now_ns < until_ns:
            if self.said(address, mark):
                return True
            yield 0.005
        return False

    # the axis that moves

    @property
    def axis(self) -> str:
        """The axis that moves: the one that was asked for, or the first."""
        return self.wanted or self.axes[0]

    @property
    def place(self) -> int:
        return self.axes.index(self.axis)

    def tracked(self, mark: int) -> tuple[Floats, Floats]:
        """Return the instants on this machine's clock, and where the moving axis said that it stood. Shape: twice (N,).

        Unit: seconds. A device's own timetags count, on its clock; else the instants of receipt.
        """
        at_ns, positions = [], []
        for told in self.said(f"/rig/{self.axis}/actual", mark):
            if told.number is not None:
                timed = self.schedules and told.tag != IMMEDIATELY
                at_ns.append(device_ns(told.tag) - self.offset_ns if timed else told.at_ns)
                positions.append(told.number)
        return np.array(at_ns, dtype=np.float64) / SECOND_NS, np.array(positions)

    def stands(self, mark: int = 0) -> float | None:
        """Return where the moving axis stood last."""
        _, positions = self.tracked(mark)
        return float(positions[-1]) if len(positions) else None

    # steps that many trials need

    def hello(self, version: int = 1) -> Generator[float, None, bool]:
        """Say hello, up to three times; return whether an answer came."""
        mark = self.mark()
        for _ in range(3):
            self.say(one("/device/hello", "i", version))
            if (yield from self.until("/device/able", mark, 0.5)):
                return self._take_able(self.said("/device/able", mark)[-1])
        return False

    def _take_able(self, told: Told) -> bool:
        version, name, count, room, rate, boot, *names = (*told.values, *[0] * 6)[: max(6, len(told.values))]
        if not told.types.startswith("isiiii") or told.types[6:] != "s" * len(names) or count != len(names):
            return False
        self.able = Able(int(version), str(name), int(room), int(rate), int(boot), tuple(str(each) for each in names))
        self.axes = self.able.axes
        self.boot = self.able.boot if self.boot is None else self.boot
        return True

    def sync(self, times: int = 12) -> Waits:
        """Ask for the time, and keep the offset of the quickest answer. Error: NoAnswer.

        Source: RFC 5905, section 8: offset ((T2 - T1) + (T3 - T4)) / 2, delay (T4 - T1) - (T3 - T2).
        """
        mark, asked = self.mark(), {}
        for number in range(times):
            asked[number] = self.now_ns
            self.say(one("/device/time", "i", number))
            yield 0.01
        yield 0.1
        # a machine or a link that has much to do may take longer
        yield from self.until("/device/time", mark)
        offsets = []
        for told in self.said("/device/time", mark):
            if told.types == "itt" and told.values[0] in asked:
                t1, t4 = asked[int(told.values[0])], told.at_ns
                t2, t3 = device_ns(int(told.values[1])), device_ns(int(told.values[2]))
                offsets.append(((t4 - t1) - (t3 - t2), (t2 - t1 + t3 - t4) // 2))
        if not offsets:
            raise NoAnswer("it did not say its time")
        self.offset_ns = min(offsets)[1]

    def learn(self) -> Waits:
        """Learn which axes there are from where they say that they stand. Error: NoAnswer."""
        for _ in range(4):
            self.say(one("/rig/ask"))
            yield 0.3
        parts = [told.address.split("/") for told in self.told]
        self.axes = tuple(
            dict.fromkeys(part[2] for part in parts if part[:2] == ["", "rig"] and part[3:] == ["actual"])
        )
        if not self.axes:
            raise NoAnswer("it did not say in /rig/AXIS/actual where its axes stand")
        if self.wanted and self.wanted not in self.axes:
            raise NoAnswer(f"it has no axis {self.wanted}; it has {', '.join(self.axes)}")

    def ready(self) -> Waits:
        """Have the device listen, standing, and learn where it stands and what its clock says. Error: NoAnswer."""
        yield from self.sent()
        mark, until_ns = self.mark(), self.now_ns + round(_STAND_S * SECOND_NS)
        while self.now_ns < until_ns:
            self.say(one("/rig/ask"))
            yield 0.15
            times, positions = self.tracked(mark)
            recent = positions[times > times[-1] - 0.1] if len(times) else positions
            if len(recent) > 2 and np.ptp(recent) <= STILL * abs(self.by):
                break
        else:
            raise NoAnswer(self._unsteady(mark))
        # whatever it had held is played by now, so that this takes up the count of sets anew
        self.say(one("/rig/ask"))
        numbers = {told.address: told.number for told in self.told if told.number is not None}
        self.start = tuple(numbers.get(f"/rig/{name}/actual", 0.0) for name in self.axes)
        if self.schedules:
            yield from self.sync()

    def _unsteady(self, mark: int) -> str:
        times, positions = self.tracked(mark)
        if not len(times):
            return f"it said no number in /rig/{self.axis}/actual for {_STAND_S:.0f} s"
        wanders = float(np.ptp(positions[times > times[-1] - 1.0]))
        return (
            f"/rig/{self.axis}/actual wanders by {wanders:.3g} within a second: either it moves by itself, or --by is "
            f"too small to be told from its noise"
        )

    # setpoint sets

    def next_number(self) -> int:
        """Return the number of the next set."""
        self.number = (self.number + 1) % WRAP
        return self.number

    def pose(self, off: float, speed: float = 0.0) -> list[bytes]:
        """Return the messages of a set with the moving axis `off` from where it stood, all others standing."""
        positions, speeds = list(self.start), [0.0] * len(self.start)
        positions[self.place] += off
        speeds[self.place] = speed
        return setpoints(self.axes, positions, speeds)

    def scheduled(self, number: int, due_ns: int, off: float, speed: float = 0.0, from_ns: int | None = None) -> bytes:
        """Return a numbered set that is due at `due_ns` of this machine's clock; it takes the place of all from
        `from_ns` on."""
        first = [message("/plan/number", "i", number)]
        if from_ns is not None:
            first.append(message("/plan/from", "t", device_tag(from_ns + self.offset_ns)))
        return bundle([*first, *self.pose(off, speed)], device_tag(due_ns + self.offset_ns))

    def plain(self, off: float, speed: float = 0.0) -> bytes:
        """Return a set to be obeyed at once."""
        return bundle(self.pose(off, speed))

    def at(self, due: Sequence[tuple[int, bytes]]) -> Waits:
        """Send each packet at its instant of this machine's clock."""
        for at_ns, packet in due:
            while self.now_ns < at_ns:
                yield min(0.02, (at_ns - self.now_ns) / SECOND_NS)
            self.say(packet)
        yield from self.sent()

    def rest(self, until_ns: int) -> Waits:
        """Wait for an instant."""
        while self.now_ns < until_ns:
            yield min(0.05, (until_ns - self.now_ns) / SECOND_NS)
