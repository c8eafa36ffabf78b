"""Onsets of claps and flashes: found to a hundredth of a frame, and nothing found where nothing is sharp."""

import numpy as np
import pytest
from numpy.typing import NDArray

from sequencer.sync.onset import onsets

RATE_HZ = 48_000
HUNDREDTH = 0.01 / 25 * RATE_HZ  # of a frame at 25 frames a second, in samples

Floats = NDArray[np.float64]


def noise(seconds: float, level: float, seed: int = 7) -> Floats:
    return np.asarray(level * np.random.default_rng(seed).standard_normal(round(seconds * RATE_HZ)))


def clap(seed: int, peak: float = 0.5, rate_hz: int = RATE_HZ) -> Floats:
    """Return a burst of noise that is there at once and dies away in 30 ms."""
    burst = np.random.default_rng(seed).standard_normal(rate_hz // 5)
    burst[0] = 3.0  # its first sample is no accident of the noise
    burst *= np.exp(-np.arange(len(burst)) / (0.03 * rate_hz))
    return np.asarray(peak * burst / np.abs(burst).max())


def with_claps(background: Floats, places: list[int], peak: float = 0.5) -> Floats:
    sound = background.copy()
    for seed, at in enumerate(places):
        burst = clap(seed, peak)
        sound[at : at + len(burst)] += burst[: len(sound) - at]
    return sound


@pytest.mark.parametrize("level", [0.0, 1e-4, 0.002, 0.008])
def test_claps_are_found_to_a_hundredth_of_a_frame(level: float) -> None:
    places = [12_345, 60_000, 100_001, 171_717]
    found = onsets(with_claps(noise(4.0, level), places), RATE_HZ)
    assert len(found) == len(places)
    for one, at in zip(found, places, strict=True):
        assert abs(one.at - at) < HUNDREDTH
        assert 0.2 < one.peak < 0.6


def test_a_clap_that_takes_a_moment_to_rise_begins_where_it_is_first_heard() -> None:
    burst = clap(2) * (1 - np.exp(-np.arange(9600) / (0.0005 * RATE_HZ)))
    sound = noise(2.0, 0.0005)
    sound[50_000 : 50_000 + len(burst)] += burst
    (one,) = onsets(sound, RATE_HZ)
    assert 0 < one.at - 50_000 < 0.0002 * RATE_HZ


@pytest.mark.parametrize("rate_hz", [44_100, 96_000])
def test_other_rates(rate_hz: int) -> None:
    sound = np.zeros(rate_hz)
    sound[30_000:][: rate_hz // 5] += clap(3, rate_hz=rate_hz)[: rate_hz - 30_000]
    (one,) = onsets(sound, rate_hz)
    assert abs(one.at - 30_000) < 0.0004 * rate_hz


@pytest.mark.parametrize("polarity", [1.0, -1.0])
def test_a_flash_on_a_photodiode_is_a_step(polarity: float) -> None:
    # a pulse of ten milliseconds on an offset, through an input without direct current (20 Hz)
    sound = np.zeros(2 * RATE_HZ)
    sound[50_000 : 50_000 + RATE_HZ // 100] = 0.3 * polarity
    coupled = (
        sound
        - np.convolve(sound, 2 * np.pi * 20 / RATE_HZ * np.exp(-2 * np.pi * 20 * np.arange(9600) / RATE_HZ))[
            : len(sound)
        ]
    )
    (one,) = onsets(coupled + 0.05 + noise(2.0, 0.001), RATE_HZ)
    assert abs(one.at - 50_000) < 2


def test_hum_noise_and_swells_are_no_onset() -> None:
    at = np.arange(4 * RATE_HZ) / RATE_HZ
    swell = 0.5 * np.sin(np.pi * at / 4) ** 2 * np.sin(2 * np.pi * 200 * at)
    voice = np.sin(2 * np.pi * 150 * at) * np.clip((at - 1) / 0.15, 0, 0.5)
    for sound in (
        voice + noise(4.0, 1e-3),
        noise(4.0, 0.1),
        0.3 * np.sin(2 * np.pi * 50 * at),
        swell + noise(4.0, 0.01),
        np.zeros(4 * RATE_HZ),
    ):
        assert onsets(sound, RATE_HZ) == ()


def test_an_echo_is_no_onset_and_a_faint_knock_beside_a_clap_neither() -> None:
    sound = with_claps(noise(3.0, 1e-4), [40_000])
    sound[40_960:49_600] *= 1e-3  # it ends at once, so that the echo is as sharp
    echo = clap(0, 0.3)
    sound[40_000 + 2400 : 40_000 + 2400 + len(echo)] += echo
    knock = clap(5, 0.03)
    sound[100_000 : 100_000 + len(knock)] += knock
    (one,) = onsets(sound, RATE_HZ)
    assert abs(one.at - 40_000) < HUNDREDTH


@pytest.mark.parametrize("length", [0, 1, 40, 100])
def test_hardly_any_sound_is_no_onset(length: int) -> None:
    assert onsets(np.zeros(length), RATE_HZ) == ()
