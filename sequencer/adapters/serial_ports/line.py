"""A serial line that the tick may write to: it never waits, never leaves half a message, and holds nothing old.

Pace: a byte takes ten bits on the wire (a start bit, eight of data, a stop bit). A message begins when what was written
before it is through, or all but `AHEAD_NS` of it; so the system's buffer holds no setpoints that wait. Where the driver
tells what it holds, a peer that stalls is seen as well.
"""

import contextlib
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TypeVar

from sequencer.adapters.serial_ports.ports import Control, Port, open_port
from sequencer.errors import LinkError
from sequencer.wire.outgoing import Outgoing

AHEAD_NS = 4_000_000  # about a tick: with less, the wire would rest until the next one
BITS_PER_BYTE = 10
_LAST_NS = 100_000_000
_STEP_S = 0.002

T = TypeVar("T")


class SerialLine:
    """One open line. Its messages are whole in themselves: lines of text, or frames.

    `dropped` counts the messages that had no room. Error: LinkError from any method once the port is gone.
    """

    def __init__(self, port: Port, path: str, baud: int, now_ns: Callable[[], int] = time.monotonic_ns) -> None:
        self._port, self._now_ns = port, now_ns
        self._byte_ns = BITS_PER_BYTE * 1_000_000_000 / baud
        self._ahead_bytes = AHEAD_NS / self._byte_ns
        self._through_ns = 0.0  # when the wire will have carried all that was written
        self._out = Outgoing()
        self.path, self.baud = path, baud
        self.dropped = 0
        self.gone = False

    def fileno(self) -> int | None:
        """Return the descriptor that becomes readable when something has come in, or None where there is none."""
        return self._try(self._port.fileno)

    @property
    def waiting(self) -> int:
        """How many bytes wait here: the rest of a message that has begun, and what is urgent."""
        return self._out.waiting

    def write(self, message: bytes) -> bool:
        """Begin `message`. False: it is dropped, since an earlier one is not through, and a newer one will come."""
        self.go_on()
        if self._out.waiting or not self._clear():
            self.dropped += 1
            return False
        self._out.begin(message)
        self._push()
        if self._out.tail is message:  # nothing of it was taken, so a newer one may still take its place
            self._out.withdraw()
            self.dropped += 1
            return False
        return True

    def urgent(self, message: bytes, *, clears: bool = False) -> bool:
        """Have `message` go out next, after what has begun and what is urgent already; it waits as long as it must.

        `clears`: what is urgent already has lost its sense, as before a stop. False: too many wait, it is dropped.
        """
        accepted = self._out.urgent(message, clears=clears)
        self.go_on()
        return accepted

    def go_on(self) -> None:
        """Write more of what waits. Every method but this one does so too; call it at each tick."""
        while (self._out.tail or (self._out.hurried and self._clear() and self._out.begin_urgent())) and self._push():
            pass

    def read(self) -> bytes:
        """Return what has come in, at most so much that the tick goes on soon."""
        self.go_on()
        return self._try(self._port.read)

    def control(self, line: Control, up: bool) -> None:
        """Raise or lower a control line, at once."""
        self._try(lambda: self._port.control(line, up))

    def finish(self) -> None:
        """Wait for what has begun, what is urgent and what the system holds, a peer that stalls for a moment only."""
        self.go_on()
        until_ns = self._through_ns + _LAST_NS  # long past where it stalls already: the tick leaves such lines too
        while self._now_ns() < until_ns:
            self.go_on()
            if not self._out.waiting and not self._try(self._port.pending) and self._through_ns <= self._now_ns():
                return
            time.sleep(_STEP_S)

    def _clear(self) -> bool:
        """Whether another message may begin."""
        if self._through_ns - self._now_ns() > AHEAD_NS:
            return False
        return self._try(self._port.pending) <= self._ahead_bytes

    def _push(self) -> bool:
        """Write the begun message's rest; return whether all of it was taken."""
        tail = self._out.tail
        count = self._try(lambda: self._port.write(tail))
        if count:
            self._out.taken(count)
            self._through_ns = max(self._through_ns, self._now_ns()) + count * self._byte_ns
        return count == len(tail)

    def _try(self, work: Callable[[], T]) -> T:
        try:
            return work()
        except OSError as fault:
            self.gone = True
            why = fault.strerror or fault
            raise LinkError(
                f"the serial port {self.path} is gone ({why}); plug it in again, and check its power"
            ) from fault


@contextmanager
def open_line(path: str, baud: int, low: Sequence[Control] = ()) -> Iterator[SerialLine]:
    """Open the serial port at `path`. Leaving the block waits for what has begun, a stalled peer 0.1 s only.

    `low`: control lines that shall be low from the beginning.
    Error: LinkError that says why not, and the mend.
    """
    port = open_port(path, baud, low)
    line = SerialLine(port, path, baud)
    try:
        yield line
    finally:
        try:
            if not line.gone:
                with contextlib.suppress(LinkError):  # whoever leaves has no more use for it
                    line.finish()
        finally:
            port.close()
