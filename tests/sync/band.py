"""A master made up for tests and the benchmark that plays music: MIDI clocks with start, stop and song position."""

from fractions import Fraction

import numpy as np

from sequencer.timebase.tempo import TempoMap
from sequencer.wire.midi_clock import RealTime
from tests.sync.master import Sent

CLOCK, START, CONTINUE, STOP = (bytes((one,)) for one in RealTime)


def seconds_of(tempo: TempoMap, clock: int) -> float:
    """Return where on the timeline a clock stands: 24 a quarter note (MIDI 1.0)."""
    return float(tempo.seconds(tempo.at_quarter(Fraction(clock, 24))))


def clocks(
    tempo: TempoMap,
    seconds: float,
    chance: np.random.Generator,
    *,
    at_s: float = 0.5,
    clock: int = 0,
    speed: float = 1.0,
    sigma_s: float = 1e-3,
) -> list[Sent]:
    """Return the clocks of a master that plays from `clock` at `at_s` on, at `speed` times the tempo, as they arrive.

    Where `quarter` stands in what is returned, clocks are counted.
    """
    begins = seconds_of(tempo, clock)
    sent, latest = [], 0.0
    while (due := at_s + (seconds_of(tempo, clock) - begins) / speed) < at_s + seconds:
        latest = max(latest, due + sigma_s * float(chance.standard_normal()))
        sent.append(Sent(latest, due, clock, CLOCK))
        clock += 1
    return sent


def said(at_s: float, data: bytes) -> Sent:
    """Return a message that arrives at `at_s`."""
    return Sent(at_s, at_s, 0, data)


def idle(gap_s: float, from_s: float, to_s: float) -> list[Sent]:
    """Return the clocks of a master that stands: they only tell its spacing, and end before `to_s`."""
    count = int((to_s - from_s) / gap_s - 1e-9)
    return [said(to_s - (count - i) * gap_s, CLOCK) for i in range(count)]
