"""Sounds whose beats and onsets are known by construction: clicks, drums, drifting drums, hits in a pad, noise."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Sound = NDArray[np.float32]
RATE_HZ = 48_000


@dataclass(frozen=True, slots=True, eq=False)
class Song:
    """Samples with what is true of them. Unit: seconds from the first sample."""

    samples: Sound
    beats_s: Floats
    bpm: float
    rate_hz: int = RATE_HZ


def steady(bpm: float, length_s: float, first_s: float = 0.37) -> Floats:
    """Return the instants of steady beats."""
    return np.arange(first_s, length_s - 0.3, 60 / bpm)


def gliding(from_bpm: float, to_bpm: float, length_s: float, first_s: float = 0.37) -> Floats:
    """Return the instants of beats whose tempo changes evenly with time."""
    # beats up to t: from_bpm t / 60 + slope t^2 / 120, solved for t
    slope = (to_bpm - from_bpm) / length_s
    count = np.arange(0, from_bpm * length_s / 60 + slope * length_s**2 / 120)
    at_s = (-from_bpm + np.sqrt(from_bpm**2 + 120 * slope * count)) / slope
    return first_s + at_s[at_s < length_s - first_s - 0.3]


def click(rate_hz: int) -> Floats:
    t_s = np.arange(round(0.03 * rate_hz)) / rate_hz
    return np.asarray(np.sin(2 * np.pi * 1000 * t_s) * np.exp(-t_s / 0.006))


def kick(rate_hz: int) -> Floats:
    t_s = np.arange(round(0.25 * rate_hz)) / rate_hz
    turns = 48 * t_s + 110 * 0.03 * (1 - np.exp(-t_s / 0.03))
    return np.asarray(np.sin(2 * np.pi * turns) * np.exp(-t_s / 0.07))


def snare(rate_hz: int) -> Floats:
    t_s = np.arange(round(0.18 * rate_hz)) / rate_hz
    noise = np.random.RandomState(7).standard_normal(len(t_s))
    return np.asarray((0.35 * noise + 0.4 * np.sin(2 * np.pi * 190 * t_s)) * np.exp(-t_s / 0.04))


def hat(rate_hz: int) -> Floats:
    t_s = np.arange(round(0.05 * rate_hz)) / rate_hz
    noise = np.diff(np.random.RandomState(8).standard_normal(len(t_s) + 1))
    return np.asarray(0.25 * noise * np.exp(-t_s / 0.012))


def noise(length_s: float, rate_hz: int = RATE_HZ, size: float = 0.1, seed: int = 1) -> Sound:
    found: Sound = (size * np.random.RandomState(seed).standard_normal(round(length_s * rate_hz))).astype(np.float32)
    return found


def pad(length_s: float, rate_hz: int = RATE_HZ, size: float = 0.05, seed: int = 2) -> Sound:
    """Return a chord that swells slowly and out of step, with a breath of noise on it; it has no beat."""
    t_s = np.arange(round(length_s * rate_hz)) / rate_hz
    mix = 0.1 * np.random.RandomState(seed).standard_normal(len(t_s))
    for number, hz in enumerate((110.0, 164.8, 220.5, 277.2, 331.0)):
        swell = 0.6 + 0.4 * np.sin(2 * np.pi * t_s / (7.3 + 1.9 * number) + number)
        mix += swell * np.sin(2 * np.pi * hz * t_s + number)
    found: Sound = (size * mix).astype(np.float32)
    return found


def put(mix: Sound, at_s: Floats, hit: Floats, rate_hz: int, size: float = 1.0) -> None:
    for at in np.round(at_s * rate_hz).astype(int):
        there = mix[at : at + len(hit)]
        there += (size * hit[: len(there)]).astype(np.float32)


def clicks(bpm: float, length_s: float = 240.0, rate_hz: int = RATE_HZ) -> Song:
    mix, at_s = noise(length_s, rate_hz, 1e-4), steady(bpm, length_s)
    put(mix, at_s, click(rate_hz), rate_hz, 0.7)
    return Song(mix, at_s, bpm, rate_hz)


def drums(
    bpm: float, length_s: float = 240.0, *, swing: float = 0.5, at_s: Floats | None = None, rate_hz: int = RATE_HZ
) -> Song:
    """Return kick, snare and hats in fours over a pad; `swing` is where between beats the second hat falls."""
    beats_s = steady(bpm, length_s) if at_s is None else at_s
    mix = pad(length_s, rate_hz)
    after_s = beats_s[:-1] + swing * np.diff(beats_s)
    put(mix, beats_s[0::2], kick(rate_hz), rate_hz, 0.6)
    put(mix, beats_s[1::2], snare(rate_hz), rate_hz, 0.5)
    put(mix, np.concatenate((beats_s, after_s)), hat(rate_hz), rate_hz, 0.4)
    return Song(mix, beats_s, bpm, rate_hz)


def drifting(length_s: float = 240.0, rate_hz: int = RATE_HZ) -> Song:
    """Return drums from 100 to 112 beats a minute."""
    return drums(106.0, length_s, at_s=gliding(100.0, 112.0, length_s), rate_hz=rate_hz)


def scattered(length_s: float = 240.0, hits: int = 525, rate_hz: int = RATE_HZ) -> Song:
    """Return hits at random instants in a pad, at least 80 ms apart; there is no tempo in it."""
    dice = np.random.RandomState(5)
    gaps = 0.08 + dice.exponential(1.0, hits + 1)
    at_s = np.cumsum(0.08 + (gaps - 0.08) * (length_s - 1 - 0.08 * hits) / (gaps - 0.08).sum())[:-1]
    mix = pad(length_s, rate_hz)
    hits_of: tuple[Callable[[int], Floats], ...] = (kick, snare, hat, click)
    kind, size = dice.randint(0, 4, hits), dice.uniform(0.25, 0.7, hits)
    for number, at in enumerate(at_s):
        put(mix, np.array([at]), hits_of[kind[number]](rate_hz), rate_hz, float(size[number]))
    return Song(mix, at_s, 0.0, rate_hz)


@dataclass(frozen=True, slots=True)
class Match:
    """How well found instants fit the true ones. Unit: seconds."""

    f: float
    median_s: float
    p95_s: float


def match(found_s: Floats, true_s: Floats, within_s: float = 0.07) -> Match:
    """Pair each true instant with the nearest found one, each once. F at 70 ms: common practice, no source."""
    errors, taken = [], set()
    for true in true_s:
        if not len(found_s):
            break
        near = int(np.argmin(np.abs(found_s - true)))
        if near not in taken and abs(found_s[near] - true) <= within_s:
            taken.add(near)
            errors.append(found_s[near] - true)
    f = 2 * len(errors) / (len(found_s) + len(true_s)) if errors else 0.0
    if not errors:
        return Match(0.0, np.inf, np.inf)
    return Match(f, float(np.median(errors)), float(np.quantile(np.abs(errors), 0.95)))
