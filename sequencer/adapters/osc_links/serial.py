"""OSC packets over a serial line, SLIP-framed. Source: OSC 1.1 (SLIP on serial lines)."""

from collections.abc import Iterator
from contextlib import contextmanager

from sequencer.adapters.osc_links.inbox import Inbox
from sequencer.adapters.serial_ports.line import SerialLine, open_line
from sequencer.wire.slip import frame


class SerialLink:
    """A line whose messages are SLIP frames. `garbage` counts the frames that were left aside."""

    times = 1

    def __init__(self, line: SerialLine) -> None:
        self._line = line
        self._inbox = Inbox()
        self.where = line.path

    @property
    def dropped(self) -> int:
        return self._line.dropped

    @property
    def garbage(self) -> int:
        return self._inbox.garbage

    @property
    def waiting(self) -> int:
        return self._line.waiting

    def fileno(self) -> int | None:
        return self._line.fileno()

    def put(self, packet: bytes) -> bool:
        return self._line.write(frame(packet))

    def put_urgent(self, packet: bytes, *, clears: bool = False) -> bool:
        return self._line.urgent(frame(packet), clears=clears)

    def packets(self) -> list[bytes]:
        return self._inbox.take(self._line.read)

    def go_on(self) -> None:
        self._line.go_on()

    def trouble(self) -> str:
        return ""


@contextmanager
def open_serial(path: str, baud: int) -> Iterator[SerialLink]:
    """Open the serial port at `path`. Error: LinkError that says why not, and the mend."""
    with open_line(path, baud) as line:
        yield SerialLink(line)
