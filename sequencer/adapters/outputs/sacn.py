"""A rig, or a motor controller, that listens to streaming ACN: axes as numbers over neighbouring slots of a universe.

Address: `sacn://HOST/UNIVERSE` or `sacn://HOST:PORT/UNIVERSE` to one machine, `sacn:UNIVERSE` to the universe's
multicast group (IPv4). Every axis needs an option of its name: `pan=1` is from slot 1 on, `pan=1.24` over 24 bits,
`pan=1.24:-170..170` with the values at which all bits are 0 and 1; without them these are the ends of its travel.
Further options: `bits=8|16|24` for axes that do not say (16), `priority=0..200` (100), `sync=UNIVERSE` (data waits for
synchronisation packets of that universe), `release=no` (another output sends those packets), `name=TEXT` (what
receivers call this source), `by=ADDRESS` (multicast: the network card that has it).

What goes out: a data packet of 512 slots for each setpoint set, and with `sync` a synchronisation packet after it. What
does not change is sent three times more, 25 ms apart, and then every 0.9 s, for as long as the link is open, also
after a stop. Nothing goes out before the first setpoint, since all slots would say 0. On closing, and only then, three
packets say that the stream is terminated; not after a fault. To a group also goes every 10 s which universes are sent
on. There is no stop in this standard, no question and no answer: `stop` sends the last look again. Preview_Data and
Force_Synchronization are never set: once synchronised, a receiver that misses the packets keeps the last look.
Source: ANSI E1.31-2018, sections 6.2 to 6.6, 9.1.1, 11.1 and 12; what `wire.sacn` says.
"""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from sequencer.adapters.asked import Asked
from sequencer.adapters.contract import Carries, LinkState, Output, OutputKind
from sequencer.adapters.datagrams import Datagrams, to_groups, to_machine
from sequencer.adapters.identity import identity
from sequencer.errors import LinkError
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.signals import Feedback, Setpoint, Trigger
from sequencer.timebase.timecode import Timebase
from sequencer.wire import sacn

_EXAMPLE = "sacn://192.0.2.10/1?pan=1&tilt=3 or sacn:1?pan=1.24:-170..170"
_BITS = ("16", "8", "24")
_NUMBER = r"-?(?:\d+\.?\d*|\.\d+)"
_PLACE = re.compile(rf"(\d{{1,3}})(?:\.(8|16|24))?(?::({_NUMBER})\.\.({_NUMBER}))?", re.ASCII)
_MACHINE = re.compile(r"(\[[^\]]+\]|[^:/\[\]]+)(?::(\d{1,5}))?/(\d{1,5})/?", re.ASCII)
_OPTIONS = ("bits", "priority", "sync", "release", "name", "by")


@dataclass(frozen=True, slots=True)
class Address:
    """What an address says; `host` is empty for the multicast group."""

    host: str
    port: int
    universe: int
    places: tuple[sacn.Place, ...]
    priority: int = sacn.USUAL_PRIORITY
    sync: int = 0
    release: bool = True
    name: str = ""
    by: str = ""


def parse_address(text: str, rig: Rig) -> Address:
    """Read an address for the axes of `rig`. Error: LinkError that says which part is wrong."""
    asked = Asked(text, _EXAMPLE)
    host, port, universe = "", sacn.PORT, asked.place
    if asked.network:
        found = _MACHINE.fullmatch(asked.place)
        if found is None:
            raise asked.fault("names no host and universe")
        host, universe = found[1].strip("[]"), found[3]
        port = int(found[2] or sacn.PORT)
        if not 0 < port < 65_536:
            raise asked.fault(f"has the port {port}; it must be from 1 to 65535")
    least, most = sacn.UNIVERSES
    if not (universe.isascii() and universe.isdigit() and least <= int(universe) <= most):
        raise asked.fault(f"has the universe {universe or 'none'}; it must be from {least} to {most}")
    bits = int(asked.one_of("bits", _BITS))
    read = Address(
        host,
        port,
        int(universe),
        tuple(_place(asked, axis, bits) for axis in rig.axes),
        asked.whole("priority", sacn.USUAL_PRIORITY, *sacn.PRIORITIES),
        asked.whole("sync", 0, 0, most),
        asked.one_of("release", ("yes", "no")) == "yes",
        asked.option("name", f"twintake {rig.name}"),
        asked.option("by"),
    )
    if host and read.by:
        raise asked.fault("says by, which is for a universe's group only; leave it out")
    asked.done()
    _check_apart(asked, rig, read.places)
    return read


def _place(asked: Asked, axis: Axis, bits: int) -> sacn.Place:
    """Read where an axis lies. Error: LinkError."""
    if axis.name in _OPTIONS:
        raise asked.fault(
            f"cannot give slots to an axis called {axis.name}, which is an option's name; call it otherwise"
        )
    said = asked.option(axis.name)
    if not said:
        raise asked.fault(f"gives no slot to the axis {axis.name}; add {axis.name}=SLOT")
    found = _PLACE.fullmatch(said)
    if found is None:
        raise asked.fault(f"says {axis.name}={said}; it must be a slot, as 1, 1.24 or 1.24:-170..170")
    if found[3] is not None:
        low, high = float(found[3]), float(found[4])
    elif axis.travel is not None:
        low, high = axis.travel
    else:
        raise asked.fault(
            f"does not say what the slots of {axis.name} span, which has no travel; add it as 1:-360..360"
        )
    place = sacn.Place(int(found[1]), int(found[2] or bits), low, high)
    if low == high:
        raise asked.fault(f"has slots of {axis.name} that span nothing, from {low:g} to {high:g}")
    if place.first < 1 or place.slots[-1] > sacn.SLOTS:
        raise asked.fault(f"has {axis.name} in slot {place.first} over {place.bits} bits; slots are 1 to {sacn.SLOTS}")
    return place


def _check_apart(asked: Asked, rig: Rig, places: tuple[sacn.Place, ...]) -> None:
    """Refuse two axes in one slot. Error: LinkError that names both and the slot."""
    taken: dict[int, str] = {}
    for axis, place in zip(rig.axes, places, strict=True):
        for slot in place.slots:
            other = taken.setdefault(slot, axis.name)
            if other != axis.name:
                raise asked.fault(f"has {other} and {axis.name} both in slot {slot}; give each its own")


class SacnOutput:
    """The open link: one universe, from one source."""

    def __init__(self, port: Datagrams, address: Address, rig: Rig) -> None:
        self._port = port
        self._address = address
        self._cid = identity(rig.name, "sacn", address.host, str(address.port), str(address.universe)).bytes
        self._look = sacn.Look(
            self._cid, address.name, address.universe, address.places, address.priority, address.sync
        )
        self._group = None if address.host else (sacn.group(address.universe), address.port)
        self._sync_group = None if address.host else (sacn.group(address.sync), address.port)
        self._sequence = self._sync_sequence = 0
        self._begun = False
        self._same = 0  # times that the look was said again since it changed
        # when `look` first saw the clock after something went out; None until then
        self._quiet_ns: int | None = None
        self._listed_ns: int | None = None

    def fileno(self) -> None:
        return None

    def send(self, setpoint: Setpoint) -> None:
        self._begun = True
        if self._look.fill(setpoint.position):
            self._put()
            self._same = 0

    def replace(self, from_ns: int) -> None:
        raise AssertionError("it schedules nothing, so there is nothing to replace")

    def fire(self, trigger: Trigger) -> bool:
        return False

    def read(self, heard_ns: int) -> tuple[Feedback, ...]:
        return ()

    def ask(self) -> None:
        """There is no question in this standard."""

    def look(self, now_ns: int) -> None:
        if not self._begun:
            return
        if self._quiet_ns is None:
            self._quiet_ns = now_ns
        elif now_ns - self._quiet_ns >= (sacn.REPEAT_NS if self._same < sacn.SAME_TIMES else sacn.KEEP_ALIVE_NS):
            self._put()
            self._same += 1
            self._quiet_ns = now_ns
        if self._group is not None and (self._listed_ns is None or now_ns - self._listed_ns >= sacn.DISCOVERY_NS):
            self._list(now_ns)

    def link(self, now_ns: int) -> LinkState:
        return LinkState()

    def stop(self) -> None:
        """Have the last look held, and said again as often as one that changed: the standard knows no other stop."""
        if self._begun:
            self._put()
            self._same = 0

    def here(self, axis: str, value: float) -> None:
        """There is no word for it in this standard: a slot's value is a place, whatever the device counted."""

    def trouble(self) -> str:
        return self._port.trouble()

    def terminate(self) -> None:
        """Say that the stream has ended, so that receivers do not wait for it. Source: E1.31, section 6.2.6."""
        if self._begun and not self._port.gone:
            for _ in range(sacn.TERMINATED_TIMES):
                self._put(sacn.STREAM_TERMINATED)

    def _put(self, options: int = 0) -> None:
        """Send the look as it is, and let go of it where receivers wait for that."""
        self._port.put(self._look.packet(self._sequence, options), self._group)
        self._sequence = (self._sequence + 1) & 0xFF
        self._quiet_ns = None
        if self._address.sync and self._address.release and not options:
            packet = sacn.synchronisation(self._cid, self._address.sync, self._sync_sequence)
            self._port.put(packet, self._sync_group)
            self._sync_sequence = (self._sync_sequence + 1) & 0xFF

    def _list(self, now_ns: int) -> None:
        """Say which universes this source sends on. Source: E1.31, section 8.5: those of synchronisation too."""
        self._listed_ns = now_ns
        there = {self._address.universe}
        if self._address.sync and self._address.release:
            there.add(self._address.sync)
        packet = sacn.discovery(self._cid, self._address.name, sorted(there))
        self._port.put(packet, (sacn.group(sacn.DISCOVERY_UNIVERSE), self._address.port))


@contextmanager
def open_sacn(address: str, rig: Rig, _: Timebase) -> Iterator[Output]:
    """Open the universe at `address`. Error: LinkError where the address, the host or the network card is wrong."""
    where = parse_address(address, rig)
    opened = to_machine(where.host, where.port) if where.host else to_groups(where.by, f"universe {where.universe}")
    with opened as port:
        output = SacnOutput(port, where, rig)
        yield output
        # not after an exception: a stream that broke off shall look like one
        try:
            output.terminate()
        except LinkError:
            return  # it ended while it was closed; receivers find that out by themselves


def carries_sacn(address: str, rig: Rig) -> Carries:
    """Return what goes through. Error: LinkError."""
    places = parse_address(address, rig).places
    return Carries(
        most_hz=sacn.MOST_HZ,
        why="512 slots are refreshed 44 times a second at most (ANSI E1.11)",
        resolution=tuple(place.step for place in places),
        span=tuple(place.span for place in places),
    )


KIND = OutputKind(
    schemes=("sacn",),
    answers=False,
    carries=carries_sacn,
    stop_action="the last values are held and go on being sent; streaming ACN knows no stop, and a device that hears "
    "nothing for 2.5 s does what its maker chose",
    open=open_sacn,
)
