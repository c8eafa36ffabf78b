"""Where a rig that speaks OSC is, as its address says, and how many setpoint sets a second get there."""

from dataclasses import dataclass
from typing import Literal
from urllib.parse import quote

from sequencer.adapters.asked import Asked
from sequencer.adapters.serial_ports import ports
from sequencer.adapters.serial_ports.line import BITS_PER_BYTE
from sequencer.wire.slip import longest

Transport = Literal["udp", "tcp", "serial"]
USUAL_BAUD = 115_200
_LEAST_BAUD, _MOST_BAUD = 300, 4_000_000
_ASIDE = 400  # bytes a second for what is no setpoint: five pings, two questions, a stop, the camera


@dataclass(frozen=True, slots=True)
class Place:
    """The other end of the link: a host and port, or a serial port with its speed."""

    transport: Transport
    host: str = ""
    port: int = 0
    path: str = ""
    baud: int = 0

    @property
    def where(self) -> str:
        """The other end in words."""
        return self.path if self.transport == "serial" else f"{self.host}:{self.port}"


def read_place(asked: Asked) -> Place:
    """Read where the rig is: `X://HOST:PORT`, `X+tcp://HOST:PORT` or `X+serial:PORT?baud=`. Error: LinkError."""
    ending = asked.scheme.rpartition("+")[2] if "+" in asked.scheme else ""
    if ending == "serial":
        if not asked.place:
            raise asked.fault("names no serial port")
        return Place("serial", path=asked.place, baud=asked.whole("baud", USUAL_BAUD, _LEAST_BAUD, _MOST_BAUD))
    if asked.place.count("[") != asked.place.count("]"):
        raise asked.fault("names no host and port")
    host, port = asked.host_port()
    return Place("tcp" if ending == "tcp" else "udp", host, port)


def serial_addresses(scheme: str) -> tuple[str, ...]:
    """Return the addresses behind `scheme` of the serial ports that this machine has now."""
    return tuple(f"{scheme}:{quote(name, safe='/')}?baud={USUAL_BAUD}" for name in ports.names())


def most_hz(place: Place, packet: bytes, open_bytes: int) -> tuple[float | None, str]:
    """Return how many setpoint sets a second get there at most, and why in words; None where a network sets the end.

    `packet` is a set of which `open_bytes` may have any value. All of them may need an escape, so the figure counts
    them twice: a set that was promised room never lacks it.
    """
    if place.transport != "serial":
        return None, ""
    worst, least = longest(packet, open_bytes), longest(packet, 0)
    carried = place.baud / BITS_PER_BYTE - _ASIDE
    most = max(carried, 0) / worst
    return most, (
        f"{place.baud} baud carry {place.baud / BITS_PER_BYTE:.0f} bytes a second, {_ASIDE} of them for what is no "
        f"setpoint; a set takes {least} bytes, and {worst} where every number must be escaped: {most:.1f} sets a second"
    )
