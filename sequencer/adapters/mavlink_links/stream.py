"""What carries MAVLink's bytes: datagrams, or a serial port. Frames find their own beginnings, so nothing is added."""

from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager

from sequencer.adapters.osc_links.link import PacketLink
from sequencer.adapters.osc_links.place import Place
from sequencer.adapters.osc_links.udp import open_udp
from sequencer.adapters.serial_ports.line import SerialLine, open_line


class SerialStream:
    """A serial port whose pieces need not be whole frames."""

    times = 1
    garbage = 0

    def __init__(self, line: SerialLine) -> None:
        self._line = line
        self.where = line.path

    @property
    def dropped(self) -> int:
        return self._line.dropped

    @property
    def waiting(self) -> int:
        return self._line.waiting

    def fileno(self) -> int | None:
        return self._line.fileno()

    def put(self, packet: bytes) -> bool:
        return self._line.write(packet)

    def put_urgent(self, packet: bytes, *, clears: bool = False) -> bool:
        return self._line.urgent(packet, clears=clears)

    def packets(self) -> list[bytes]:
        read = self._line.read()
        return [read] if read else []

    def go_on(self) -> None:
        self._line.go_on()

    def trouble(self) -> str:
        return ""


@contextmanager
def _open_serial(place: Place) -> Iterator[PacketLink]:
    with open_line(place.path, place.baud) as line:
        yield SerialStream(line)


def open_stream(place: Place) -> AbstractContextManager[PacketLink]:
    """Open the way to the head. Error: LinkError that says why not, and the mend."""
    return _open_serial(place) if place.transport == "serial" else open_udp(place.host, place.port)
