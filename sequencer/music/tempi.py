"""How fast the music goes, window by window: which tempi its growth repeats with, and a path through them.

It refuses to decide between a tempo and its double: it lists both.

Source: the tempo as a peak of the autocorrelation of the onset strength, weighted toward the middle of what people
tap: Ellis, 2007, Beat Tracking by Dynamic Programming (from memory: a bell, by octaves, about 120 beats a minute).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.music.onsets import STEPS_A_S, Strength

Floats = NDArray[np.float64]

SLOWEST_BPM, FASTEST_BPM = 30.0, 300.0
_GRID = 1.01  # from one tempo to the next
_WINDOW_S, _HOP_S = 12.0, 3.0
_REPEATS = 8  # periods over which a repeat is looked for
_SHORT_REPEATS = 4  # and how many of them fit a window
_MIDDLE_BPM, _OCTAVES = 120.0, 1.0  # what people tap to, and how far from it
_FASTEST_CHANGE = 4  # grid steps from one window to the next
_CHANGE_COST = 0.02  # of a grid step
_NEAR = 0.13  # how far from a named tempo the music may be
_CANDIDATES = 6
_BUSY = 10  # steps with a beginning in them


@dataclass(frozen=True, slots=True)
class Candidate:
    """A tempo that the music may have, and how far it repeats with it: from 0, not at all, to 1, exactly."""

    bpm: float
    confidence: float


@dataclass(frozen=True, slots=True, eq=False)
class Pace:
    """The tempi that each window repeats with. Shape: `bpm` (G,), `score` (W, G), `at_s` (W,), windows' middles."""

    bpm: Floats
    score: Floats
    at_s: Floats


def pace(grown: Strength) -> Pace:
    """Return what each window repeats with."""
    count = int(np.log(FASTEST_BPM / SLOWEST_BPM) / np.log(_GRID)) + 1
    bpm = np.asarray(SLOWEST_BPM * _GRID ** np.arange(count), float)
    window = round(_WINDOW_S * STEPS_A_S)
    flux = smoothed(grown.flux)
    starts = np.arange(0, max(1, len(flux) - window + 1), round(_HOP_S * STEPS_A_S))
    period = 60 * STEPS_A_S / bpm
    score = np.zeros((len(starts), len(bpm)))
    for number, start in enumerate(starts):
        # a single beginning takes a few steps; what has no more than one has no beat, however evenly it hums
        if (grown.flux[start : start + window] > grown.least).sum() >= _BUSY:
            score[number] = _repeats(flux[start : start + window], period)
    length = min(window, len(flux))
    return Pace(bpm, score, (starts + length / 2) / STEPS_A_S)


def smoothed(flux: Floats) -> Floats:
    """Return the strength without what lasts, and blurred by a step, so that a beat between two steps meets itself."""
    from scipy.ndimage import gaussian_filter1d, uniform_filter1d

    level = uniform_filter1d(flux, STEPS_A_S, mode="nearest")
    # a beat that is ten times as strong is not ten times as much of a beat
    out: Floats = gaussian_filter1d(np.sqrt(np.maximum(flux - level, 0.0)), 1.5)
    return out


def _repeats(flux: Floats, period: Floats) -> Floats:
    """Return how far a stretch repeats with each period, mean of the first few multiples. Shape: (G,)."""
    from scipy import fft

    centred = flux - flux.mean()
    size = fft.next_fast_len(2 * len(flux), real=True)
    spectrum = fft.rfft(centred, size)
    acf = fft.irfft(spectrum.real**2 + spectrum.imag**2, size)[: len(flux)]
    if acf[0] <= 1e-12:
        return np.zeros(len(period))
    lags = np.arange(len(flux))
    acf = acf / acf[0] * len(flux) / np.maximum(len(flux) - lags, len(flux) / 4)
    total, count = np.zeros(len(period)), np.zeros(len(period))
    for times in range(1, _SHORT_REPEATS + 1):
        lag = period * times
        inside = lag < 0.75 * len(flux)
        total += np.where(inside, np.interp(lag, lags, acf), 0.0)
        count += inside
    mean: Floats = np.where(count >= 2, total / np.maximum(count, 1), 0.0)
    return mean


def preferred(bpm: Floats) -> Floats:
    """Return how readily people tap each tempo, 1 at most."""
    out: Floats = np.exp(-0.5 * (np.log2(bpm / _MIDDLE_BPM) / _OCTAVES) ** 2)
    return out


def path(found: Pace, near_bpm: float | None = None) -> Floats:
    """Return the tempo in each window: the one that repeats best and changes least; near `near_bpm` if given.

    Shape: (W,). Unit: beats a minute.
    """
    # squared, so that what repeats nearly always loses against what always does, unless people hardly tap so
    gain = found.score * np.abs(found.score) * (preferred(found.bpm) if near_bpm is None else 1.0)
    if near_bpm is not None:
        gain = np.where(np.abs(np.log(found.bpm / near_bpm)) <= np.log1p(_NEAR), gain, -1.0)
    best = gain[0].copy()
    back = np.zeros(gain.shape, int)
    steps = np.arange(-_FASTEST_CHANGE, _FASTEST_CHANGE + 1)
    at = np.arange(gain.shape[1])
    before = at[:, None] + steps
    inside = (before >= 0) & (before < len(at))
    before = before.clip(0, len(at) - 1)
    for number in range(1, len(gain)):
        reached = np.where(inside, best[before], -np.inf) - _CHANGE_COST * np.abs(steps)
        choice = reached.argmax(axis=1)
        back[number] = before[at, choice]
        best = reached[at, choice] + gain[number]
    way = [int(best.argmax())]
    for number in range(len(gain) - 1, 0, -1):
        way.append(int(back[number][way[-1]]))
    out: Floats = found.bpm[np.array(way[::-1])]
    return out


def along(found: Pace, way: Floats, times: float = 1.0) -> float:
    """Return how far the music repeats along a path of tempi, or along `times` as fast, mean over the windows."""
    bpm = way * times
    if bpm.min() < SLOWEST_BPM or bpm.max() > FASTEST_BPM:
        return 0.0
    at = np.log(bpm / SLOWEST_BPM) / np.log(_GRID)
    near = np.clip(np.round(at).astype(int)[:, None] + np.array([-1, 0, 1]), 0, len(found.bpm) - 1)
    return float(np.take_along_axis(found.score, near, axis=1).max(axis=1).mean())


def exact(grown: Strength, bpm: float) -> float:
    """Return a tempo more exactly, read over eight periods of the whole sound, for music that keeps its tempo."""
    from scipy import fft

    flux = smoothed(grown.flux)
    centred = flux - flux.mean()
    size = fft.next_fast_len(2 * len(flux), real=True)
    spectrum = fft.rfft(centred, size)
    acf = fft.irfft(spectrum.real**2 + spectrum.imag**2, size)[: len(flux)]
    lag = _REPEATS * 60 * STEPS_A_S / bpm
    low, high = int(lag * 0.98), int(np.ceil(lag * 1.02))
    if low < 2 or high + 2 >= len(acf):
        return bpm
    top = low + int(acf[low : high + 1].argmax())
    left, mid, right = acf[top - 1 : top + 2]
    bend = left - 2 * mid + right
    part = 0.5 * (left - right) / bend if bend < 0 else 0.0
    return float(_REPEATS * 60 * STEPS_A_S / (top + np.clip(part, -0.5, 0.5)))


def tempo(grown: Strength, found: Pace | None = None) -> tuple[Candidate, ...]:
    """Return the tempi that the music may have, the likeliest first, its half and its double among them."""
    there = pace(grown) if found is None else found
    way = path(there)
    best = float(np.median(way))
    listed = [Candidate(exact(grown, best) * times, along(there, way, times)) for times in (1.0, 2.0, 0.5, 3.0, 1 / 3)]
    mean = there.score.mean(axis=0)
    tops = np.flatnonzero((mean[1:-1] > mean[:-2]) & (mean[1:-1] >= mean[2:])) + 1
    for top in tops[np.argsort(-mean[tops])]:
        if all(abs(np.log(one.bpm / there.bpm[top])) > 0.03 for one in listed):
            listed.append(Candidate(exact(grown, float(there.bpm[top])), float(mean[top])))
    first, *others = [one for one in listed if one.confidence > 0 or one is listed[0]]
    return (first, *sorted(others, key=lambda one: -one.confidence)[: _CANDIDATES - 1])
