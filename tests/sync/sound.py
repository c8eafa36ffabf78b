"""A master by linear timecode made up as sound, and all that hears it: tone, noise, card, reader, sample clock."""

from collections.abc import Callable

import numpy as np

from sequencer.sync.ltc_row import carried
from sequencer.sync.samples import SampleClock
from sequencer.timebase.timecode import Counting
from sequencer.wire.ltc import Heard, packed
from sequencer.wire.ltc_reader import LtcReader
from sequencer.wire.ltc_tone import Tone
from tests.sync.master import Sent
from tests.sync.words import bits

CARD_HZ, BLOCK = 48_000, 256
_LATE_S, _LATE = 5e-3, 0.01

# seconds to frames of linear timecode from midnight, and frames a second
Motion = Callable[[float], tuple[float, float]]


def steady(counting: Counting, frame: int, speed: float = 1.0) -> Motion:
    """Return the motion of a master that is at `frame` (of linear timecode) at the beginning."""
    frames_hz = speed * float(carried(counting).rate.fraction)
    return lambda t_s: (frame + frames_hz * t_s, frames_hz)


def heard(
    counting: Counting,
    motion: Motion,
    seconds: float,
    chance: np.random.Generator,
    *,
    snr_db: float = 20.0,
    jitter_s: float = 3e-4,
) -> list[Sent]:
    """Return the words that arrive from a master through a card up to 100 ppm off, whose callbacks jitter.

    One callback in a hundred is 5 ms late. The noise is white over the whole band.
    """
    ltc = carried(counting)
    tone = Tone(lambda number: bits(ltc, number))
    true_hz = CARD_HZ * (1 + float(chance.uniform(-1e-4, 1e-4)))
    reader, clock = LtcReader(CARD_HZ), SampleClock(CARD_HZ, BLOCK)
    samples = np.zeros(BLOCK, np.float32)
    noise = 0.5 * 10 ** (-snr_db / 20)
    found: list[Sent] = []
    latest_s = 0.0
    for number in range(round(seconds * true_hz / BLOCK)):
        due_s = number * BLOCK / true_hz
        position, frames_hz = motion(due_s)
        tone.render(position, frames_hz, true_hz, samples)
        samples += (noise * chance.standard_normal(BLOCK)).astype(np.float32)
        late_s = _LATE_S if chance.random() < _LATE else 0.0
        stamp_s = due_s + jitter_s * float(chance.standard_normal()) + late_s
        clock.feed(number * BLOCK, round(stamp_s * 1e9))
        latest_s = max(latest_s, stamp_s + BLOCK / true_hz)
        for word in reader.feed(samples):
            a, b, c, d, e = (float(clock.at_ns(mark)) for mark in word.marks)
            there = Heard(word.bits, word.backward, (a, b, c, d, e))
            data = packed(there, round(latest_s * 1e9), clock.noise)
            found.append(Sent(latest_s, word.marks[0] / true_hz, 0, data))
    return found
