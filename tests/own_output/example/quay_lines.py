"""A rig that takes lines of text by UDP, as in `pan 12.5 tilt -3.25`; it cannot answer.

Address: `lines://HOST:PORT?decimals=3`. A stop is the line `stop`, three times. After `go` a stopped rig listens again.
"""

import socket
from collections.abc import Iterator
from contextlib import contextmanager

from sequencer.adapters.asked import Asked
from sequencer.adapters.contract import Carries, LinkState, Output, OutputKind
from sequencer.errors import LinkError
from sequencer.rig.axis import Rig
from sequencer.rig.signals import Feedback, Setpoint, Trigger
from sequencer.timebase.timecode import Timebase


def parse_address(address: str) -> tuple[tuple[str, int], int]:
    """Return host and port, and how many decimals a number has. Error: LinkError that says which part is wrong."""
    asked = Asked(address, "lines://HOST:PORT?decimals=3")
    place, decimals = asked.host_port(), asked.whole("decimals", 3, 0, 9)
    asked.done()
    return place, decimals


class LinesOutput:
    """The open link to the rig."""

    def __init__(self, port: socket.socket, rig: Rig, decimals: int) -> None:
        self._port = port
        self._form = " ".join(f"{name} {{:.{decimals}f}}" for name in rig.names)

    def fileno(self) -> None:
        return None  # the rig says nothing

    def send(self, setpoint: Setpoint) -> None:
        self._put(self._form.format(*setpoint.position.tolist()))

    def replace(self, from_ns: int) -> None:
        raise AssertionError("it schedules nothing, so there is nothing to replace")

    def fire(self, trigger: Trigger) -> bool:
        return False  # `carries` names no trigger

    def read(self, heard_ns: int) -> tuple[Feedback, ...]:
        return ()

    def ask(self) -> None:
        self._put("go")

    def look(self, now_ns: int) -> None:
        pass  # there is nothing to look after

    def link(self, now_ns: int) -> LinkState:
        return LinkState()

    def stop(self) -> None:
        for _ in range(3):  # UDP may lose one
            self._put("stop")

    def here(self, axis: str, value: float) -> None:
        pass  # this rig counts by itself

    def trouble(self) -> str:
        return ""

    def _put(self, line: str) -> None:
        try:
            self._port.send(line.encode())
        except (BlockingIOError, ConnectionRefusedError):
            pass  # no room, or nobody listens yet: the next line is newer
        except OSError as fault:
            raise LinkError(f"the link to the rig is gone: {fault.strerror}; check cable and network") from fault


@contextmanager
def open_lines(address: str, rig: Rig, _: Timebase) -> Iterator[Output]:
    """Open the link to the rig at `address`. Error: LinkError where there is no such host."""
    place, decimals = parse_address(address)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as port:
        try:
            port.connect(place)
        except OSError as fault:
            raise LinkError(f"no rig can be reached at {address}: {fault.strerror}; check the address") from fault
        port.setblocking(False)
        yield LinesOutput(port, rig, decimals)


def carries_lines(address: str, rig: Rig) -> Carries:
    """Return what goes through, without opening anything. Error: LinkError."""
    _, decimals = parse_address(address)
    return Carries(resolution=(10.0**-decimals,) * len(rig.axes))


KIND = OutputKind(
    schemes=("lines",),
    answers=False,
    stop_action="the rig brakes and holds; without lines it holds the last position",
    at_end="hold",
    carries=carries_lines,
    open=open_lines,
)
