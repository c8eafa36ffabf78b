"""Linear timecode made up for tests and the benchmark: words, sound at any speed, and how well it was read."""

from collections.abc import Callable, Iterable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, label
from sequencer.wire.ltc import Heard
from sequencer.wire.ltc_tone import Tone
from sequencer.wire.ltc_word import Word, encode

Samples = NDArray[np.float32]
Floats = NDArray[np.float64]

RATE_HZ = 48_000
COUNTINGS = {
    "24000/1001": Counting(Rate(24000, 1001)),
    "24": Counting(Rate(24)),
    "25": Counting(Rate(25)),
    "30000/1001": Counting(Rate(30000, 1001)),
    "30000/1001 drop": Counting(Rate(30000, 1001), drop=True),
    "30": Counting(Rate(30)),
}
_USER = (3, 14, 0, 9, 5, 12, 7, 1)
_STEP = 64  # samples over which a speed that changes is taken for constant


def words(how: Counting) -> Callable[[int], bytes]:
    """Return what gives the word of each frame of a day, with user bits that are not all alike."""

    def word(number: int) -> bytes:
        at = label(number, how)
        return encode(Word(at.hours, at.minutes, at.seconds, at.frames, at.drop, user=_USER), how.rate.nominal)

    return word


class Recorded(NamedTuple):
    """Sound, and the position in frames of each sample (and of one more)."""

    samples: Samples
    positions: Floats
    word: Callable[[int], bytes]

    def expected(self) -> dict[bytes, int]:
        """Return the words that are in it from end to end, with the frame of each."""
        first, last = int(np.ceil(self.positions.min())), int(np.floor(self.positions.max()))
        return {self.word(number): number for number in range(first, last)}


def record(
    how: Counting,
    length_s: float,
    speed: float | Callable[[Floats], Floats] = 1.0,
    *,
    rate_hz: float = RATE_HZ,
    start: float = 1_000_000.3,
    level_db: float = -6.0,
) -> Recorded:
    """Make sound whose speed is constant, or a function of the seconds since its beginning."""
    number = round(length_s * rate_hz)
    fps = float(how.rate.fraction)
    speeds = speed(np.arange(number) / rate_hz) if callable(speed) else np.full(number, speed)
    positions = start + np.concatenate(([0.0], np.cumsum(speeds))) * fps / rate_hz
    samples, word = np.zeros(number, np.float32), words(how)
    tone = Tone(word, level_db=level_db)
    step = _STEP if callable(speed) else 4096
    for at in range(0, number, step):
        end = min(at + step, number)
        tone.render(positions[at], (positions[end] - positions[at]) / (end - at) * rate_hz, rate_hz, samples[at:end])
    return Recorded(samples, positions, word)


def noisy(samples: Samples, snr_db: float, chance: np.random.Generator) -> Samples:
    """Add white noise over the whole band, `snr_db` below the signal's own power."""
    sigma = np.sqrt(np.mean(np.square(samples))) * 10 ** (-snr_db / 20)
    return np.asarray(samples + sigma * chance.standard_normal(len(samples)), np.float32)


class Score(NamedTuple):
    """How well a recording was read: parts of the whole words, words that were not there, and errors of marks.

    Shape: `errors_s` (marks,).
    """

    right: float
    wrong: int
    errors_s: Floats


def score(heard: Iterable[Heard], sound: Recorded, rate_hz: float = RATE_HZ) -> Score:
    """Compare what was heard with what was there; a word in the wrong place or direction counts as wrong."""
    expected = sound.expected()
    around = {
        sound.word(number): number for number in (min(expected.values()) - 1, max(expected.values()) + 1)
    } | expected
    times = np.arange(len(sound.positions), dtype=np.float64)
    falls = sound.positions[-1] < sound.positions[0]
    rising = (sound.positions[::-1].copy(), times[::-1].copy()) if falls else (sound.positions, times)
    right, wrong, errors = set(), 0, []
    for one in heard:
        number = around.get(one.bits)
        if number is None or one.backward != falls:
            wrong += 1
            continue
        true = np.interp([number + part / 4 for part in range(5)], *rising)
        off = np.array(one.marks) - true
        if np.abs(off).max() > abs(true[-1] - true[0]) / 4:
            wrong += 1
            continue
        right.add(number)
        errors += off.tolist()
    found = len(right & set(expected.values()))
    return Score(found / len(expected), wrong, np.array(errors) / rate_hz)
