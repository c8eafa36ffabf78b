"""A rig that listens to MIDI: each axis is a value of fourteen bits. It cannot answer, and acts on receipt.

Address: `midi:PORT NAME?pan=cc16&tilt=nrpn1000&focus=bend@2` (the port whose name contains PORT NAME), or
`virtual:NAME?...` (a port of ours that others connect to). Every axis has an option of its own name that says its way:
- `ccN`, N from 0 to 31: controller N with the upper seven bits, then N + 32 with the lower ones. A device should act on
  the second of them;
- `nrpnN`, N from 0 to 16383: controllers 99 and 98 with the parameter, then 6 and 38 with the value, upper bits first;
- `bend`: pitch bend, one axis a channel;
- behind it `@C` for a channel of its own, and `,FIRST..LAST` for the span whose first value is code 0 and whose last
  one is code 16383; else it is the axis's travel.
Other options: `channel` (1 to 16; 1) for ways that name none. `wire`: `din` (31,250 bit/s; so it is unless said),
`usb`, or `program` for two programs of one machine, which has no bound. `refresh`: seconds after which a value that did
not change is said again (1). `sensing=on`: Active Sensing goes out every 200 ms, so that a device can tell within
300 ms that this end is gone. `shutter`, `record`, `cut`: a contact, `noteN` or `ccN`, that is switched on for `pulse`
seconds (0.1). `stop`: a contact that is on from a stop until the rig is asked again.

What goes out: with each setpoint set the values whose codes changed, and at most one that was silent for long. Speeds
do not go out. Nothing is clamped: a value outside its span is not sent, and `trouble` says so. A set that comes before
the line has room for it is dropped; the next is newer.
Source: MIDI 1.0 Detailed Specification 4.2 (clauses from memory): Hardware (31.25 kbaud, a start bit, 8 data bits and
a stop bit: 320 us a byte); Active Sensing (FE, silence of 300 ms); messages as in `wire.midi_values`. Universal Serial
Bus Device Class Definition for MIDI Devices 1.0, clause 4 (from memory): 4 bytes for each message. That a port takes
one packet of 64 bytes a millisecond: common practice, no source.
"""

import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass

from sequencer.adapters.asked import Asked
from sequencer.adapters.contract import Carries, LinkState, Output, OutputKind
from sequencer.adapters.midi_ports.systems import MidiOut, find, systems
from sequencer.errors import LinkError
from sequencer.rig.axis import Rig
from sequencer.rig.signals import TRIGGER_NAMES, Feedback, Setpoint, Trigger, TriggerName
from sequencer.timebase.timecode import Timebase
from sequencer.wire.midi_values import Contact, Values, Way, clash, parse_contact, parse_way

_EXAMPLE = "midi:PORT NAME?pan=cc16&tilt=nrpn1000&focus=bend@2"
_SENSING = b"\xfe"
_SENSING_EVERY_NS = 200_000_000
# a trigger or a refresh may make a set wait for so long before the line is free
_MOST_WAIT_NS = 5_000_000


@dataclass(frozen=True, slots=True)
class Wire:
    """How fast a cable is. Unit: bytes a second, None for no bound."""

    bytes_s: float | None
    words: str


WIRES = {
    "din": Wire(3125.0, "MIDI's own cable carries 31,250 bit/s, 3,125 bytes"),
    "usb": Wire(48_000.0, "a USB port carries 16 messages a millisecond, 48,000 bytes"),
    "program": Wire(None, ""),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What an address says. Shape: `ways` A, in the order of the axes."""

    scheme: str
    port: str
    axes: tuple[str, ...]
    ways: tuple[Way, ...]
    wire: Wire
    refresh_ns: int
    pulse_ns: int
    sensing: bool
    triggers: Mapping[TriggerName, Contact]
    stop: Contact | None

    @property
    def set_bytes(self) -> int:
        """The bytes of a set in which every value changes."""
        return sum(way.size for way in self.ways)


def parse_address(address: str, rig: Rig) -> Wanted:
    """Read an address for the axes of `rig`. Error: LinkError that says which part is wrong."""
    asked = Asked(address, _EXAMPLE)
    if asked.network or not asked.place:
        raise asked.fault("names no MIDI port")
    channel = asked.whole("channel", 1, 1, 16)
    said: dict[str, Way | Contact] = {}
    ways = []
    for axis in rig.axes:
        if axis.name in ("channel", "wire", "refresh", "pulse", "sensing", "stop", *TRIGGER_NAMES):
            raise asked.fault(f"cannot name the axis {axis.name}, which is an option's name; rename the axis")
        text = asked.option(axis.name)
        if not text:
            raise asked.fault(f"does not say how {axis.name} goes out")
        try:
            said[axis.name] = way = parse_way(text, channel, axis.travel)
        except ValueError as fault:
            raise asked.fault(f"says {axis.name}={text}, which {fault}") from fault
        ways.append(way)
    contacts = {name: one for name in (*TRIGGER_NAMES, "stop") if (one := _contact(asked, name, channel)) is not None}
    wanted = Wanted(
        scheme=asked.scheme,
        port=asked.place,
        axes=rig.names,
        ways=tuple(ways),
        wire=WIRES[asked.one_of("wire", tuple(WIRES))],
        refresh_ns=round(asked.number("refresh", 1.0, 0.1, 60.0) * 1e9),
        pulse_ns=round(asked.number("pulse", 0.1, 0.001, 10.0) * 1e9),
        sensing=asked.one_of("sensing", ("off", "on")) == "on",
        triggers={name: contacts[name] for name in TRIGGER_NAMES if name in contacts},
        stop=contacts.get("stop"),
    )
    asked.done()
    # a camera may start and stop by the same contact
    same = contacts.get("record") == contacts.get("cut")
    both = clash({**said, **{name: one for name, one in contacts.items() if not (same and name == "cut")}})
    if both is not None:
        raise asked.fault(f"lets two things speak for each other: {both}")
    return wanted


def _contact(asked: Asked, name: str, channel: int) -> Contact | None:
    text = asked.option(name)
    try:
        return parse_contact(text, channel) if text else None
    except ValueError as fault:
        raise asked.fault(f"says {name}={text}, which {fault}") from fault


class MidiOutput:
    """The open port. `dropped` counts setpoint sets that the line had no room for."""

    def __init__(self, out: MidiOut, wanted: Wanted) -> None:
        self._out: MidiOut | None = out
        self._wanted = wanted
        self._values = Values(wanted.ways, wanted.refresh_ns)
        self._byte_ns = 1e9 / wanted.wire.bytes_s if wanted.wire.bytes_s else 0.0
        self._free_ns = 0
        self._sensed_ns = 0
        self._looked_ns = 0
        self._on_until_ns: dict[Contact, int] = {}
        self.dropped = 0

    def fileno(self) -> None:
        return None

    def send(self, setpoint: Setpoint) -> None:
        if self._free_ns - setpoint.due_ns > _MOST_WAIT_NS:
            self.dropped += 1
            return
        self._put(setpoint.due_ns, *self._values.due(setpoint.due_ns, setpoint.position.tolist()))

    def replace(self, from_ns: int) -> None:
        raise AssertionError("it schedules nothing, so there is nothing to replace")

    def fire(self, trigger: Trigger) -> bool:
        contact = self._wanted.triggers.get(trigger.name)
        if contact is None:
            return False
        # one that is still on goes off first, or the device hears no edge
        again = (contact.off(),) if contact in self._on_until_ns else ()
        self._put(trigger.due_ns, *again, contact.on())
        # an order that was due before goes out now: its pulse is no shorter
        self._on_until_ns[contact] = max(trigger.due_ns, self._looked_ns) + self._wanted.pulse_ns
        return True

    def read(self, heard_ns: int) -> tuple[Feedback, ...]:
        return ()

    def ask(self) -> None:
        if self._wanted.stop is not None:
            self._put(self._free_ns, self._wanted.stop.off())

    def look(self, now_ns: int) -> None:
        self._looked_ns = now_ns
        if self._out is not None:
            self._out.check(now_ns)
        self._switch_off([one for one, until_ns in self._on_until_ns.items() if until_ns <= now_ns], now_ns)
        if self._wanted.sensing and now_ns - self._sensed_ns >= _SENSING_EVERY_NS:
            self._sensed_ns = now_ns
            self._put(now_ns, _SENSING)

    def link(self, now_ns: int) -> LinkState:
        return LinkState()

    def stop(self) -> None:
        if self._wanted.stop is not None:
            self._put(self._free_ns, self._wanted.stop.on())

    def here(self, axis: str, value: float) -> None:
        """Do nothing: a device that takes values of a span counts by itself."""

    def trouble(self) -> str:
        place = self._values.outside
        if place is None:
            return ""
        way, name = self._wanted.ways[place], self._wanted.axes[place]
        return (
            f"{name} is asked for outside of what its MIDI values can say ({way.first:g} to {way.last:g}) and stands; "
            f"give it a wider span, as in {name}=cc16,-180..180"
        )

    def close(self) -> None:
        """Switch off what is on for a pulse, and send nothing any more."""
        with suppress(LinkError):
            self._switch_off(list(self._on_until_ns), self._free_ns)
        self._out = None

    def _switch_off(self, contacts: list[Contact], at_ns: int) -> None:
        for contact in contacts:
            del self._on_until_ns[contact]
            self._put(at_ns, contact.off())

    def _put(self, at_ns: int, *messages: bytes) -> None:
        """Send at once, and take in for how long the line is busy. Error: LinkError."""
        if self._out is None:
            raise LinkError(f"the MIDI port {self._wanted.port!r} was closed; open it again")
        now_ns = time.monotonic_ns()
        for message in messages:
            self._out.send(message, now_ns)
        size = sum(map(len, messages))
        self._free_ns = max(self._free_ns, at_ns) + round(size * self._byte_ns)


@contextmanager
def open_midi(address: str, rig: Rig, _: Timebase) -> Iterator[Output]:
    """Open the port. Error: LinkError where it is not there, or the address does not say how each axis goes out."""
    wanted = parse_address(address, rig)
    if wanted.scheme == "virtual":
        opening = systems()[0].speak_virtual(wanted.port)
    else:
        system, hearer = find(wanted.port, lambda system: system.hearers())
        opening = system.speak(hearer)
    with opening as out:
        output = MidiOutput(out, wanted)
        try:
            yield output
        finally:
            output.close()


def carries_midi(address: str, rig: Rig) -> Carries:
    """Return what goes through the cable that the address names. Error: LinkError."""
    wanted = parse_address(address, rig)
    most_hz, why = None, ""
    if wanted.wire.bytes_s is not None:
        most_hz = wanted.wire.bytes_s / wanted.set_bytes
        why = f"{wanted.wire.words} a second, and a set of {len(wanted.ways)} axes is {wanted.set_bytes} bytes"
    return Carries(
        most_hz=most_hz,
        why=why,
        resolution=tuple(way.step for way in wanted.ways),
        span=tuple((min(way.first, way.last), max(way.first, way.last)) for way in wanted.ways),
        triggers=tuple(wanted.triggers),
    )


def names() -> tuple[str, ...]:
    """Return the addresses of the ports that hear MIDI. Error: LinkError where the machine has no MIDI, saying why."""
    return tuple(f"midi:{name}" for system in systems() for name in system.hearers())


KIND = OutputKind(
    schemes=("midi", "virtual"),
    answers=False,
    stop_action=(
        "MIDI has no word for it: a device keeps the last values that it got; with stop=NOTE in the address that note "
        "is on from a stop until the rig is asked again, and the device's builder decides what it does"
    ),
    carries=carries_midi,
    open=open_midi,
    shared=False,  # a virtual port of the same name would be a second one
    names=names,
)
