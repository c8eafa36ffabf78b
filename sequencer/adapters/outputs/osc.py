"""A rig that listens to OSC over UDP. It decides nothing: what goes out was guarded before, what comes in is passed on.

Address: `osc://HOST:PORT`, with options `?form=d` (numbers of 64 bits instead of 32) and `&timetag=now` (for a rig
that acts on receipt or has no clock; otherwise the timetag is the instant at which the values are due).

What goes out, each as one datagram with one bundle:
- a setpoint set: `/rig/AXIS/position` and `/rig/AXIS/speed` of every axis, in the axis's unit and that a second;
- `/rig/ask`, without arguments, before the first setpoint: the rig answers to its sender for two seconds. A rig that
  was stopped listens to setpoints again from then on, if it stands still;
- `/stop`, without arguments, three times, to be obeyed at once and always: the rig brakes by its own means, stays where
  it is and ignores setpoints until it is asked again;
- `/rig/ping` with a whole number, five times a second: the rig answers its sender at once, and a rig that was stopped
  stays so;
- `/camera/shutter`, `/camera/record` and `/camera/cut`, without arguments: expose one frame, start and stop recording;
- `/rig/AXIS/here` with one number: the axis stands there, and counts from there on. A rig obeys at rest only, while no
  setpoints come.

What comes in: `/rig/AXIS/actual` with one number, to the sender of the newest setpoint set or question, alone or in a
bundle whose timetag is the instant of measuring; and for each ping `/rig/pong` with its number, with one such bundle. A
rig that knows no ping works too; then the round trip and the loss are not known. And `/rig/AXIS/switch` with 0 or 1,
twice a second at least: whether the axis's homing switch is closed. Anything else is left aside and counted. A timetag
further than a second from its receipt is from a clock that is not set, so the receipt counts instead.

Where nothing listens at the address, the machine there may say so. That is no reason to raise: it also happens before
the rig is switched on. `trouble` says it, and playback stops a rig whose answers are missing.
Source: OSC 1.0; the addresses are our own.
"""

import errno
import socket
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from typing import get_args
from urllib.parse import parse_qsl, urlsplit

import numpy as np

from sequencer.adapters import wallclock
from sequencer.adapters.contract import Carries, LinkState, Output, OutputKind
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
_STOP_TIMES = 3
_DATAGRAMS_PER_READ = 64
_LARGEST = 65_535
_MEASURE_EVERY_NS = 1_000_000_000
_STRANGE_NS = 1_000_000_000
_REFUSAL_HOLDS_NS = 1_000_000_000
_SWITCH_HOLDS_NS = 500_000_000  # what was said of a switch longer ago than this is not known any more
_FULL = frozenset({errno.EAGAIN, errno.EWOULDBLOCK, errno.ENOBUFS})


@dataclass(frozen=True, slots=True)
class Address:
    """Where the rig listens, and how it likes its setpoints."""

    host: str
    port: int
    form: Form = "f"
    timetag_due: bool = True


def parse_address(text: str) -> Address:
    """Read `osc://HOST:PORT?form=f|d&timetag=due|now`. Error: LinkError that says which part is wrong."""
    try:
        parts = urlsplit(text)
        host, port = parts.hostname, parts.port
        options = dict(parse_qsl(parts.query, keep_blank_values=True, strict_parsing=bool(parts.query)))
    except ValueError as fault:
        raise LinkError(f"{text!r} is no address of an OSC rig ({fault}); write it as osc://127.0.0.1:9000") from fault
    if parts.scheme != "osc" or not host or not port or parts.path.strip("/"):
        raise LinkError(f"{text!r} is no address of an OSC rig; write it as osc://127.0.0.1:9000")
    form, tag = options.pop("form", "f"), options.pop("timetag", "due")
    if form not in get_args(Form) or tag not in ("due", "now") or options:
        raise LinkError(
            f"{text!r} has options that an OSC rig has not; there are form=f, form=d, timetag=due, timetag=now"
        )
    return Address(host, port, "d" if form == "d" else "f", tag == "due")


class OscOutput:
    """The open link to one rig. `dropped` counts setpoint sets that the machine had no room for, `left_aside` answers
    that were not understood.
    """

    def __init__(self, port: socket.socket, address: Address, rig: Rig) -> None:
        self._port = port
        self._where = f"{address.host}:{address.port}"
        self._timetag_due = address.timetag_due
        self._form: Form = address.form
        self._setpoints = Numbers(setpoint_addresses(rig.names), address.form)
        self._actuals = Numbers(actual_addresses(rig.names))
        self._places = {name: place for place, name in enumerate(actual_addresses(rig.names))}
        self._switch_places = {name: place for place, name in enumerate(switch_addresses(rig.names))}
        self._switches: dict[int, tuple[bool, int]] = {}  # by the axis's place, with when it was heard
        self._offset = WallOffset(*wallclock.measure())
        self._refused_ns: int | None = None
        self._rig_clock_off_ns = 0
        self._off_since_ns: int | None = None
        self._echo = echo.Echo()
        self.dropped = 0
        self.left_aside = 0

    def fileno(self) -> int:
        return self._port.fileno()

    def send(self, setpoint: Setpoint) -> None:
        tag = IMMEDIATELY
        if self._timetag_due:
            if setpoint.due_ns - self._offset.at_ns > _MEASURE_EVERY_NS:
                self._offset = self._offset.follow(*wallclock.measure())
            tag = timetag(setpoint.due_ns, self._offset.offset_ns)
        self._put(self._setpoints.pack(tag, setpoint.position.tolist() + setpoint.velocity.tolist()))

    def replace(self, from_ns: int) -> None:
        raise AssertionError("it schedules nothing, so there is nothing to replace")

    def fire(self, trigger: Trigger) -> bool:
        self._put(_TRIGGERS[trigger.name])
        return True

    def ask(self) -> None:
        self._put(_ASK)

    def stop(self) -> None:
        for _ in range(_STOP_TIMES):
            self._put(_STOP)

    def here(self, axis: str, value: float) -> None:
        self._put(command(f"/rig/{axis}/here", float(value), form=self._form))

    def look(self, now_ns: int) -> None:
        if echo.due(self._echo, now_ns):
            self._echo = echo.call(self._echo, now_ns)
            self._put(command("/rig/ping", self._echo.number))

    def link(self, now_ns: int) -> LinkState:
        return LinkState(echo.round_trip_s(self._echo, now_ns), echo.lost(self._echo, now_ns))

    def read(self, heard_ns: int) -> tuple[Feedback, ...]:
        heard = []
        for _ in range(_DATAGRAMS_PER_READ):
            try:
                packet = self._port.recv(_LARGEST)
            except BlockingIOError:
                break
            except ConnectionError:
                self._refused_ns = time.monotonic_ns()
                continue
            except OSError as fault:
                raise self._gone(fault) from fault
            self._refused_ns = None
            feedback = self._feedback(packet, heard_ns)
            if feedback is not None:
                heard.append(feedback)
        return tuple(heard)

    def trouble(self) -> str:
        if self._refused_ns is not None and time.monotonic_ns() - self._refused_ns < _REFUSAL_HOLDS_NS:
            return f"nothing listens at {self._where}; start the rig, or correct the address"
        if self._rig_clock_off_ns:
            return (
                f"the clock of the rig at {self._where} is {self._rig_clock_off_ns / 1e9:.1f} s off this machine's; "
                f"set both by the same time server, or use timetag=now"
            )
        if self._offset.stepped_ns:
            return (
                f"this machine's time of day was changed by {self._offset.stepped_ns / 1e9:.3f} s during the run; "
                f"setpoints keep to the old time until the link is opened anew"
            )
        return ""

    def _put(self, packet: bytes) -> None:
        """Send one datagram, or drop it where there is no room.

        A refusal belongs to an earlier datagram and keeps this one from going out, so it is tried once more.
        """
        for _ in range(2):
            try:
                self._port.send(packet)
                return
            except ConnectionError:
                self._refused_ns = time.monotonic_ns()
            except OSError as fault:
                if fault.errno not in _FULL:
                    raise self._gone(fault) from fault
                self.dropped += 1
                return

    def _feedback(self, packet: bytes, heard_ns: int) -> Feedback | None:
        """Return what an answer says of the axes; None where it says nothing of them."""
        pongs, switches = self._echo, self._switches
        tag, values = self._actuals.read(packet) or self._slow(packet, heard_ns)
        position = np.array(values)
        position[~np.isfinite(position)] = np.nan
        if np.isnan(position).all():
            self.left_aside += self._echo is pongs and self._switches is switches
            return None
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

    def _gone(self, fault: OSError) -> LinkError:
        return LinkError(f"the link to the rig at {self._where} is gone: {fault.strerror}; check cable and network")


@cache
def _found(host: str, port: int) -> tuple[int, int, int, tuple[object, ...]]:
    """Return how a rig is reached, remembered: a name may take long to look up, and a link is opened again in mid-run.

    Error: OSError, which is not remembered.
    """
    found = socket.getaddrinfo(host, port, type=socket.SOCK_DGRAM)
    # small rigs speak IPv4 only, while `localhost` often names IPv6 first
    family, kind, protocol, _, place = min(found, key=lambda one: one[0] != socket.AF_INET)
    return family, kind, protocol, place


@contextmanager
def open_osc(address: str, rig: Rig, _: Timebase) -> Iterator[Output]:
    """Open the link to the rig at `address`. Error: LinkError where there is no such host or axis name."""
    where = parse_address(address)
    try:
        family, kind, protocol, place = _found(where.host, where.port)
        port = socket.socket(family, kind, protocol)
    except OSError as fault:
        raise LinkError(f"no rig can be reached at {address}: {fault.strerror}; check the address") from fault
    with port:
        try:
            port.setblocking(False)
            port.connect(place)
            output = OscOutput(port, where, rig)
        except OSError as fault:
            raise LinkError(f"no rig can be reached at {address}: {fault.strerror}; check the network") from fault
        except ValueError as fault:
            raise LinkError(f"the rig's axis names do not fit OSC: {fault}") from fault
        yield output


def carries_osc(address: str, _: Rig) -> Carries:
    """Return what goes through: UDP carries more than the engine ever sends. Error: LinkError."""
    parse_address(address)
    return Carries(triggers=TRIGGER_NAMES)


KIND = OutputKind(
    schemes=("osc",),
    answers=True,
    carries=carries_osc,
    stop_action="the rig's own doing; it should brake and hold 0.25 s after the last setpoint",
    open=open_osc,
)
