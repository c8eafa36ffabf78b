"""The linear timecode that is given, as libltc reads it: every rate, both ways, at other speeds, and over a jump."""

from itertools import pairwise

import numpy as np
import pytest

from sequencer.sync.giving import LtcGiving
from sequencer.sync.ltc_row import carried
from sequencer.sync.reading import Clock, Lock
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting
from sequencer.wire.ltc_tone import Tone
from sequencer.wire.ltc_word import decode
from tests.libltc import Samples, Theirs, decoder
from tests.sync.master import COUNTINGS, timebase
from tests.sync.receiver import theirs

CARD_HZ = 48_000
BLOCK = 256
TICK_NS = 4_000_000
EVERY = [*COUNTINGS.values(), Counting(Rate(24000, 1001)), Counting(Rate(50)), Counting(Rate(60000, 1001), True)]


def played(counting: Counting, speed: float, seconds: float, jump_s: float = 0.0) -> Samples:
    """Return what leaves the card for a clock that is at 55 s at the first sample, and jumps after half of the time."""
    giving, pieces = LtcGiving(timebase(counting)), []
    tone = Tone(giving.word)
    for first in range(0, int(seconds * CARD_HZ), BLOCK):
        due_ns = round(first / CARD_HZ * 1e9)
        at_ns = due_ns // TICK_NS * TICK_NS
        position_s = 55.0 + speed * at_ns * 1e-9 + (jump_s if at_ns * 1e-9 >= seconds / 2 else 0.0)
        stretch = giving.block(Clock(Lock.LOCKED, at_ns, position_s, speed), due_ns, BLOCK, CARD_HZ)
        assert stretch is not None
        out = np.zeros(BLOCK, np.float32)
        tone.render(stretch.position, stretch.words_hz, CARD_HZ, out)
        pieces.append(out)
    return np.concatenate(pieces)


def read(counting: Counting, samples: Samples, speed: float) -> list[tuple[Theirs, str]]:
    words = carried(counting)
    found = decoder(CARD_HZ, float(words.rate.fraction) * abs(speed))(samples)
    return [(one, str(decode(one.bits, words.rate.nominal)).replace(";", ":")) for one in found]


@pytest.mark.parametrize("counting", EVERY, ids=lambda one: f"{one.rate}{' drop' if one.drop else ''}")
@pytest.mark.parametrize("speed", [1.0, -1.0, 0.96, 1.7])
def test_libltc_reads_every_frame_at_its_instant(counting: Counting, speed: float) -> None:
    words = carried(counting)
    words_hz = float(words.rate.fraction)
    # over the minute at which labels are left out
    found = read(counting, played(counting, speed, 8.0), speed)
    assert len(found) >= 8.0 * words_hz * abs(speed) - 4
    start = words.day * 10 / 24 + 55.0 * words_hz
    steps = []
    for one, label in found:
        assert one.backward == (speed < 0)
        at_s = (one.start if speed > 0 else one.end + 1) / CARD_HZ
        frame = round(start + speed * at_s * words_hz)
        assert label == theirs(words, frame)
        # libltc gives whole samples
        assert start + speed * at_s * words_hz == pytest.approx(frame, abs=0.03)
        steps.append(frame)
    assert all(b - a == (1 if speed > 0 else -1) for a, b in pairwise(steps))


@pytest.mark.parametrize("jump_s", [10.0, -10.0])
def test_libltc_finds_its_way_over_a_jump(jump_s: float) -> None:
    counting = COUNTINGS["25"]
    labels = [label for _, label in read(counting, played(counting, 1.0, 4.0, jump_s), 1.0)]
    start = counting.day * 10 // 24 + 55 * 25
    before = [theirs(counting, start + k) for k in range(49)]
    after = [theirs(counting, start + k + round(jump_s * 25)) for k in range(52, 98)]
    assert labels[: len(before)] == before
    assert [label for label in labels if label in after] == after
    # of the words that the jump cut in two at most one is read for another
    assert len(labels) <= 100
