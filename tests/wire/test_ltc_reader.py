"""Linear timecode out of sound: an independent encoder's, at all speeds, either way, through what cables do to it."""

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.wire.ltc import Heard
from sequencer.wire.ltc_reader import LtcReader
from sequencer.wire.ltc_word import even
from tests import libltc
from tests.wire.ltc_sound import COUNTINGS, RATE_HZ, Floats, Samples, noisy, record, score, words

HOW = COUNTINGS["30"]
SOUND = record(HOW, 3.0)


def read(samples: Samples, rate_hz: float = RATE_HZ, block: int = 256) -> list[Heard]:
    """Return what is read of samples that come in blocks, with some silence behind them."""
    reader, samples = LtcReader(rate_hz), np.concatenate((samples, np.zeros(round(rate_hz / 25), np.float32)))
    heard = [one for at in range(0, len(samples), block) for one in reader.feed(samples[at : at + block])]
    for one, two in pairwise(heard):
        assert two.marks[2] - one.marks[2] > abs(one.marks[4] - one.marks[0]) / 2  # none comes twice
    return heard


@pytest.mark.parametrize("rate", COUNTINGS)
@pytest.mark.parametrize("speed", [1.0, -1.0, 0.5, 2.0])
def test_words_of_an_independent_encoder_are_read(rate: str, speed: float) -> None:
    how = COUNTINGS[rate]
    sent = [words(how)(number) for number in range(how.rate.nominal * 60 - 5, how.rate.nominal * 60 + 10)]
    sent = sent if speed > 0 else sent[::-1]
    fps = float(how.rate.fraction)
    sound = libltc.encode(sent, how.rate.nominal, fps, RATE_HZ, speed=speed)
    heard = read(sound)
    read_words = [one.bits for one in heard]
    assert len(read_words) >= len(sent) - 3  # the speed has to be found, and the last word ends with no edge
    assert read_words == sent[sent.index(read_words[0]) :][: len(read_words)]
    assert {one.backward for one in heard} == {speed < 0}
    length = RATE_HZ / fps / abs(speed)
    for one in heard:
        assert one.marks[4] - one.marks[0] == pytest.approx(length if speed > 0 else -length, abs=1)
    for one, two in pairwise(heard):
        assert (two.marks[4] - one.marks[0] if speed < 0 else two.marks[0] - one.marks[4]) == pytest.approx(0, abs=1)


@pytest.mark.parametrize("rate_hz", [16_000, 44_100, 48_000, 96_000])
@pytest.mark.parametrize("speed", [0.5, 1.0, 2.0, -0.5, -2.0])
def test_marks_are_true_at_any_speed_and_sample_rate(speed: float, rate_hz: int) -> None:
    sound = record(COUNTINGS["25"], 0.8, speed, rate_hz=rate_hz)
    result = score(read(sound.samples, rate_hz), sound, rate_hz)
    assert result.right == 1.0 or rate_hz == 16_000  # where a half bit is hardly more than a sample
    assert (result.right > 0.95, result.wrong) == (True, 0)
    assert abs(np.mean(result.errors_s)) < 1e-5
    assert np.abs(result.errors_s).max() < 2e-5


@given(st.lists(st.integers(0, 3000), max_size=40))
@settings(max_examples=20)
def test_words_are_the_same_however_the_samples_are_split(lengths: list[int]) -> None:
    whole = LtcReader(RATE_HZ).feed(SOUND.samples[:48_000])
    reader, at, heard = LtcReader(RATE_HZ), 0, []
    for length in [*lengths, RATE_HZ]:
        heard += reader.feed(SOUND.samples[at : min(at + length, 48_000)])
        at += length
    assert heard == whole
    assert len(whole) >= 27


def bent(change: Callable[[Samples, Floats], Samples]) -> Samples:
    return change(SOUND.samples, np.arange(len(SOUND.samples)) / RATE_HZ).astype(np.float32)


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("inverted", lambda samples, t: -samples),
        ("30 dB down", lambda samples, t: samples * 10 ** (-30 / 20)),
        ("offset", lambda samples, t: samples + 0.15),
        ("hum", lambda samples, t: samples + 0.25 * np.sin(100 * np.pi * t)),
        ("clipped", lambda samples, t: np.clip(8 * samples, -1, 1)),
        ("fading", lambda samples, t: samples * 10 ** (-0.5 * t)),
        ("10 dB over noise", lambda samples, t: noisy(samples, 10, np.random.default_rng(1))),
        ("6 dB over noise", lambda samples, t: noisy(samples, 6, np.random.default_rng(2))),
    ],
)
def test_no_word_is_missed_through(name: str, change: Callable[[Samples, Floats], Samples]) -> None:
    result = score(read(bent(change)), SOUND)
    assert (result.right, result.wrong) == (1.0, 0), name


def test_noise_as_loud_as_the_words_makes_no_wrong_one() -> None:
    for snr_db, least in ((3, 0.95), (0, 0.6)):
        result = score(read(noisy(SOUND.samples, snr_db, np.random.default_rng(snr_db + 10))), SOUND)
        assert result.right >= least
        assert result.wrong == 0


@pytest.mark.parametrize(
    "speed",
    [
        lambda t: 1 + 0.04 * np.sin(2 * np.pi * 4 * t),  # wow
        lambda t: 0.5 + t / 3,
        lambda t: 1.5 - t / 3,
    ],
)
def test_no_word_is_missed_while_the_speed_changes(speed: Callable[[Floats], Floats]) -> None:
    sound = record(HOW, 3.0, speed)
    result = score(read(sound.samples), sound)
    assert (result.right, result.wrong) == (1.0, 0)
    assert np.abs(result.errors_s).max() < 5e-5


def test_words_are_found_again_after_a_hole_a_splice_and_a_turn() -> None:
    hole = SOUND.samples.copy()
    hole[30_000:30_480] = 0
    assert score(read(hole), SOUND).right >= 1 - 1 / 89
    twice = record(HOW, 1.0, 2.0)
    heard = read(np.concatenate((SOUND.samples[:RATE_HZ], twice.samples, SOUND.samples[:RATE_HZ][::-1])))
    spans = [sorted((one.marks[0], one.marks[-1])) for one in heard]
    for begin, end in ((0, 1), (1, 2), (2, 3)):
        there = [
            one
            for one, (first, last) in zip(heard, spans, strict=True)
            if first > begin * RATE_HZ - 9 and last < end * RATE_HZ + 9
        ]
        assert len(there) >= (57 if begin == 1 else 27)
        assert {one.backward for one in there} == {begin == 2}


def test_a_word_with_a_wrong_bit_is_left_out_and_counted() -> None:
    word = words(HOW)
    sent = [word(number) for number in range(30)]
    sent[12] = (int.from_bytes(sent[12], "little") ^ 1 << 36).to_bytes(10, "little")
    reader = LtcReader(RATE_HZ)
    heard = {one.bits for one in reader.feed(libltc.encode(sent, 30, 30, RATE_HZ))}
    assert heard >= set(sent[1:12] + sent[13:29])
    assert sent[12] not in heard
    assert reader.counts.uneven == 1


def test_a_generator_that_sets_no_polarity_bit_is_read_by_what_follows() -> None:
    word = words(HOW)
    sent = [(int.from_bytes(word(number), "little") & ~(1 << 27)).to_bytes(10, "little") for number in range(29)]
    heard = [one.bits for one in LtcReader(RATE_HZ).feed(libltc.encode(sent, 30, 30, RATE_HZ))]
    assert heard == sent[sent.index(heard[0]) : -1]
    assert len(heard) >= 25


def test_words_without_a_polarity_bit_that_do_not_follow_are_left_out() -> None:
    word = words(HOW)
    sent = [(int.from_bytes(word(number), "little") & ~(1 << 27)).to_bytes(10, "little") for number in range(0, 29, 2)]
    heard = [one.bits for one in LtcReader(RATE_HZ).feed(libltc.encode(sent, 30, 30, RATE_HZ))]
    assert all(even(one) for one in heard)


def test_timecode_that_only_strays_in_from_another_channel_is_not_read() -> None:
    assert read(SOUND.samples * np.float32(10 ** (-70 / 20))) == []


def test_numbers_that_are_none_are_left_out_and_counted() -> None:
    sent = [words(HOW)(number) for number in range(20)]
    sent[10] = (int.from_bytes(sent[10], "little") | 3 << 25).to_bytes(10, "little")  # 60 seconds, an even change
    reader = LtcReader(RATE_HZ)
    assert sent[10] not in {one.bits for one in reader.feed(libltc.encode(sent, 30, 30, RATE_HZ))}
    assert reader.counts.misread == 1


@pytest.mark.parametrize(
    "samples",
    [
        np.zeros(RATE_HZ, np.float32),
        0.3 + np.zeros(RATE_HZ, np.float32),
        0.1 * np.random.default_rng(3).standard_normal(2 * RATE_HZ).astype(np.float32),
    ],
    ids=["silence", "offset", "noise"],
)
def test_no_word_is_read_in_what_is_none_and_the_next_ones_are(samples: Samples) -> None:
    reader = LtcReader(RATE_HZ)
    assert reader.feed(samples) == []
    assert len(reader.feed(SOUND.samples[:RATE_HZ])) >= 26


def test_samples_that_are_no_numbers_spoil_only_the_words_they_are_in() -> None:
    spoilt = SOUND.samples.copy()
    spoilt[50_000] = np.nan
    spoilt[100_000] = np.inf
    assert score(read(spoilt), SOUND).right >= 1 - 4 / 89


def test_too_few_samples_a_second_are_refused() -> None:
    with pytest.raises(ValueError, match="16000 samples a second or more, not 8000"):
        LtcReader(8000)
