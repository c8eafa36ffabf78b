"""The line through the clocks of a MIDI master, in the project's time: its tempo changes are taken out of the stamps.

Where the project changes its tempo, a master that plays the same music changes its own, and the clocks come at another
spacing. The stamps are straightened by as much as the project expects, scaled by how fast the master is, so that for
the one estimator nothing happens there: the timeline runs on at one speed. A master that keeps its tempo where the
project changes looks like one that steps, and is followed like that. It counts clocks and judges no state.

Source: own arithmetic; the estimator is `line`.
"""

from bisect import bisect_right
from collections import deque
from itertools import pairwise
from math import inf, sqrt
from typing import NamedTuple

from sequencer.sync.line import Line
from sequencer.timebase.tempo import TempoMap
from sequencer.wire.midi_clock import CLOCKS_PER_QUARTER

_NEWEST = 16  # clocks by which evenness is judged


class Steady(NamedTuple):
    """A stretch of one tempo. Unit: `clock` from the first beat, `at_s` from the project's start, `gap_s` a clock."""

    clock: float
    at_s: float
    gap_s: float


class Music:
    """The tempo map in clocks from the first beat, as floats."""

    def __init__(self, tempo: TempoMap) -> None:
        self.steady = tuple(
            Steady(
                float(one.quarter * CLOCKS_PER_QUARTER),
                float(one.at_s),
                float(60 / one.quarter_bpm / CLOCKS_PER_QUARTER),
            )
            for one in tempo.stretches
        )

    def index(self, clock: float) -> int:
        """Return which steady stretch holds at `clock`."""
        return max(0, bisect_right(self.steady, clock, key=lambda one: one.clock) - 1)

    def ends(self, index: int) -> float:
        """Return the clock at which a steady stretch ends."""
        return self.steady[index + 1].clock if index + 1 < len(self.steady) else inf

    def seconds(self, clock: float) -> float:
        """Return the instant of `clock`."""
        one = self.steady[self.index(clock)]
        return one.at_s + (clock - one.clock) * one.gap_s

    def clock(self, seconds: float) -> float:
        """Return the clock at `seconds`."""
        one = self.steady[max(0, bisect_right(self.steady, seconds, key=lambda one: one.at_s) - 1)]
        return one.clock + (seconds - one.at_s) / one.gap_s


class Heard(NamedTuple):
    """Where the line says the master is. Unit: seconds of the timeline and that a second; sigma in seconds."""

    position_s: float
    speed: float
    sigma_s: float


class ClockLine:
    """Clocks as they come. `next` is the one that the next stamp marks; `count` those since the line began."""

    def __init__(self, music: Music) -> None:
        self._music = music
        self.begin(0)

    def begin(self, clock: int) -> None:
        """Forget all; the next stamp marks `clock`."""
        self.next = clock
        self.count = 0
        self._newest: int | None = None  # as the line counts
        self._stamps: deque[float] = deque(maxlen=_NEWEST)  # straightened
        self._shift = clock  # of the music's count against the line's
        self._index = self._music.index(clock)
        self._gap_s = self._music.steady[self._index].gap_s
        self._line = Line(self._gap_s)
        # a stamp of `clock` is later than straight by _bent_s + _bend_s * (clock - _from)
        self._bent_s, self._bend_s, self._from = 0.0, 0.0, float(clock)

    def move(self, clock: int) -> None:
        """Let the next stamp mark `clock`; what is known of the master's spacing stays, where the same is expected."""
        index = self._music.index(clock)
        if self._bend_s or self._music.steady[index].gap_s != self._gap_s:
            self.begin(clock)
            return
        self._index = index
        self._shift += clock - self.next
        self._from += clock - self.next
        self.next = clock

    @property
    def gap_s(self) -> float:
        """Seconds from clock to clock, now."""
        return self._line.speed + self._bend_s

    @property
    def speed(self) -> float:
        """Speed of the timeline, now."""
        return self._music.steady[self._index].gap_s / self.gap_s

    @property
    def memory(self) -> int:
        """How many stamps the line goes through."""
        return self._line.fit.memory if self._line.fit else 0

    @property
    def sigma_s(self) -> float:
        """Standard deviation of a stamp."""
        return self._line.sigma_s

    @property
    def unevenness(self) -> float:
        """How far the newest gaps lie off their mean (RMS), in parts of it; infinite while there are too few."""
        if len(self._stamps) < _NEWEST:
            return inf
        mean_s = (self._stamps[-1] - self._stamps[0]) / (_NEWEST - 1)
        if mean_s <= 0:
            return inf
        return sqrt(sum(((b - a) / mean_s - 1) ** 2 for a, b in pairwise(self._stamps)) / (_NEWEST - 1))

    @property
    def repeats(self) -> bool:
        """Whether the next clock was taken already, as after a count was put right."""
        return self._newest is not None and self.next - self._shift <= self._newest

    def take(self, t_s: float, *, moving: bool = True) -> bool:
        """Take the stamp of the next clock; return whether it is on the line. Who stands crosses no tempo change.

        One that was taken already, as after a count was put right, is not.
        """
        if self.repeats:
            self.next += 1
            return False
        clock, self.next = self.next, self.next + 1
        n = clock - self._shift
        while moving and clock > self._music.ends(self._index):
            self._cross()
        self._newest = n
        self.count += 1
        straight_s = t_s - self._bent_s - self._bend_s * (clock - self._from)
        self._stamps.append(straight_s)
        return self._line.feed(n, straight_s)

    def _cross(self) -> None:
        """Expect the spacing of the next steady stretch from its first clock on."""
        at = self._music.ends(self._index)
        self._bent_s += self._bend_s * (at - self._from)
        self._from = at
        self._index += 1
        self._bend_s = self._line.speed * (self._music.steady[self._index].gap_s / self._gap_s - 1)

    def clock(self, t_s: float, *, moving: bool = True) -> float:
        """Return the clock at `t_s` with its part."""
        clock = self._at(t_s)[0]
        if moving and clock > self._music.ends(self._index):
            return self._music.clock(self.now(t_s).position_s)
        return clock

    def now(self, t_s: float) -> Heard:
        """Return where the master is at `t_s`. Error: ValueError where there was no stamp."""
        clock, v_s, sigma_s = self._at(t_s)
        here = self._music.steady[self._index]
        # past the end of the stretch the timeline runs on at its speed, which is what the next stretch begins with
        return Heard(here.at_s + (clock - here.clock) * here.gap_s, here.gap_s / v_s, sigma_s)

    def _at(self, t_s: float) -> tuple[float, float, float]:
        """Return clock, seconds a clock and sigma at `t_s`."""
        line, bend = self._line, self._bend_s
        straight_s = t_s - self._bent_s
        fit = line.fit
        if fit is None:
            raise ValueError("no clock has been heard yet")
        for last in (False, True):
            # t = x + (n - n0) v + bent + bend (n + shift - from), solved for n
            off = straight_s - fit.x_s + bend * (self._from - self._shift - fit.n)
            n = fit.n + off / (fit.v_s + bend)
            if not last:
                _, fit = line.now(straight_s - bend * (n + self._shift - self._from))
        return n + self._shift, fit.v_s + bend, line.sigma_s * fit.spread(n - fit.n)
