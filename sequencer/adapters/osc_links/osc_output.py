"""A rig that speaks OSC, over any link: setpoints and orders as packets, answers as feedback. It decides nothing.

Source: OSC 1.0; the addresses are our own (see adapters/outputs/osc.py).
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import get_args

import numpy as np

from sequencer.adapters import wallclock
from sequencer.adapters.asked import Asked
from sequencer.adapters.contract import Carries, LinkState, Output
from sequencer.adapters.osc_links.link import PacketLink
from sequencer.adapters.osc_links.links import open_link
from sequencer.adapters.osc_links.place import Place, most_hz, read_place
from sequencer.errors import LinkError, PeerError
from sequencer.rig.axis import Rig
from sequencer.rig.signals import TRIGGER_NAMES, Feedback, Setpoint, Trigger
from sequencer.timebase.timecode import Timebase
from sequencer.wire import echo
from sequencer.wire.osc import Form, Numbers, actual_addresses, command, decode, setpoint_addresses, switch_addresses
from sequencer.wire.timetag import IMMEDIATELY, WallOffset, instant, timetag

_ASK = command("/rig/ask")
_STOP = command("/stop")
_TRIGGERS = {name: command(f"/camera/{name}") for name in TRIGGER_NAMES}
_MEASURE_EVERY_NS = 1_000_000_000
_STRANGE_NS = 1_000_000_000
_SWITCH_HOLDS_NS = 500_000_000  # what was said of a switch longer ago than this is not known any more
_ODD = 5  # pieces in a row that cannot be read, before the operator hears of it
_TAG_BYTES = 8
_WIDTH = {"f": 4, "d": 8}
_EXAMPLES = {
    "osc": "osc://127.0.0.1:9000",
    "osc+tcp": "osc+tcp://127.0.0.1:9000",
    "osc+serial": "osc+serial:/dev/ttyUSB0?baud=115200",
}


@dataclass(frozen=True, slots=True)
class Manner:
    """How the rig likes its setpoints: in which numbers, and with the instant at which they are due, or none."""

    form: Form = "f"
    timetag_due: bool = True


def read_address(text: str) -> tuple[Place, Manner]:
    """Read `osc://HOST:PORT`, `osc+tcp://HOST:PORT` or `osc+serial:PORT?baud=`, each with `form=` and `timetag=`.

    Error: LinkError that says which part is wrong.
    """
    scheme = text.partition(":")[0]
    asked = Asked(text, _EXAMPLES.get(scheme, _EXAMPLES["osc"]))
    if scheme not in _EXAMPLES:
        raise asked.fault("is no address of an OSC rig")
    place = read_place(asked)
    form = asked.one_of("form", get_args(Form))
    due = asked.one_of("timetag", ("due", "now")) == "due"
    asked.done()
    return place, Manner("d" if form == "d" else "f", due)


_USUAL = Manner()


class OscOutput:
    """The open link to one rig. `dropped` counts setpoint sets that had no room, `left_aside` answers that were not
    understood.
    """

    def __init__(self, link: PacketLink, rig: Rig, manner: Manner = _USUAL) -> None:
        self._link = link
        self._manner = manner
        self._setpoints = Numbers(setpoint_addresses(rig.names), manner.form)
        self._actuals = Numbers(actual_addresses(rig.names))
        self._places = {name: place for place, name in enumerate(actual_addresses(rig.names))}
        self._switch_places = {name: place for place, name in enumerate(switch_addresses(rig.names))}
        self._switches: dict[int, tuple[bool, int]] = {}  # by the axis's place, with when it was heard
        self._offset = WallOffset(*wallclock.measure())
        self._rig_clock_off_ns = 0
        self._off_since_ns: int | None = None
        self._echo = echo.Echo()
        self._odd = 0  # what came in one after the other and could not be read
        self.left_aside = 0

    @property
    def dropped(self) -> int:
        return self._link.dropped

    def fileno(self) -> int | None:
        return self._link.fileno()

    def send(self, setpoint: Setpoint) -> None:
        tag = IMMEDIATELY
        if self._manner.timetag_due:
            if setpoint.due_ns - self._offset.at_ns > _MEASURE_EVERY_NS:
                self._offset = self._offset.follow(*wallclock.measure())
            tag = timetag(setpoint.due_ns, self._offset.offset_ns)
        self._link.put(self._setpoints.pack(tag, setpoint.position.tolist() + setpoint.velocity.tolist()))

    def replace(self, from_ns: int) -> None:
        raise AssertionError("it schedules nothing, so there is nothing to replace")

    def fire(self, trigger: Trigger) -> bool:
        return self._link.put_urgent(_TRIGGERS[trigger.name])

    def ask(self) -> None:
        self._link.put_urgent(_ASK)

    def stop(self) -> None:
        for _ in range(self._link.times):
            self._link.put_urgent(_STOP, clears=True)

    def here(self, axis: str, value: float) -> None:
        self._link.put_urgent(command(f"/rig/{axis}/here", float(value), form=self._manner.form))

    def look(self, now_ns: int) -> None:
        self._link.go_on()
        # a link that stalls is asked nothing: the questions would only fill what waits
        if echo.due(self._echo, now_ns) and not self._link.waiting:
            self._echo = echo.call(self._echo, now_ns)
            self._link.put_urgent(command("/rig/ping", self._echo.number))

    def link(self, now_ns: int) -> LinkState:
        return LinkState(echo.round_trip_s(self._echo, now_ns), echo.lost(self._echo, now_ns))

    def read(self, heard_ns: int) -> tuple[Feedback, ...]:
        garbage = self._link.garbage
        packets = self._link.packets()
        self._odd += self._link.garbage - garbage
        feedback = (self._feedback(packet, heard_ns) for packet in packets)
        return tuple(one for one in feedback if one is not None)

    def trouble(self) -> str:
        where = self._link.where
        told = self._link.trouble()
        if told:
            return told
        if self._odd >= _ODD:
            return f"what comes from {where} is nothing that a rig says; check the address, and a serial port's baud"
        if self._rig_clock_off_ns:
            return (
                f"the clock of the rig at {where} is {self._rig_clock_off_ns / 1e9:.1f} s off this machine's; "
                f"set both by the same time server, or use timetag=now"
            )
        if self._offset.stepped_ns:
            return (
                f"this machine's time of day was changed by {self._offset.stepped_ns / 1e9:.3f} s during the run; "
                f"setpoints keep to the old time until the link is opened anew"
            )
        return ""

    def _feedback(self, packet: bytes, heard_ns: int) -> Feedback | None:
        """Return what an answer says of the axes; None where it says nothing of them."""
        pongs, switches = self._echo, self._switches
        tag, values = self._actuals.read(packet) or self._slow(packet, heard_ns)
        position = np.array(values)
        position[~np.isfinite(position)] = np.nan
        if np.isnan(position).all():
            odd = self._echo is pongs and self._switches is switches
            self.left_aside += odd
            self._odd = self._odd + 1 if odd else 0
            return None
        self._odd = 0
        at_ns = instant(tag, self._offset.offset_ns, heard_ns)
        strange = abs(at_ns - heard_ns) > _STRANGE_NS
        self._judge_clock(at_ns - heard_ns if strange else 0, heard_ns)
        return Feedback(heard_ns if strange else at_ns, position, heard_ns, self._closed(heard_ns))

    def _judge_clock(self, off_ns: int, heard_ns: int) -> None:
        """Take in how strange an answer's instant was. Some that waited here to be read say nothing of the clock."""
        if not off_ns or self._off_since_ns is None:
            self._off_since_ns = heard_ns if off_ns else None
        lasts = self._off_since_ns is not None and heard_ns - self._off_since_ns >= _STRANGE_NS
        self._rig_clock_off_ns = off_ns if lasts else 0

    def _closed(self, now_ns: int) -> tuple[bool | None, ...]:
        """Return for each axis whether its switch is closed; nothing where the rig never spoke of any."""
        if not self._switches:
            return ()
        said = (self._switches.get(place) for place in range(len(self._places)))
        return tuple(None if one is None or now_ns - one[1] > _SWITCH_HOLDS_NS else one[0] for one in said)

    def _slow(self, packet: bytes, heard_ns: int) -> tuple[int, list[float]]:
        """Read a packet that is not a plain bundle of answers; values that it does not hold are NaN."""
        values = [np.nan] * len(self._places)
        tag = IMMEDIATELY
        try:
            messages = decode(packet)
        except PeerError:
            return tag, values
        for message in messages:
            place = self._places.get(message.address)
            match message.arguments:
                case (int() as number,) if message.address == "/rig/pong" and not isinstance(number, bool):
                    self._echo = echo.hear(self._echo, number, heard_ns)
                case (float() | int() as value,) if place is not None and not isinstance(value, bool):
                    values[place] = float(value)
                    tag = message.tag
                case (0 | 1 as closed,) if message.address in self._switch_places:
                    self._switches = self._switches | {self._switch_places[message.address]: (bool(closed), heard_ns)}
        return tag, values


def carries_osc(address: str, rig: Rig) -> Carries:
    """Return what goes through: a network carries more than the engine ever sends, a serial line what its baud gives.

    Error: LinkError for an address or an axis name that is none.
    """
    place, manner = read_address(address)
    count = 2 * len(rig.axes)
    try:
        packet = Numbers(setpoint_addresses(rig.names), manner.form).pack(0, [0.0] * count)
    except ValueError as fault:
        raise LinkError(f"the rig's axis names do not fit OSC: {fault}") from fault
    hz, why = most_hz(place, packet, count * _WIDTH[manner.form] + _TAG_BYTES * manner.timetag_due)
    return Carries(most_hz=hz, why=why, triggers=TRIGGER_NAMES)


@contextmanager
def open_osc(address: str, rig: Rig, _: Timebase) -> Iterator[Output]:
    """Open the link to the rig at `address`. Error: LinkError where there is no such rig, port or axis name."""
    place, manner = read_address(address)
    with open_link(place) as link:
        try:
            output = OscOutput(link, rig, manner)
        except ValueError as fault:
            raise LinkError(f"the rig's axis names do not fit OSC: {fault}") from fault
        yield output
