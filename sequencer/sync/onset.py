"""Find where a clap, or the pulse of a photodiode under a flash, begins in a recording.

It does not know what made the sound: whatever rises sharply out of what was there before is an onset.

Source: none published; a threshold on the short-time peak against the running median of what came before is common
practice.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

_HOP_S = 0.001
_BEFORE_S = 0.2  # what was there before: its median peak is the background
_RISES_WITHIN_S = 0.005  # an onset's peak is looked for so far on
_ABOVE = 8.0  # times the background
_SHARP = 0.25  # of an onset's peak: what was there five milliseconds before is quieter
_SWELLS = 10  # times as long on, what goes on rising is a swell
_LOUD = 0.1  # of the loudest moment: quieter ones are no clap
_LEAST = 1e-3  # of full scale
_APART_S = 0.1  # echoes and ringing are no onset of their own
_SOME = 100_000  # samples
_FOOT = 0.1  # of its own peak, where an onset begins: noise stays below


class Onset(NamedTuple):
    """Where something sharp begins, and how loud it gets. Unit: samples from the beginning, with a part; full scale."""

    at: float
    peak: float


def onsets(samples: NDArray[np.floating], rate_hz: float) -> tuple[Onset, ...]:
    """Return the sharp onsets in one channel of a recording, in order.

    Shape: `samples` (n,), full scale 1. Error: the instant is that at which the sound passes a tenth of its own peak,
    within a fifth of a millisecond of a clap's first sound where it is at least 20 times as loud as the background.
    """
    hop = max(1, round(_HOP_S * rate_hz))
    count = len(samples) // hop
    if count < 2:
        return ()
    # hours of sound are not copied: the offset is that of some samples, and only what is near an onset is looked at
    offset = float(np.median(samples[:: len(samples) // _SOME + 1]))
    hops = samples[: count * hop].reshape(count, hop)
    peaks = np.maximum(hops.max(axis=1) - offset, offset - hops.min(axis=1))
    background = _background(peaks, round(_BEFORE_S / _HOP_S))
    least = max(_LEAST, _LOUD * float(peaks.max()))
    found: list[Onset] = []
    free = 0
    ahead = max(1, round(_RISES_WITHIN_S / _HOP_S))
    for at in ((peaks > _ABOVE * background) & (peaks > least)).nonzero()[0].tolist():
        if at < free:
            continue
        first = max(0, (at - ahead) * hop)
        near = np.abs(samples[first : (at + ahead) * hop] - offset)
        peak = float(near.max())
        earlier = peaks[max(0, at - 2 * ahead) : max(0, at - ahead)].max(initial=0.0)
        later = peaks[at : at + ahead * _SWELLS].max()
        if earlier > _SHARP * peak or later > 2 * peak:
            continue
        free = at + round(_APART_S / _HOP_S)
        foot = max(_FOOT * peak, 2 * float(background[at]))
        over = int(np.argmax(near > foot))
        part = 0.0
        if over:
            below, above = near[over - 1 : over + 1]
            part = float((above - foot) / (above - below))
        found.append(Onset(first + over - part, peak))
    return tuple(found)


def _background(peaks: NDArray[np.floating], length: int) -> NDArray[np.floating]:
    """Return the median of the `length` peaks that end with each one; before the first, what it is. Shape: (n,)."""
    from scipy.ndimage import median_filter

    odd = length // 2 * 2 + 1
    return np.asarray(median_filter(peaks, size=odd, mode="nearest", origin=odd // 2))
