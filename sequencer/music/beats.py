"""The beats of a piece of music: each one, and one steady tempo where it keeps one.

It refuses to find a beat in what has none: it says so in plain words.

Source: a chain of instants that are strong and evenly apart, found by dynamic programming: Ellis, 2007, Beat Tracking
by Dynamic Programming (from memory). That each beat then moves onto the rise near it, and a line is laid through them
where they keep a tempo, is our own.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.music.onsets import STEPS_A_S, Sound, Stopped, Strength, Wanted, one_voice, placed, strength
from sequencer.music.tempi import FASTEST_BPM, SLOWEST_BPM, Candidate, along, pace, path, smoothed, tempo

Floats = NDArray[np.float64]
__all__ = ["Beats", "Candidate", "NoBeat", "Stopped", "beats", "line"]

STEADY_S = 0.006  # from the line at most, for music that keeps its tempo
LEAST, LIKELY, SURE = 0.25, 0.45, 0.7  # of confidence: noise stays below 0.13
_SHORTEST_S = 6.0
_FEWEST = 8
_TIGHT = 150.0  # what it costs that two beats are not one period apart


@dataclass(frozen=True, slots=True)
class NoBeat:
    """That there is no steady beat, and why as far as that is known."""

    why: str


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Beats:
    """The beats that were found.

    Shape: `at_s` (N,). Unit: seconds from the first sample. `first_s` is the first of them, `bpm` the tempo, the mean
    one where it changes. `steady` says whether one tempo fits all; then `at_s` is that line, and `residual_s` how far
    the rises of the sound lie from it (median); else `residual_s` is how far each beat lies from the even middle of
    its neighbours. `error_bpm` is how far the tempo may be off. `confidence` from 0 to 1. `others` are tempi that may
    be meant instead.
    """

    at_s: Floats
    bpm: float
    first_s: float
    confidence: float
    residual_s: float
    steady: bool
    error_bpm: float
    others: tuple[Candidate, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """A straight line through beats: beat k at `first_s + k * period_s`. `number` are the beats' k, all from 0.

    `residual_s` is the median distance from it, `far_s` what four of five keep within, `error_s` that of the period.
    """

    first_s: float
    period_s: float
    number: NDArray[np.int64]
    residual_s: float
    far_s: float
    error_s: float


def beats(
    samples: Sound,
    rate_hz: int,
    bpm: float | None = None,
    *,
    found: Strength | None = None,
    wanted: Wanted = lambda: True,
) -> Beats | NoBeat:
    """Return the beats, at a tempo near `bpm` if one is given. Shape: `samples` (n,) or (n, channels).

    `found` is the strength of these samples where it is there already. Error: Stopped as soon as it is not `wanted`.
    """
    try:
        mono = one_voice(samples)
    except ValueError as fault:
        return NoBeat(str(fault))
    if len(mono) < _SHORTEST_S * rate_hz:
        return NoBeat(
            f"no steady beat found: the audio lasts {len(mono) / rate_hz:.1f} s, and beats need {_SHORTEST_S:.0f} s"
        )
    grown = strength(mono, rate_hz, wanted) if found is None else found
    if grown.silent:
        return NoBeat("no steady beat found: the audio is silent, or does not change")
    if bpm is not None and not SLOWEST_BPM <= bpm <= FASTEST_BPM:
        return NoBeat(f"no beat is looked for at {bpm:.5g} BPM, only from {SLOWEST_BPM:.0f} to {FASTEST_BPM:.0f}")
    paces = pace(grown)
    way = path(paces, bpm)
    confidence = along(paces, way)
    if confidence < LEAST:
        return NoBeat("no steady beat found: nothing in the audio repeats evenly")
    steps = _chain(
        smoothed(grown.flux), np.interp(np.arange(len(grown.flux)) / STEPS_A_S, paces.at_s, 60 * STEPS_A_S / way)
    )
    if not wanted():
        raise Stopped
    rough_s = steps / STEPS_A_S
    if len(rough_s) < _FEWEST:
        return NoBeat(f"no steady beat found: there are only {len(rough_s)} beats")
    at_s, rise = placed(mono, rate_hz, rough_s)
    return _kept(at_s, rough_s, rise, confidence, tempo(grown, paces) if bpm is None else ())


def _chain(flux: Floats, period: Floats) -> NDArray[np.int64]:
    """Return the steps of the chain of beats. Shape: `period` as `flux`, in steps."""
    from scipy.ndimage import gaussian_filter1d

    flux = gaussian_filter1d(flux, 1.0)
    flux = flux / max(float(flux.std()), 1e-12)
    low, high = int(period.min() * 0.5), int(np.ceil(period.max() * 2))
    lags = np.arange(low, high + 1)
    best = np.zeros(len(flux) + high)  # `high` steps of nothing before the first one
    back = np.full(len(flux), -1)
    block = max(1, low)
    for begin in range(0, len(flux), block):
        here = np.arange(begin, min(begin + block, len(flux)))
        cost = _TIGHT * np.log(lags / period[here, None]) ** 2
        reached = best[here[:, None] - lags + high] - cost
        choice = reached.argmax(axis=1)
        gain = reached[np.arange(len(here)), choice]
        best[here + high] = flux[here] + np.maximum(gain, 0.0)
        back[here] = np.where(gain > 0, here - lags[choice], -1)
    total = best[high:]
    tail = round(2 * period[-1])
    at = max(0, len(flux) - tail) + int(total[-tail:].argmax())
    chain = []
    while at >= 0:
        chain.append(at)
        at = int(back[at])
    return _trimmed(np.array(chain[::-1], np.int64), flux)


def _trimmed(chain: NDArray[np.int64], flux: Floats) -> NDArray[np.int64]:
    """Leave out beats before the music begins and after it ends."""
    near = np.array([flux[max(0, at - 2) : at + 3].max() for at in chain])
    strong = np.flatnonzero(near > 0.3 * np.median(near[near > 0]) if (near > 0).any() else near > 0)
    return chain[strong[0] : strong[-1] + 1] if len(strong) else chain[:0]


def _kept(at_s: Floats, rough_s: Floats, rise: Floats, confidence: float, others: tuple[Candidate, ...]) -> Beats:
    """Lay a line through the beats, and keep it where they keep to it."""
    clear = rise > 0.5 * np.median(rise)
    heard = slice(int(clear.argmax()), len(clear) - int(clear[::-1].argmax()))
    at_s, rough_s, clear = at_s[heard], rough_s[heard], clear[heard]
    fit = line(at_s[clear] if clear.sum() >= _FEWEST else at_s)
    if fit.far_s < STEADY_S:
        last = round((rough_s[-1] - fit.first_s) / fit.period_s)
        first = round((rough_s[0] - fit.first_s) / fit.period_s)
        even_s = fit.first_s + np.arange(first, last + 1) * fit.period_s
        even_s = even_s[even_s >= 0]
        bpm = 60 / fit.period_s
        return Beats(
            at_s=even_s,
            bpm=bpm,
            first_s=float(even_s[0]),
            confidence=confidence,
            residual_s=fit.residual_s,
            steady=True,
            error_bpm=bpm * fit.error_s / fit.period_s,
            others=others,
        )
    # where a beat is not heard, the chain's own instant would be off by what the spectrum blurs
    shift_s = float(np.median((at_s - rough_s)[clear])) if clear.any() else 0.0
    at_s = np.where(clear, at_s, rough_s + shift_s)
    uneven_s = at_s[1:-1] - (at_s[:-2] + at_s[2:]) / 2
    bpm = 60 * (len(at_s) - 1) / (at_s[-1] - at_s[0])
    return Beats(
        at_s=at_s,
        bpm=float(bpm),
        first_s=float(at_s[0]),
        confidence=confidence,
        residual_s=float(np.median(np.abs(uneven_s))),
        steady=False,
        error_bpm=float(np.std(60 / np.diff(at_s)) / np.sqrt(len(at_s) - 1)),
        others=others,
    )


def line(at_s: Floats) -> Line:
    """Lay a straight line through instants that are about one period apart; holes count as what they are.

    Instants far from it count less and less. Shape: (N,), in order, at least two.
    """
    gaps = np.diff(at_s)
    period = float(np.median(gaps))
    for _ in range(2):  # a second time, with a period that is nearer
        number = np.concatenate(([0], np.cumsum(np.maximum(1, np.round(gaps / period))))).astype(np.int64)
        weight = np.ones(len(at_s))
        first_s = 0.0
        for _ in range(20):
            middle = np.average(number, weights=weight)
            mean_s = np.average(at_s, weights=weight)
            spread = float((weight * (number - middle) ** 2).sum())
            period = float((weight * (number - middle) * (at_s - mean_s)).sum() / spread)
            first_s = float(mean_s - period * middle)
            away = np.abs(at_s - first_s - period * number)
            scale = max(float(np.median(away)) * 1.5, 1e-5)
            weight = 1 / (1 + (away / scale) ** 2)
    away = np.abs(at_s - first_s - period * number)
    near = float(np.median(away))
    error = 1.5 * near / float(np.sqrt(((number - number.mean()) ** 2).sum()))
    return Line(first_s, period, number, near, float(np.quantile(away, 0.8)), error)
