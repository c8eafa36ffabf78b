"""A master of timecode in simulated time: the bytes that it sends, with the instants at which they arrive."""

from dataclasses import dataclass
from fractions import Fraction
from itertools import takewhile

import numpy as np

from sequencer.sync.address import running, standing
from sequencer.timebase.timecode import Timebase, count


@dataclass(frozen=True, slots=True, kw_only=True)
class Master:
    """Sends quarter frames whose arrival is late by normal noise of `jitter_s`, seeded; FIFO, as wires are."""

    timebase: Timebase
    jitter_s: float = 0.0003
    seed: int = 1

    def run(
        self,
        at_ns: int,
        from_s: float,
        seconds: float,
        *,
        backward: bool = False,
        speed: float = 1.0,
        timebase: Timebase | None = None,
    ) -> list[tuple[int, bytes]]:
        """Return the bytes of a run that begins at `at_ns` with the frame at `from_s` on the timeline."""
        base = timebase or self.timebase
        first = round(
            count(base.start, base.counting) + base.rate.frames(Fraction(from_s).limit_denominator(1_000_000))
        )
        gap_s = float(base.rate.seconds(Fraction(1, 4))) / speed
        noise = np.random.default_rng(self.seed)
        arrivals: list[tuple[int, bytes]] = []
        for number, (_, data) in enumerate(running(base.counting, first, backward=backward)):
            sent_s = number * gap_s
            if sent_s > seconds:
                break
            late_s = abs(float(noise.normal(0.0, self.jitter_s)))
            stamp_ns = at_ns + round((sent_s + late_s) * 1e9)
            arrivals.append((max(stamp_ns, arrivals[-1][0] if arrivals else 0), data))
        return arrivals

    def locate(self, at_ns: int, to_s: float) -> list[tuple[int, bytes]]:
        """Return the full frame that says: the master stands at `to_s`."""
        base = self.timebase
        frame = round(count(base.start, base.counting) + base.rate.frames(Fraction(to_s).limit_denominator(1_000_000)))
        return [(at_ns, standing(base.counting, frame))]


def before(arrivals: list[tuple[int, bytes]], at_ns: int) -> list[tuple[int, bytes]]:
    """Return what arrives before `at_ns`."""
    return list(takewhile(lambda one: one[0] < at_ns, arrivals))


def after(arrivals: list[tuple[int, bytes]], at_ns: int) -> list[tuple[int, bytes]]:
    """Return what arrives from `at_ns` on."""
    return arrivals[len(before(arrivals, at_ns)) :]
