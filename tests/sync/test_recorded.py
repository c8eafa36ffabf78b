"""What words in a recording make together: stretches, and the frame at any sample, either way and over midnight."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.sync.recorded import frame_at, frames, late, runs
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, label
from sequencer.wire.ltc import Heard
from sequencer.wire.ltc_word import Word, encode

RATE_25 = Counting(Rate(25))
DROP = Counting(Rate(30000, 1001), True)
RATE_HZ = 48_000
BEGIN = 1000.0  # sample


def heard(
    counting: Counting, numbers: list[int], *, backward: bool = False, speed: float = 1.0, begin: float = BEGIN
) -> list[Heard]:
    """Return words as a reader finds them, one behind the other from a sample on."""
    length = RATE_HZ / float(counting.rate.fraction) / speed
    found = []
    for place, number in enumerate(numbers):
        at = label(number, counting)
        word = Word(at.hours, at.minutes, at.seconds, at.frames, drop=counting.drop)
        zero, one, two, three, four = (begin + (place + k / 4) * length for k in range(5))
        marks = (four, three, two, one, zero) if backward else (zero, one, two, three, four)
        found.append(Heard(encode(word, counting.rate.nominal), backward, marks))
    return found


@pytest.mark.parametrize("counting", [RATE_25, DROP], ids=["25", "30 drop"])
@pytest.mark.parametrize("backward", [False, True])
def test_midnight_is_no_break(counting: Counting, backward: bool) -> None:
    numbers = list(range(counting.day - 10, counting.day + 10))
    found = frames(heard(counting, numbers[::-1] if backward else numbers, backward=backward), counting)
    (one,) = runs(found, counting, RATE_HZ)
    ends = str(label(counting.day - 10, counting)), str(label(9, counting))
    assert (str(one.first), str(one.last)) == (ends[::-1] if backward else ends)
    assert (one.frames, one.reverse, one.begins) == (20, backward, BEGIN)
    assert one.speed == pytest.approx(1.0)


def test_a_jump_a_turn_and_a_hole_are_breaks() -> None:
    words = heard(RATE_25, [100, 101, 102, 200, 201, 202])
    words += heard(RATE_25, [203, 204], begin=BEGIN + 8 * 1920)
    words += heard(RATE_25, [204, 203], begin=BEGIN + 10 * 1920, backward=True)
    found = runs(frames(words, RATE_25), RATE_25, RATE_HZ)
    assert [(str(one.first), one.frames, one.reverse) for one in found] == [
        ("00:00:04:00", 3, False),
        ("00:00:08:00", 3, False),
        ("00:00:08:03", 2, False),
        ("00:00:08:04", 2, True),
    ]


def test_a_word_of_another_way_of_counting_is_left_out() -> None:
    words = heard(RATE_25, [100, 101])
    words.append(Heard(encode(Word(0, 0, 4, 2, drop=True), 30), False, words[-1].marks))
    words.append(Heard(encode(Word(0, 0, 4, 27), 30), False, words[-1].marks))
    assert [one.number for one in frames(words, RATE_25)] == [100, 101]


@given(st.floats(0, 19.999), st.booleans(), st.floats(0.5, 2.0))
def test_the_frame_at_a_sample(passed: float, backward: bool, speed: float) -> None:
    numbers = list(range(500, 520))
    found = frames(heard(RATE_25, numbers[::-1] if backward else numbers, backward=backward, speed=speed), RATE_25)
    at = frame_at(found, BEGIN + passed * RATE_HZ / 25 / speed)
    assert at is not None
    assert float(at) == pytest.approx(520 - passed if backward else 500 + passed, abs=0.0011)


def test_beside_the_timecode_there_is_no_frame() -> None:
    found = frames(heard(RATE_25, [500, 501]), RATE_25)
    assert frame_at(found, BEGIN - 1000) is None
    assert frame_at(found, BEGIN + 2 * 1920 + 1000) is None
    # the edge of a word may be a little off
    assert float(frame_at(found, BEGIN - 192) or 0) == pytest.approx(499.9)
    assert frame_at([], 0.0) is None


def test_late_is_the_short_way_over_midnight() -> None:
    assert late(Fraction(2), Fraction(RATE_25.day - 1), RATE_25) == 3
    assert late(Fraction(RATE_25.day - 1), Fraction(2), RATE_25) == -3
    assert late(Fraction(1005, 10), Fraction(100), RATE_25) == Fraction(1, 2)
