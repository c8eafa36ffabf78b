"""From what PortAudio says of a block's time to the monotonic clock. Clock readings come in; none is taken.

PortAudio counts in a clock of its own: on Linux that of the wall, which is set and slewed. So the distance between both
is taken anew with each block.
"""

from collections import deque

from sequencer.adapters.audio_ports.devices import Way

_TIGHT_NS = 50_000  # two looks further apart than this were torn apart by the scheduler
_STALE_NS = 1_000_000_000
_SETTLES_S, _WITHIN_S = 2, 10
_FAR_S = 2.0  # no device has so much in hand: then it says nothing of use


class CardClock:
    """The stamps of one stream. `latency_s` is what the system says of the device at large."""

    def __init__(self, way: Way, latency_s: float = 0.0) -> None:
        self.latency_s = latency_s
        self._ahead = 1 if way == "output" else -1
        self._offset_ns = 0.0  # of the monotonic clock, before the card's
        self._taken_ns: int | None = None
        self._notices: tuple[str, ...] = ()
        self._told = False

    def stamp(self, said_s: float, card_s: float, before_ns: int, after_ns: int) -> int:
        """Return when the first sample of a block is at the converter, which the card says is at `said_s`.

        `card_s` is a look at the card's clock, which was made between `before_ns` and `after_ns`. Where the card says
        nothing of use its usual latency is counted from the look, and `notices` tells so.
        """
        torn = after_ns - before_ns > _TIGHT_NS
        if not torn or self._taken_ns is None or after_ns - self._taken_ns > _STALE_NS:
            self._offset_ns = (before_ns + after_ns) / 2 - card_s * 1e9
            self._taken_ns = after_ns
        if said_s and abs(said_s - card_s) <= _FAR_S:
            return round(self._offset_ns + said_s * 1e9)
        if not self._told:
            self._told = True
            does = "leaves" if self._ahead > 0 else "comes in"
            self._notices = (
                f"the sound device does not say when sound {does}: {1e3 * self.latency_s:.0f} ms are taken for its "
                "latency; measure the sync offset",
            )
        return round(after_ns + self._ahead * self.latency_s * 1e9)

    def notices(self) -> tuple[str, ...]:
        """Return what the operator should know of the stamps since the last call."""
        said, self._notices = self._notices, ()
        return said


class Wander:
    """How far the stamps move against an even count of samples: by a few ppm for a card, by leaps where sound is lost.

    The first seconds are left out, in which systems do not know yet what they hold.
    """

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._second = 0  # of the count
        self._sum_ns, self._blocks = 0.0, 0
        self._zero_ns: int | None = None
        self._means_ns: deque[float] = deque(maxlen=_WITHIN_S)

    def feed(self, first: int, stamp_ns: int) -> None:
        """Take the stamp of the block that begins with sample `first`."""
        second = first // self._rate_hz
        if second < _SETTLES_S:
            return
        if second != self._second:
            if self._blocks:
                self._means_ns.append(self._sum_ns / self._blocks)
            self._second, self._sum_ns, self._blocks = second, 0.0, 0
        if self._zero_ns is None:
            self._zero_ns = stamp_ns - first * 1_000_000_000 // self._rate_hz
        self._sum_ns += stamp_ns - self._zero_ns - first * 1e9 / self._rate_hz
        self._blocks += 1

    @property
    def moved_s(self) -> float:
        """How far apart the means of the last ten seconds lie."""
        means_ns = tuple(self._means_ns)
        return (max(means_ns) - min(means_ns)) * 1e-9 if means_ns else 0.0
