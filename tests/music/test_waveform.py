"""The waveform: each column has what is between its edges, whatever the level and however the samples came."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.music.waveform import BASE, FACTOR, Floats32, Reading, Waveform

RATE_HZ = 8000


def noise(count: int, channels: int = 2) -> Floats32:
    made: Floats32 = np.random.default_rng(count).uniform(-1, 1, (count, channels)).astype(np.float32)
    return made


def read(samples: Floats32, piece: int = 10_000) -> Waveform:
    reading = Reading(RATE_HZ)
    for at in range(0, len(samples), piece):
        reading.add(samples[at : at + piece])
    return reading.done()


@given(count=st.integers(1, 40_000), piece=st.integers(1, 9_000))
@settings(max_examples=25, deadline=None)
def test_levels_are_the_extremes_of_the_samples(count: int, piece: int) -> None:
    samples = noise(count)
    found = read(samples, max(piece, count // 50 + 1))
    assert found.samples == count
    for level, (low, high) in enumerate(zip(found.low, found.high, strict=True)):
        stretch = BASE * FACTOR**level
        parts = [samples[at : at + stretch] for at in range(0, count, stretch)]
        assert low.tolist() == [part.min() for part in parts]
        assert high.tolist() == [part.max() for part in parts]


@given(begin=st.floats(-3, 6), lasts=st.floats(0.01, 20), columns=st.integers(1, 300))
@settings(max_examples=40, deadline=None)
def test_columns_lose_nothing_and_let_in_less_than_a_stretch(begin: float, lasts: float, columns: int) -> None:
    samples = noise(5 * RATE_HZ + 77, 1)[:, 0]
    found = read(samples[:, None])
    edge_s = np.linspace(begin, begin + lasts, columns + 1)
    low, high = found.columns(edge_s)
    stretch = max(BASE, 0.5 * lasts * RATE_HZ / columns)
    for column in range(columns):
        ends = np.clip(edge_s[column : column + 2] * RATE_HZ, 0, len(samples))
        inside = samples[int(np.ceil(ends[0])) : int(np.floor(ends[1]))]
        if len(inside):
            assert low[column] <= inside.min()
            assert high[column] >= inside.max()
        wide = samples[max(0, int(ends[0] - stretch) - 1) : int(ends[1] + stretch) + 2]
        assert low[column] >= min(0, wide.min(initial=0))
        assert high[column] <= max(0, wide.max(initial=0))


def test_columns_at_whole_stretches_are_exact() -> None:
    samples = noise(64 * BASE, 1)
    low, high = read(samples).columns(np.arange(65) * BASE / RATE_HZ)
    parts = samples[:, 0].reshape(64, BASE)
    assert low.tolist() == parts.min(axis=1).tolist()
    assert high.tolist() == parts.max(axis=1).tolist()


def test_there_is_no_sound_before_it_begins_and_after_it_ends() -> None:
    found = read(noise(RATE_HZ))
    low, high = found.columns(np.array([-2.0, -1.0, 0.0, 1.0, 2.0, 3.0]))
    assert (low[[0, 1, 3, 4]] == 0).all()
    assert (high[[0, 1, 3, 4]] == 0).all()
    assert high[2] > 0.9
    nothing = read(np.empty((0, 2), np.float32))
    assert nothing.columns(np.array([0.0, 1.0]))[0].tolist() == [0.0]
    assert nothing.lasts_s == 0


def test_what_is_no_number_is_silence() -> None:
    samples = np.full((BASE, 1), 0.25, np.float32)
    samples[3], samples[4], samples[5] = np.nan, np.inf, -np.inf
    found = read(samples)
    assert (found.low[0][0], found.high[0][0]) == (-1.0, 1.0)
    samples[4:6] = 0.25
    assert read(samples).low[0][0] == pytest.approx(0.0)
