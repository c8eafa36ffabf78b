"""A master by linear timecode made up for tests and the benchmark: the words that a reader would have heard of it."""

import numpy as np

from sequencer.sync.ltc_row import carried
from sequencer.timebase.rate import RATES, Rate
from sequencer.timebase.timecode import Counting, label
from sequencer.wire.ltc import MARKS, Heard, packed
from sequencer.wire.ltc_word import Word, encode
from tests.sync.master import Sent

ALL = {str(rate): Counting(rate) for rate in RATES.values()} | {
    "30000/1001 drop": Counting(Rate(30000, 1001), drop=True),
    "60000/1001 drop": Counting(Rate(60000, 1001), drop=True),
}
LATE_S = 0.02  # from the end of a word to its arrival: the reader's pieces and the card's blocks


def frame_s(counting: Counting) -> float:
    return float(counting.rate.seconds(1))


def bits(counting: Counting, frame: int) -> bytes:
    """Return the word of a frame from midnight, in the count of linear timecode."""
    at = label(frame, counting)
    return encode(Word(at.hours, at.minutes, at.seconds, at.frames, counting.drop), counting.rate.nominal)


def sent(
    word: bytes,
    marks_s: tuple[float, ...],
    quarter: int,
    *,
    backward: bool = False,
    late_s: float = LATE_S,
    noise: float = 0.0,
) -> Sent:
    """Return a word as it travels. `marks_s` rise, whatever way it ran; `noise` is that of the clock behind them."""
    at_s = marks_s[-1] + late_s
    a, b, c, d, e = (mark * 1e9 for mark in (marks_s[::-1] if backward else marks_s))
    data = packed(Heard(word, backward, (a, b, c, d, e)), round(at_s * 1e9), noise)
    return Sent(at_s, marks_s[0], quarter, data)


def run(
    counting: Counting,
    frame: int,
    seconds: float,
    chance: np.random.Generator,
    *,
    at_s: float = 0.0,
    sigma_s: float = 3e-5,
    speed: float = 1.0,
    backward: bool = False,
) -> list[Sent]:
    """Return whole words of a master that is at the start of `frame` at `at_s`, by the project's `counting`.

    Backward its first word is that of the frame before. `sigma_s` is the jitter of each boundary.
    """
    ltc = carried(counting)
    frame = frame * ltc.rate.nominal // counting.rate.nominal
    word_s = float(ltc.rate.seconds(1)) / speed
    count = round(seconds / word_s)
    edges = at_s + np.arange(4 * count + 1) * (word_s / 4) + sigma_s * chance.standard_normal(4 * count + 1)
    found = []
    for number in range(count):
        marks = tuple(edges[4 * number : 4 * number + MARKS].tolist())
        here = frame - 1 - number if backward else frame + number
        quarter = 4 * (here + backward)
        found.append(sent(bits(ltc, here), marks, quarter, backward=backward))
    return found
