"""Onsets against hits whose instants are known, in a pad that has none."""

import numpy as np
import pytest
from scipy import signal

from sequencer.music.onsets import STEPS_A_S, one_voice, onsets, placed, strength
from tests.music import sounds
from tests.music.sounds import RATE_HZ, match

LOW_HZ = 12_000


def test_hits_in_a_pad_are_found_where_they_are() -> None:
    song = sounds.scattered(20, 44)
    found = onsets(song.samples, RATE_HZ)
    near = match(found.at_s, song.beats_s)
    assert near.p95_s <= 0.010
    assert near.f >= 0.95
    assert (found.strength > 0).all()


def test_a_lower_threshold_finds_what_a_higher_one_does_and_more() -> None:
    song = sounds.scattered(20, 44, LOW_HZ)
    grown = strength(song.samples, LOW_HZ)
    counts = [len(onsets(song.samples, LOW_HZ, threshold, grown).at_s) for threshold in (0.5, 1.0, 2.0, 5.0, 20.0)]
    assert counts == sorted(counts, reverse=True)
    assert counts[0] > counts[2] > counts[-1]


@pytest.mark.parametrize("rate_hz", [8_000, 12_000, 44_100, 48_000, 96_000])
def test_any_sample_rate_has_the_same_instants(rate_hz: int) -> None:
    song = sounds.clicks(100, 5, rate_hz)
    found = onsets(song.samples, rate_hz)
    np.testing.assert_allclose(found.at_s, song.beats_s, atol=0.0015)


def test_noise_and_silence_hardly_begin_anything() -> None:
    assert len(onsets(np.zeros(RATE_HZ, np.float32), RATE_HZ).at_s) == 0
    assert len(onsets(np.zeros(0, np.float32), RATE_HZ).at_s) == 0
    assert len(onsets(sounds.noise(20), RATE_HZ).at_s) <= 3


def test_the_strength_is_that_of_a_spectrogram_of_the_reference() -> None:
    # outside reference: scipy.signal's short-time transform; a hit is where its power grows most
    song = sounds.clicks(120, 6)
    hop, length = RATE_HZ // STEPS_A_S, 1024
    power = np.abs(signal.stft(song.samples, RATE_HZ, nperseg=length, noverlap=length - hop, boundary="zeros")[2]) ** 2
    growth = np.maximum(np.diff(np.log(power + 1e-9), axis=1), 0).mean(axis=0)
    grown = strength(song.samples, RATE_HZ).flux
    for at_s in song.beats_s:
        step = round(at_s * STEPS_A_S)
        ours = step - 6 + int(grown[step - 6 : step + 7].argmax())
        theirs = step - 6 + int(growth[step - 6 : step + 7].argmax())
        assert abs(ours - theirs) <= 2


def test_an_instant_moves_onto_the_rise_near_it_and_no_farther() -> None:
    song = sounds.clicks(100, 6)
    for off_s in (-0.02, -0.007, 0.0, 0.011, 0.02):
        at_s, rise = placed(one_voice(song.samples), RATE_HZ, song.beats_s + off_s)
        np.testing.assert_allclose(at_s, song.beats_s, atol=0.0011)
        assert (rise > 1).all()


def test_channels_are_mixed_and_bad_samples_refused() -> None:
    two = np.stack((np.ones(10), np.zeros(10)), axis=1)
    np.testing.assert_array_equal(one_voice(two), np.full(10, 0.5))
    spoilt = np.ones(RATE_HZ, np.float32)
    spoilt[100] = np.inf
    with pytest.raises(ValueError, match="no numbers"):
        onsets(spoilt, RATE_HZ)
