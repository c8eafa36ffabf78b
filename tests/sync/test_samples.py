"""The clock of a sound card from jittered stamps of its blocks, against when each sample truly was."""

from math import sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.sync.samples import SampleClock

BEGIN_NS = 3_600_000_000_000
MS = 1e-3


def stamps(
    blocks: int, seed: int, *, rate_hz: float = 48_000, block: int = 256, sigma_s: float = 0.3 * MS, ppm: float = 0.0
) -> list[int]:
    """Return what a system says of when each block came: jitter, and two stalls of 5 ms a second."""
    chance = np.random.default_rng(seed)
    due = np.arange(blocks) * block / rate_hz / (1 + ppm * 1e-6)
    late = np.where(chance.random(blocks) < 2 * block / rate_hz, 5 * MS, 0.0)
    arrived = np.maximum.accumulate(due + sigma_s * chance.standard_normal(blocks) + late)
    return [BEGIN_NS + round(at_s * 1e9) for at_s in arrived.tolist()]


def fed(clock: SampleClock, stamped: list[int], block: int = 256, first: int = 0) -> SampleClock:
    for number, stamp_ns in enumerate(stamped):
        clock.feed(first + number * block, stamp_ns)
    return clock


def bound(count: int) -> float:
    """Return the standard deviation of a line through `count` stamps, half a tick past the newest, in jitters.

    Source: Cramér-Rao bound of a line; Kay, Fundamentals of Statistical Signal Processing: Estimation Theory, section 3
    (from memory).
    """
    return sqrt(1 / count + (count / 2) ** 2 * 12 / (count * (count * count - 1)))


def off_s(clock: SampleClock, sample: float, rate_hz: float = 48_000) -> float:
    return (clock.at_ns(sample) - BEGIN_NS) * 1e-9 - sample / rate_hz


@pytest.mark.parametrize(("rate_hz", "block"), [(48_000, 256), (44_100, 512), (96_000, 64), (48_000, 1024)])
@pytest.mark.parametrize("ppm", [-100.0, 0.0, 100.0])
def test_late_and_missing_stamps_are_averaged_nearly_to_the_bound(rate_hz: float, block: int, ppm: float) -> None:
    tick_s = max(block / rate_hz, 5.33 * MS)
    # after eight seconds; two runs know their RMS to a third or so
    limit_s = 1.3 * 1.4 * 0.3 * MS * bound(min(1024, round(8 / tick_s)))
    errors, speeds = [], []
    true_hz = rate_hz * (1 + ppm * 1e-6)
    for seed in range(2):
        clock = SampleClock(rate_hz, block)
        blocks = round(11 * rate_hz / block)
        kept = np.random.default_rng(seed + 50).random(blocks) > 0.01
        for number, stamp_ns in enumerate(stamps(blocks, seed, rate_hz=rate_hz, block=block, ppm=ppm)):
            if kept[number]:
                clock.feed(number * block, stamp_ns)
                if number * block > 8 * rate_hz:
                    errors.append(off_s(clock, (number + 0.5) * block, true_hz))
        speeds.append(clock.speed)
        assert clock.jumps == 0
    assert np.sqrt(np.mean(np.square(errors))) < limit_s
    assert np.quantile(np.abs(errors), 0.99) < 3 * limit_s
    assert np.mean(speeds) == pytest.approx(1 + ppm * 1e-6, abs=1e-4)


def test_error_over_uncertainty_is_near_one_now_and_no_more_later() -> None:
    now: list[float] = []
    later: list[float] = []
    for seed in range(12):
        clock = fed(SampleClock(48_000, 256), stamps(1500, seed, ppm=40))
        for ahead in (0, 256, 48_000, 480_000):
            sample = 1499 * 256 + ahead
            ratio = off_s(clock, sample, 48_000 * 1.00004) / clock.sigma_s(sample)
            (now if ahead < 48_000 else later).append(ratio)
    # twelve clocks know this to some 20 %, and late stamps make the jitter look larger
    assert 0.6 < np.sqrt(np.mean(np.square(now))) < 1.3
    # that the card keeps its speed is not taken for granted
    assert np.sqrt(np.mean(np.square(later))) < 1.3
    # one stamp in 5.33 ms, with a jitter of 0.3 ms and late ones
    assert clock.noise == pytest.approx(0.3 * MS * sqrt(256 / 48_000), rel=0.5)


@settings(max_examples=60, deadline=None)
@given(
    rate_hz=st.sampled_from([32_000, 44_100, 48_000, 96_000]),
    block=st.integers(16, 4096),
    seed=st.integers(0, 1000),
    blocks=st.integers(1, 60),
    sample=st.floats(-1e6, 1e7),
)
def test_instant_and_sample_are_each_others_inverse(
    rate_hz: int, block: int, seed: int, blocks: int, sample: float
) -> None:
    clock = fed(SampleClock(rate_hz, block), stamps(blocks, seed, rate_hz=rate_hz, block=block), block)
    assert clock.sample(clock.at_ns(sample)) == pytest.approx(sample, abs=2e-3)


def test_blocks_of_any_length_tell_the_same_clock() -> None:
    chance = np.random.default_rng(3)
    clock = SampleClock(48_000, 256)
    first = 0
    for length in chance.integers(20, 700, 2000).tolist():
        stamp_s = first / 48_000 + 0.3 * MS * float(chance.standard_normal())
        clock.feed(first, BEGIN_NS + round(stamp_s * 1e9), length)
        first += length
    assert off_s(clock, first) == pytest.approx(0, abs=0.1 * MS)
    assert (clock.jumps, clock.lost, clock.troubles()) == (0, 0, ())


def test_one_late_block_of_a_tick_is_left_out_at_once() -> None:
    # of four short blocks in a tick, the second is always 3 ms late
    clock = SampleClock(48_000, 64)
    for number in range(4 * 400):
        late_s = 3 * MS if number % 4 == 1 else 0.0
        clock.feed(number * 64, BEGIN_NS + round((number * 64 / 48_000 + late_s) * 1e9))
    assert off_s(clock, 4 * 400 * 64) == pytest.approx(0, abs=0.01 * MS)


def test_first_stamps_that_are_wrong_are_forgotten_without_a_word() -> None:
    stamped = [stamp_ns + (20_000_000 if number < 5 else 0) for number, stamp_ns in enumerate(stamps(400, 11))]
    clock = fed(SampleClock(48_000, 256), stamped)
    assert off_s(clock, 400 * 256) == pytest.approx(0, abs=0.3 * MS)
    assert (clock.jumps, clock.troubles()) == (0, ())


def test_lost_blocks_are_a_hole_in_the_numbers_and_no_jump() -> None:
    stamped = stamps(1500, 5)
    clock = fed(SampleClock(48_000, 256), stamped[:1000])
    for number in range(1040, 1500):
        clock.feed(number * 256, stamped[number])
        assert off_s(clock, number * 256) == pytest.approx(0, abs=0.2 * MS)
    assert (clock.jumps, clock.lost) == (0, 40 * 256)
    assert clock.troubles() == ("the sound card loses sound; give it longer blocks, or the machine less to do",)


@pytest.mark.parametrize(("gap_s", "words"), [(0.05, "stood still for 50 ms"), (-0.05, "leapt over 50 ms")])
def test_a_jump_of_time_or_numbers_is_followed_within_four_blocks_and_told(gap_s: float, words: str) -> None:
    before, after = stamps(1000, 6, sigma_s=0.1 * MS), stamps(1400, 7, sigma_s=0.1 * MS)
    # a leap of the numbers is time that is missing: the card counts what it never gave
    skip = 0 if gap_s > 0 else round(-gap_s * 48_000 / 256)
    shift_s = gap_s if gap_s > 0 else -skip * 256 / 48_000
    clock = fed(SampleClock(48_000, 256), before)
    begun = 1000 + skip
    for number in range(begun, 1400):
        clock.feed(number * 256, after[number] + round(shift_s * 1e9))
        if number > begun + 8:
            assert off_s(clock, number * 256) == pytest.approx(shift_s, abs=0.5 * MS)
    assert clock.jumps == 1
    told = clock.troubles()
    assert told[-1].startswith(f"the sound card {words}" if gap_s > 0 else "the sound card leapt over 4")
    assert told[-1].endswith("give it longer blocks, or the machine less to do")


def test_numbers_that_begin_again_begin_a_new_clock() -> None:
    clock = fed(SampleClock(48_000, 256), stamps(500, 8))
    again = [stamp_ns + 10_000_000_000 for stamp_ns in stamps(500, 9)]
    fed(clock, again)
    assert off_s(clock, 499 * 256) == pytest.approx(10, abs=0.3 * MS)
    assert clock.jumps == 1
    assert clock.troubles()[0].startswith("the sound card began to count its samples again")


def test_nothing_is_known_before_the_first_block() -> None:
    clock = SampleClock(48_000, 256)
    for ask in (lambda: clock.at_ns(0), lambda: clock.sample(0), lambda: clock.sigma_s(0)):
        with pytest.raises(ValueError, match="no block"):
            ask()
    clock.feed(256, BEGIN_NS)
    assert clock.at_ns(256 + 48_000) == BEGIN_NS + 1_000_000_000


@pytest.mark.parametrize(("rate_hz", "block"), [(0, 256), (float("nan"), 256), (48_000, 0)])
def test_a_card_without_a_rate_or_blocks_is_refused(rate_hz: float, block: int) -> None:
    with pytest.raises(ValueError, match="samples"):
        SampleClock(rate_hz, block)
