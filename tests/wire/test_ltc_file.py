"""Linear timecode in whole recordings: words, places without any, and what rate and oddities the words show."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.wire.ltc import Heard
from sequencer.wire.ltc_file import read
from sequencer.wire.ltc_rate import Shown, shown
from sequencer.wire.ltc_word import Word, decode, encode
from tests.wire.ltc_sound import COUNTINGS, RATE_HZ, Samples, noisy, record, score

SOUND = record(COUNTINGS["25"], 4.0)


def heard_in(*pieces: Samples) -> tuple[Heard, ...]:
    return read([np.concatenate(pieces)], RATE_HZ).heard


def what(heard: tuple[Heard, ...]) -> Shown:
    found = shown(heard, RATE_HZ)
    assert found is not None
    return found


def made(labels: list[Word], nominal: int = 25) -> tuple[Heard, ...]:
    """Return words one after the other, with no sound behind them."""
    length = RATE_HZ / nominal
    return tuple(
        Heard(encode(word, nominal), False, tuple(length * (at + part / 4) for part in range(5)))  # type: ignore[arg-type]  # five of them
        for at, word in enumerate(labels)
    )


def test_every_word_of_a_clean_recording_is_read_and_nothing_is_wrong() -> None:
    recording = read([SOUND.samples], RATE_HZ)
    assert score(recording.heard, SOUND)[:2] == (1.0, 0)
    assert recording.places == ()
    assert recording.samples == len(SOUND.samples)


@given(st.lists(st.integers(0, 60_000), max_size=6))
@settings(max_examples=10)
def test_a_recording_may_come_in_pieces(cuts: list[int]) -> None:
    cuts = sorted(cuts)
    assert read(np.split(SOUND.samples[:60_000], cuts), RATE_HZ) == read([SOUND.samples[:60_000]], RATE_HZ)


def test_noise_takes_few_words_and_makes_none() -> None:
    result = score(read([noisy(SOUND.samples, 3, np.random.default_rng(4))], RATE_HZ).heard, SOUND)
    assert result.right >= 0.95
    assert result.wrong == 0


def test_places_without_words_are_named() -> None:
    silence = np.zeros(RATE_HZ, np.float32)
    noise = 0.1 * np.random.default_rng(5).standard_normal(2 * RATE_HZ).astype(np.float32)
    recording = read([silence, SOUND.samples, noise, SOUND.samples, silence], RATE_HZ)
    assert [place.kind for place in recording.places] == ["silent", "unread", "silent"]
    for place, begin, end in zip(recording.places, (0, 5, 11), (1, 7, 12), strict=True):
        assert place.first == pytest.approx(begin * RATE_HZ, abs=2000)
        assert place.last == pytest.approx(end * RATE_HZ, abs=2000)
        assert f"{(place.last - place.first) / RATE_HZ:.2f} s" in place.words


def test_a_recording_without_a_word_is_one_place() -> None:
    (silent,) = read([np.zeros(RATE_HZ, np.float32)], RATE_HZ).places
    assert (silent.kind, silent.first, silent.last) == ("silent", 0, RATE_HZ)
    assert shown((), RATE_HZ) is None
    assert read([], RATE_HZ).heard == ()


def test_clipping_is_named_by_place() -> None:
    loud = SOUND.samples.copy()
    loud[60_000:62_400] = np.where(loud[60_000:62_400] > 0, 1, -1)
    loud[120_000:120_010] = 1.0
    first, second = (place for place in read([loud], RATE_HZ).places if place.kind == "clipped")
    assert first.words == "2400 samples at full scale: it was recorded too loud"
    assert (first.first, first.last) == (60_000, 62_400)
    assert second.first <= 120_000 < second.last


@pytest.mark.parametrize("rate", COUNTINGS)
@pytest.mark.parametrize("speed", [1.0, -1.0])
def test_the_rate_is_found(rate: str, speed: float) -> None:
    how = COUNTINGS[rate]
    found = what(read([record(how, 1.2, speed).samples], RATE_HZ).heard)
    assert (found.rate, found.nominal, found.drop, found.sure) == (str(how.rate), how.rate.nominal, how.drop, True)
    assert found.speed == pytest.approx(1, abs=2e-5)
    assert Fraction(found.rate) == how.rate.fraction
    assert found.odd == ()


def test_the_speed_is_measured_against_the_samples() -> None:
    found = what(read([record(COUNTINGS["25"], 1.2, 1.04).samples], RATE_HZ).heard)
    assert found.rate == "25"
    assert found.speed == pytest.approx(1.04, abs=2e-5)
    assert found.words_hz == pytest.approx(26, abs=1e-3)


def test_nobody_pulls_25_down_by_a_thousandth() -> None:
    found = what(read([record(COUNTINGS["25"], 1.2, 1000 / 1001).samples], RATE_HZ).heard)
    assert found.rate == "25"
    assert found.speed == pytest.approx(1000 / 1001, abs=2e-5)


def test_less_than_a_second_shows_the_rate_by_its_length_only() -> None:
    for rate in ("24", "25", "30"):
        found = what(read([record(COUNTINGS[rate], 0.4, start=1.3).samples], RATE_HZ).heard)
        assert (found.rate, found.sure) == (rate, False)


def test_what_is_odd_in_the_labels_is_named_by_place() -> None:
    labels = [Word(1, 0, 0, frame) for frame in (3, 4, 5, 5, 6, 20, 21)]
    found = what(made(labels))
    length = RATE_HZ / 25
    assert [(place.kind, place.words, place.first, place.last) for place in found.odd] == [
        ("repeat", "01:00:00:05 comes again", 3 * length, 4 * length),
        ("jump", "jumps from 01:00:00:06 to 01:00:00:20", 5 * length, 5 * length),
    ]


def test_missing_words_are_a_gap_and_not_a_jump() -> None:
    labels = made([Word(23, 59, 59, frame) for frame in range(20, 25)] + [Word(0, 0, 0, frame) for frame in range(5)])
    assert what(labels).odd == ()
    (gap,) = what(labels[:4] + labels[6:]).odd
    assert (gap.kind, gap.words) == ("gap", "2 words missing between 23:59:59:23 and 00:00:00:01")


def test_a_turn_is_named() -> None:
    heard = heard_in(SOUND.samples, SOUND.samples[::-1])
    (turn,) = what(heard).odd
    assert turn.kind == "turn"
    assert turn.first <= len(SOUND.samples) <= turn.last


def test_labels_that_drop_frame_counting_leaves_out_are_named() -> None:
    dropped = made([Word(0, 0, 59, 29, drop=True), Word(0, 1, 0, 2, drop=True), Word(0, 1, 0, 3, drop=True)], 30)
    assert what(dropped).odd == ()
    bits = (int.from_bytes(encode(Word(0, 1, 0, 1), 30), "little") ^ 1 << 10 ^ 1 << 27).to_bytes(10, "little")
    assert str(decode(bits)) == "00:01:00;01"
    wrong = (dropped[0], dropped[1]._replace(bits=bits), dropped[2])
    assert "label" in {place.kind for place in what(wrong).odd}
    assert any("00:01:00;01 does not exist" in place.words for place in what(wrong).odd)
