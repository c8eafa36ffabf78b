"""When a MIDI message really came, from what a driver says of it. Clock readings come in as arguments; none is taken.

Unit: nanoseconds of the monotonic clock, whole.
"""

from collections import deque
from statistics import median

_FRAME_WRAP = 1 << 32
_CYCLES = 5


class DeltaChain:
    """Stamps for a driver that gives each message's distance from the one before, in its own clock.

    The chain of distances is exact but hangs free: it lies between two bounds for each message, the last look that
    found the queue empty (not there yet) and the look that took it out (already there). Whatever looks have said so
    far narrows the bounds, so a stamp soon is finer than the interval between looks. A chain that leaves its bounds
    (the driver lost messages, or its clock runs at another speed) is put back to the nearer bound.
    """

    def __init__(self) -> None:
        self._chain_ns = 0
        self._offset_ns: int | None = None

    def stamp(self, delta_ns: int, absent_ns: int | None, taken_ns: int) -> int:
        """Return when the message came that was `delta_ns` after the last one.

        `absent_ns` is when the queue was last seen empty (None: never yet), `taken_ns` when the message was in hand.
        """
        self._chain_ns += delta_ns
        offset = taken_ns - self._chain_ns if self._offset_ns is None else self._offset_ns
        if absent_ns is not None:
            offset = max(offset, absent_ns - self._chain_ns)
        self._offset_ns = min(offset, taken_ns - self._chain_ns)
        return self._chain_ns + self._offset_ns


class CycleClock:
    """The monotonic instant at which each cycle of an audio server begins, without the jitter of its wakes.

    The server counts frames; its count falls behind the monotonic clock in steps when it misses cycles, and a wake may
    be late. The median of five cycles ignores two late wakes in a row and has followed a step after three cycles.
    """

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._frame: int | None = None
        self._offsets_ns: deque[int] = deque(maxlen=_CYCLES)

    def begin(self, frame: int, woke_ns: int) -> int:
        """Return when the cycle began whose first frame has the number `frame`; the server woke for it at `woke_ns`.

        `frame` counts modulo 2**32, as the server's own counter does. Call it once for each cycle, in order.
        """
        if self._frame is None:
            self._frame = frame
        self._frame += (frame - self._frame) % _FRAME_WRAP
        nominal_ns = self.frames_ns(self._frame)
        self._offsets_ns.append(woke_ns - nominal_ns)
        return nominal_ns + round(median(self._offsets_ns))

    def frames_ns(self, frames: int) -> int:
        """Return how long `frames` frames last."""
        return frames * 1_000_000_000 // self._rate_hz
