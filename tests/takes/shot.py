"""Takes made from formulas, with every difference between them known in advance. No code under test is used."""

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from sequencer.rig.axis import Camera
from sequencer.takes.take import Happening, Take
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, Timecode

Floats = NDArray[np.float64]
Move = Callable[[Floats], Floats]  # timeline seconds (T,) to positions (T, A)

CAMERA = Camera(sensor_mm=(24.9, 14.0), pixels=(4096, 2304), focal_mm=35.0, subject_m=4.0)
HOUR_TEN_25 = Timebase(Counting(Rate(25)), Timecode(10, 0, 0, 0))


def swing(at_s: Floats) -> Floats:
    """Pan that swings at up to 60 deg/s, and a slide at up to 300 mm/s."""
    pan = 40 / np.pi * 3 * np.sin(np.pi / 2 * at_s)  # 60 = amplitude * pi/2
    slide = 300 * np.cos(at_s)
    return np.stack([pan, slide], axis=1)


def truly(at_s: Floats) -> Floats:
    """The master that runs exactly as fast as this machine."""
    return at_s


@dataclass(frozen=True, kw_only=True)
class Shot:
    """How one take went. All delays are of what happened, as against what should have.

    `master` gives the timeline position at machine seconds after `origin_ns`; `heard_late_s` how late each of its
    messages was stamped; `late_s` by how much the rig trails the master's truth.
    """

    name: str = "take 1"
    move: Move = swing
    cue_s: tuple[float, float] = (2.0, 6.0)
    preroll_s: float = 2.0
    origin_ns: int = 5_000_000_000_123
    master: Move = truly
    heard_late_s: Callable[[int], Floats] = np.zeros
    late_s: float = 0.0
    clock_ahead_s: float = 0.0
    offset: tuple[float, ...] = (0.0, 0.0)
    answers_s: float = 0.004
    silent_s: tuple[float, float] | None = None
    sights: bool = True
    timebase: Timebase = HOUR_TEN_25
    run: str = "band"
    speed: Fraction = Fraction(1)

    def take(self) -> Take:
        begin, end = self.cue_s[0] - self.preroll_s, self.cue_s[1] + 1.0
        ticks = np.arange(begin - 0.1, end, 0.004)
        answers = np.arange(begin - 0.1, end, self.answers_s)
        if self.silent_s is not None:
            answers = answers[(answers <= self.silent_s[0]) | (answers >= self.silent_s[1])]
        grid = np.arange(begin, end, 0.01)  # quarter frames at 25 fps
        heard = self._when(grid) + self.heard_late_s(len(grid))
        return Take(
            name=self.name,
            project="harbour-lanterns",
            cue="lanterns",
            run=self.run,
            cue_s=self.cue_s,
            timebase=self.timebase,
            axes=("pan", "slide"),
            kinds=("pan", "slide"),
            units=("deg", "mm"),
            camera=CAMERA,
            started="2031-05-04T18:30:00+00:00",
            due_ns=self._stamps(ticks),
            timeline_s=self.master(ticks) + self.clock_ahead_s,
            asked=self.move(self.master(ticks)),
            actual_ns=self._stamps(answers),
            actual=self.move(self.master(answers) - self.late_s) + np.array(self.offset),
            sighted_ns=self._stamps(heard) if self.sights else np.empty(0, dtype=np.int64),
            sighted_s=grid if self.sights else np.empty(0),
            happenings=(Happening(self.origin_ns, "locked", "timecode is running & trusted"),),
            complete=True,
            speed=self.speed,
        )

    def _stamps(self, at_s: Floats) -> NDArray[np.int64]:
        return self.origin_ns + np.round(at_s * 1e9).astype(np.int64)

    def _when(self, position_s: Floats) -> Floats:
        """The machine's seconds at which the master stands at `position_s`, by bisection."""
        low, high = position_s - 100.0, position_s + 100.0
        for _ in range(60):
            middle = (low + high) / 2
            below = self.master(middle) < position_s
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        return (low + high) / 2
