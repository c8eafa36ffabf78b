"""When was sample number so-and-so at the converter: a sound card's clock from the stamps of its blocks.

It opens no card and asks no clock. The stamps jitter with the system's callbacks; the samples do not, so the line
through the stamps (see line) is far better than each of them. Ticks of that line are blocks, or several short ones.

Source: own experiments; the estimator's sources are named in line.
"""

from math import sqrt

from sequencer.sync.line import Fit, Line
from sequencer.sync.troubles import Troubles

_TICK_S = 5e-3  # shorter blocks are held back in bunches, so that several make a tick
_MISSED = 0.5  # of a block: sample numbers that leave out more than this
_ANEW, _SETTLED = 4, 32  # ticks in a line that has just begun again, and in one that may be said to have jumped


class SampleClock:
    """The clock that counts samples. Unit: samples from the card's opening, monotonic nanoseconds.

    A block whose samples never came leaves a hole in the numbers, and time goes on through it: nothing changes. Where
    the numbers go on but time has jumped (or the other way round), the clock is set anew by the fourth tick after, and
    the instants of the three before that are off by the jump. `jumps` counts these, and numbers that begin again.
    """

    def __init__(self, rate_hz: float, block: int) -> None:
        if not rate_hz > 0 or block < 1:
            raise ValueError(f"a sound card counts samples, not {rate_hz} a second in blocks of {block}")
        self._rate_hz = rate_hz
        self._block = block
        self._blocks = max(1, round(_TICK_S * rate_hz / block))  # in a tick
        self._span = block * self._blocks  # samples
        self._line = Line(self._span / rate_hz)
        self._troubles = Troubles()
        self._begin_ns = 0
        self._next: int | None = None  # the sample with which the next block should begin
        self._tick = 0
        self._fed: int | None = None  # the newest tick in the line
        self._stamps: list[float] = []  # of this tick's blocks, each as if it were of the tick's first sample
        self._before: Fit | None = None  # the line before the newest blocks were set aside
        self.jumps = 0
        self.lost = 0  # samples

    @property
    def speed(self) -> float:
        """Return samples a nominal second, over the nominal rate: 1.0001 for a card that is 100 ppm fast."""
        return self._span / self._rate_hz / self._known().v_s

    @property
    def noise(self) -> float:
        """Return the jitter of the stamps as a density: as that of one stamp a second. Unit: s times the root of s.

        What it makes of the stamps wanders by less, but slowly; a line through its instants has to know this as noise.
        """
        return self._line.sigma_s * sqrt(self._span / self._rate_hz)

    def feed(self, first: int, stamp_ns: int, length: int | None = None) -> None:
        """Take the stamp of the block that begins with sample `first`, and has `length` samples if not as usual."""
        block, span = self._block, self._span
        if self._next is None or first <= self._next - 2 * block:
            self._begin(stamp_ns)
        elif first - self._next > _MISSED * block:
            self.lost += first - self._next
            self._tell("lost", "the sound card loses sound", stamp_ns)
        self._next = first + (block if length is None else length)
        tick = first // span
        if tick != self._tick:
            self._take(stamp_ns)
            self._tick = tick
        self._stamps.append((stamp_ns - self._begin_ns) * 1e-9 - (first - tick * span) / self._rate_hz)
        if len(self._stamps) == self._blocks or self._line.fit is None:
            self._take(stamp_ns)

    def _take(self, stamp_ns: int) -> None:
        """Feed the line with the median of a tick's stamps."""
        stamps = sorted(self._stamps)
        count = len(stamps)
        self._stamps.clear()
        if not count or (self._fed is not None and self._tick <= self._fed):
            return
        self._fed = self._tick
        self._feed(self._tick, (stamps[(count - 1) // 2] + stamps[count // 2]) / 2, stamp_ns)

    def _begin(self, stamp_ns: int) -> None:
        if self._next is not None:
            self.jumps += 1
            self._tell("again", "the sound card began to count its samples again", stamp_ns)
        self._begin_ns = stamp_ns
        self._line = Line(self._span / self._rate_hz)
        self._before = self._fed = None
        self._stamps.clear()

    def _feed(self, tick: int, t_s: float, stamp_ns: int) -> None:
        """Feed the line, and notice that it was set anew: it takes a tick after several that it set aside."""
        fit = self._line.fit
        if not self._line.feed(tick, t_s):
            self._before = self._before or fit
            return
        before, self._before = self._before, None
        fit = self._line.fit
        assert fit is not None
        if before is None or before.memory < _SETTLED or fit.memory > _ANEW:
            return
        jump_s = fit.x_s - (before.x_s + (fit.n - before.n) * before.v_s)
        self.jumps += 1
        way = "stood still for" if jump_s > 0 else "leapt over"
        self._tell("jump", f"the sound card {way} {abs(jump_s) * 1e3:.0f} ms", stamp_ns)

    def at_ns(self, sample: float) -> int:
        """Return the monotonic instant of a sample, with its part. Error: ValueError before the first block."""
        fit = self._known()
        return self._begin_ns + round((fit.x_s + (sample / self._span - fit.n) * fit.v_s) * 1e9)

    def sample(self, at_ns: int) -> float:
        """Return the sample at an instant, with its part. Error: ValueError before the first block."""
        fit = self._known()
        return self._span * (fit.n + ((at_ns - self._begin_ns) * 1e-9 - fit.x_s) / fit.v_s)

    def sigma_s(self, sample: float) -> float:
        """Return one standard deviation of the instant of a sample."""
        fit = self._known()
        return self._line.sigma_s * fit.spread(sample / self._span - fit.n)

    def troubles(self) -> tuple[str, ...]:
        """Return what the operator should know since the last call, in plain words."""
        return self._troubles.take()

    def _known(self) -> Fit:
        fit = self._line.fit
        if fit is None:
            raise ValueError("no block has been heard yet")
        return fit

    def _tell(self, kind: str, words: str, stamp_ns: int) -> None:
        mend = "; give it longer blocks, or the machine less to do"
        self._troubles.tell(kind, words + mend, stamp_ns * 1e-9)
