"""The simulated rig's part of the device protocol (docs/device.md): its clock, its buffer, and what it says of them.

It opens no port and reads no clock.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sequencer.rig.buffered import JOINED_NS, Buffer, Held, Point, onward
from sequencer.rig.signals import Floats, Setpoint
from sequencer.takes.conformance.speech import Told, Value, device_ns, device_tag, one
from sequencer.wire.timetag import IMMEDIATELY

VERSION = 1
ROOM = 512
RATE = 500
STEP_NS = 2_000_000
_HELD_EVERY_NS = 50_000_000
_HELD_FOR_NS = 500_000_000
_RAN_OUT_EVERY_NS = 200_000_000
_MOVES = 1e-3  # of an axis's top speed


@dataclass(frozen=True, slots=True)
class Numbered:
    """A numbered set as it was read. Shape: `values` (2 A,): positions, then speeds, NaN where none is said."""

    number: int
    tag: int
    from_tag: int | None
    values: Floats


def read_set(messages: Sequence[Told], places: dict[str, int]) -> Numbered | None:
    """Return the numbered set in a packet; None where it is anything else, or spoilt."""
    if not messages or messages[0].address != "/plan/number":
        return None
    number, from_tag = -1, None
    values = np.full(len(places), np.nan)
    for told in messages:
        match told.address, told.values:
            case "/plan/number", (int(said),):
                number = said
            case "/plan/from", (int(said),) if told.types == "t":
                from_tag = said
            case address, (float() | int() as said,) if address in places:
                values[places[address]] = said
            case _:
                return None
    return Numbered(number, messages[0].tag, from_tag, values) if number >= 0 else None


class Plan:
    """The plan of one rig whose clock began at `boot_ns`. `ran_out`: the set after which nothing came, else None.

    Shape: `speeds` (A,), the top speed of each axis.
    """

    def __init__(self, name: str, axes: Sequence[str], speeds: Floats, boot_ns: int, boot: int) -> None:
        self._able: tuple[Value, ...] = (VERSION, name, len(axes), ROOM, RATE, boot, *axes)
        self._boot_ns = boot_ns
        self._slow = speeds * _MOVES
        self.buffer = Buffer(ROOM)
        self.understood = True
        self.ran_out: int | None = None
        self._point: Point | None = None
        self._heard_ns: int | None = None
        self._held_ns = self._told_ns = boot_ns

    def time(self, at_ns: int) -> int:
        """Return an instant as a timetag of this rig's clock."""
        return device_tag(at_ns - self._boot_ns)

    def time_answer(self, number: int, received_ns: int, now_ns: int) -> bytes:
        """Return the answer to a question for the time, as it leaves at `now_ns`."""
        return one("/device/time", "itt", number, self.time(received_ns), self.time(now_ns))

    def hello(self, version: int) -> bytes:
        """Return who this is; a version that is not spoken makes it ignore sets."""
        self.understood = version >= VERSION
        self.listen()
        return one("/device/able", "isiiii" + "s" * (len(self._able) - 6), *self._able)

    def listen(self, since_ns: int | None = None) -> None:
        """Begin the count anew where nothing is held; what was due before `since_ns` is never played."""
        if not self.buffer:
            self.buffer.begin(None if since_ns is None else since_ns - 1)

    def stop(self) -> None:
        """Forget the plan."""
        self.buffer.begin()
        self._point = self.ran_out = None

    def take(self, numbered: Numbered, position: Floats, at_ns: int) -> None:
        """Take a set in; an axis that it leaves out stays at `position`."""
        if not self.understood:
            return
        self._heard_ns = at_ns
        axes = len(position)
        at_once = numbered.tag == IMMEDIATELY
        due_ns = at_ns if at_once else self._boot_ns + device_ns(numbered.tag)
        places, speeds = numbered.values[:axes], numbered.values[axes:]
        held = Held(
            number=numbered.number,
            due_ns=due_ns,
            position=np.where(np.isfinite(places), places, position),
            velocity=np.where(np.isfinite(speeds), speeds, 0.0),
            scheduled=not at_once,
        )
        from_ns = None if numbered.from_tag is None else self._boot_ns + device_ns(numbered.from_tag)
        self.buffer.take(held, from_ns)

    def play(self, at_ns: int) -> Setpoint | None:
        """Return where the plan is at `at_ns`, None where there is none; `ran_out` says where it has just ended."""
        while (held := self.buffer.play(at_ns)) is not None:
            self._point = Point(held.due_ns, held.position, held.velocity) if held.scheduled else None
            if self._point is None:
                return Setpoint(at_ns, held.position, held.velocity)
        if self._point is None:
            return None
        ahead = self.buffer.next()
        if ahead is not None and ahead.due_ns - self._point.at_ns > JOINED_NS:
            ahead = None
        point = onward(self._point, ahead, at_ns)
        if ahead is None and (np.abs(self._point.velocity) > self._slow).any():
            number = self.buffer.played.number if self.buffer.played is not None else 0
            self.stop()
            self.ran_out = number
            return None
        self._point = point if self.buffer else None
        return Setpoint(at_ns, point.position, point.velocity)

    def reports(self, now_ns: int) -> list[bytes]:
        """Return what it is time to say."""
        said = []
        report = self.buffer.report()
        sets_come = self._heard_ns is not None and now_ns - self._heard_ns <= _HELD_FOR_NS
        if sets_come and report is not None and now_ns >= self._held_ns:
            self._held_ns = max(self._held_ns + _HELD_EVERY_NS, now_ns + _HELD_EVERY_NS // 2)
            said.append(one("/device/held", "iih", *report))
        if self.ran_out is not None and now_ns >= self._told_ns:
            self._told_ns = now_ns + _RAN_OUT_EVERY_NS
            said.append(one("/device/ran-out", "i", self.ran_out))
        return said
