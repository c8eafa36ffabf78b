"""Where something begins to sound: how strongly the sound grows, every 5 ms, and the instants of its onsets.

It reads no file, and refuses to call noise a beginning: what does not stand out of its surroundings is none.

Source: growth of energy in bands, on a scale of logarithms, as a sign of onsets: Klapuri, 1999, Sound onset detection
by applying psychoacoustic knowledge (from memory); all lengths and weights are our own.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Sound = NDArray[np.floating[Any]]
Wanted = Callable[[], bool]

STEPS_A_S = 200
THRESHOLD = 2.0
_SIGHT_S = 0.0213  # of one spectrum
_LOWEST_HZ, _HIGHEST_HZ, _BANDS = 40.0, 16_000.0, 24
_BLOCK = 2048  # spectra at once
_QUIETEST = 1e-5  # of the loudest: less than that is silence
_FLOOR = 1e-3  # of a band's mean energy, and below it growth counts little
_LEAK = 1e-6  # of the loudest band's, which a steady tone leaks into the others
_LEAST_GROWTH = 0.35  # mean of all bands' logarithms: the spectra of steady tones differ by nearly as much
_AROUND_S = 0.5  # what an onset stands out of
_APART_S = 0.05
_NEAR_S = 0.025  # how far an instant is moved onto the rise it belongs to
_RISE_S = 0.008  # energy after an instant against that before it
_RISE_BANDS_HZ = (0.0, 400.0, 2_000.0, 6_000.0, 30_000.0)
_RISE_FLOOR = 1e-4


class Stopped(Exception):
    """Nobody wants the answer any more."""


@dataclass(frozen=True, slots=True, eq=False)
class Strength:
    """How strongly the sound grows at each step of 5 ms, in multiples of its mean.

    Shape: `flux` (N,), step k at k / 200 s. Unit: `length_s` of the whole sound. Below `least` it is no beginning:
    steady tones grow as much, to a spectrum.
    """

    flux: Floats
    length_s: float
    least: float = 0.0

    @property
    def silent(self) -> bool:
        return not (self.flux > self.least).any()


@dataclass(frozen=True, slots=True, eq=False)
class Onsets:
    """Instants at which something begins, and how far each stands out. Shape: (N,). Unit: seconds from the start."""

    at_s: Floats
    strength: Floats


def one_voice(samples: Sound) -> Sound:
    """Return the mean of all channels. Shape: (n,) or (n, channels). Error: ValueError for what are no numbers."""
    mono = samples if samples.ndim == 1 else samples.mean(axis=1)
    if not np.isfinite(mono).all():
        raise ValueError("the audio has samples that are no numbers; export it again")
    return mono.astype(np.float32, copy=False)


def strength(samples: Sound, rate_hz: int, wanted: Wanted = lambda: True) -> Strength:
    """Return how strongly the sound grows. Shape: `samples` (n,) or (n, channels).

    Error: ValueError for samples that are no numbers; Stopped as soon as it is not `wanted`.
    """
    mono = one_voice(samples)
    steps = int(len(mono) * STEPS_A_S / rate_hz)
    loudest = float(np.abs(mono).max(initial=0.0))
    if loudest == 0.0 or steps < 2:
        return Strength(np.zeros(steps), len(mono) / rate_hz)
    energy = _band_energy(mono / np.float32(loudest), rate_hz, steps, wanted)
    mean = energy.mean(axis=0)
    energy += _QUIETEST**2 + _FLOOR * mean + _LEAK * mean.max(initial=0.0)
    level = np.log(energy)
    growth = np.maximum(level[2:] - level[:-2], 0.0).mean(axis=1)
    # what was cut out of something else begins loud: the first instant alone is no growth
    flux = np.concatenate(([0.0], growth, [0.0])).astype(float)
    mean_flux = max(float(flux.mean()), 1e-12)
    return Strength(flux / mean_flux, len(mono) / rate_hz, _LEAST_GROWTH / mean_flux)


def _band_energy(mono: Sound, rate_hz: int, steps: int, wanted: Wanted) -> NDArray[np.float32]:
    """Return the energy in each band around each step. Shape: (steps, bands)."""
    from scipy import fft

    length = fft.next_fast_len(max(16, round(_SIGHT_S * rate_hz)), real=True)
    window = np.hanning(length + 1)[:-1].astype(np.float32)
    # the sound begins out of nothing, but where the file is cut off nothing new sounds: there it is mirrored
    tail = np.pad(mono[-length:], (0, length), mode="reflect" if len(mono) > 1 else "edge")[-length:]
    padded = np.concatenate((np.zeros(length // 2, np.float32), mono, tail))
    seen = sliding_window_view(padded, length)
    starts = np.round(np.arange(steps) * rate_hz / STEPS_A_S).astype(int)
    bands = _bands(length, rate_hz)
    energy = np.empty((steps, bands.shape[1]), np.float32)
    for begin in range(0, steps, _BLOCK):
        if not wanted():
            raise Stopped
        spectra = fft.rfft(seen[starts[begin : begin + _BLOCK]] * window, axis=1)
        energy[begin : begin + _BLOCK] = (spectra.real**2 + spectra.imag**2) @ bands
    return energy


def _bands(length: int, rate_hz: int) -> NDArray[np.float32]:
    """Return which bin belongs to which band; bands without a bin are left out. Shape: (bins, bands)."""
    hz = np.arange(length // 2 + 1) * rate_hz / length
    edges = np.geomspace(_LOWEST_HZ, min(_HIGHEST_HZ, rate_hz / 2), _BANDS + 1)
    inside = (hz[:, None] >= edges[:-1]) & (hz[:, None] < edges[1:])
    return (inside[:, inside.any(axis=0)] / length).astype(np.float32)


def onsets(samples: Sound, rate_hz: int, threshold: float = THRESHOLD, found: Strength | None = None) -> Onsets:
    """Return the instants at which something begins; a lower `threshold` finds weaker ones. `found`: its strength.

    Error: ValueError for samples that are no numbers.
    """
    mono = one_voice(samples)
    grown = strength(mono, rate_hz) if found is None else found
    steps, out = peaks(grown, threshold)
    at_s, _ = placed(mono, rate_hz, steps / STEPS_A_S)
    return Onsets(at_s, out)


def peaks(grown: Strength, threshold: float = THRESHOLD) -> tuple[NDArray[np.int64], Floats]:
    """Return the steps at which the strength stands out of its surroundings, and by how much."""
    from scipy.ndimage import maximum_filter1d, uniform_filter1d
    from scipy.signal import find_peaks

    if grown.silent:
        return np.zeros(0, np.int64), np.zeros(0)
    around = round(_AROUND_S * STEPS_A_S)
    level = uniform_filter1d(grown.flux, 2 * around + 1, mode="nearest")
    out = grown.flux - level
    apart = round(_APART_S * STEPS_A_S)
    steps = find_peaks(out, height=threshold, distance=apart)[0]
    highest = maximum_filter1d(out, 2 * apart + 1)
    steps = steps[(out[steps] >= 0.5 * highest[steps]) & (grown.flux[steps] > grown.least)]
    return steps.astype(np.int64), out[steps]


def placed(mono: Sound, rate_hz: int, at_s: Floats) -> tuple[Floats, Floats]:
    """Move each instant onto the steepest rise near it, to 1 ms. Return the instants, and how much each rises."""
    if not len(at_s):
        return np.zeros(0), np.zeros(0)
    rise, first_s = _rises(mono, rate_hz, at_s)
    best = rise.argmax(axis=1)
    return first_s + best / 1000, rise[np.arange(len(best)), best]


def _rises(mono: Sound, rate_hz: int, at_s: Floats) -> tuple[Floats, Floats]:
    """Return for each instant how much the sound rises, at each ms near it, and where the first of those is."""
    from scipy import fft

    reach, side = round(_NEAR_S * 1000), round(_RISE_S * rate_hz)
    ms = np.arange(-reach, reach + 1)
    centre = np.round(at_s * 1000).astype(int)
    pad = side + round((_NEAR_S + 0.01) * rate_hz)
    padded = np.concatenate((np.zeros(pad, np.float32), mono, np.zeros(pad + side, np.float32)))
    seen = sliding_window_view(padded, side)
    at = np.round((centre[:, None] + ms) * (rate_hz / 1000)).astype(int) + pad
    at = np.clip(at, side, len(seen) - 1)
    hz = np.arange(side // 2 + 1) * rate_hz / side
    edges = np.array(_RISE_BANDS_HZ)
    bands = ((hz[:, None] >= edges[:-1]) & (hz[:, None] < edges[1:])).astype(np.float32)
    bands = bands[:, bands.any(axis=0)]
    floor = _RISE_FLOOR * float(np.mean(mono.astype(float) ** 2)) * side**2 / 2 + 1e-30
    fade = np.hanning(2 * side + 1)[side + 1 :].astype(np.float32)  # a hard edge at the instant, none at the far ends
    rise = np.empty(at.shape)
    for begin in range(0, len(at), 64):
        here = at[begin : begin + 64]
        after = np.sqrt(_power(fft.rfft(seen[here] * fade, axis=2)) @ bands + floor)
        before = np.sqrt(_power(fft.rfft(seen[here - side] * fade[::-1], axis=2)) @ bands + floor)
        contrast = np.log(after.max(axis=1) / before.min(axis=1))
        rise[begin : begin + 64] = ((after - before) / after.max(axis=1)[:, None] * contrast[:, None]).sum(axis=2)
    return rise, (centre - reach) / 1000


def _power(spectra: Any) -> Any:
    return spectra.real**2 + spectra.imag**2
