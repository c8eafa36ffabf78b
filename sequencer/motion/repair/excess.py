"""By how much curves go beyond an axis's limits, in parts of the limit. It refuses to say how to mend it."""

from math import comb

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.extremes import Extremes

Floats = NDArray[np.float64]

# Power coefficients of a quintic, lowest first, to Bernstein ones. Source: textbook.
_BERNSTEIN = [
    np.array([[comb(i, j) / comb(size - 1, j) for j in range(size)] for i in range(size)]) for size in (6, 5, 4, 3)
]


def beyond(found: Extremes, low: Floats, high: Floats) -> Floats:
    """Return how far each stretch goes beyond `low` and `high`; below zero, how far inside it stays.

    Travel counts in parts of the whole travel. Shape: `low`, `high` (4,), by order of the derivative; result (N,).
    """
    most: Floats = (found.peak / high[1:, None]).max(axis=0) - 1
    travel = high[0] - low[0]
    if np.isfinite(travel):
        most = np.maximum(most, np.maximum(found.high - high[0], low[0] - found.low) / travel)
    return most


def excess(coeffs: Floats, width_s: Floats, low: Floats, high: Floats) -> Floats:
    """Return how far each quintic piece goes beyond the limits: exact above zero, at most the value below.

    Pieces that lie inside by their Bernstein hull are not looked at more closely.
    Shape: `coeffs` (6, P), PPoly's layout, `width_s` (P,), `low`, `high` (4,); result (P,).
    """
    power = coeffs[::-1] * width_s ** np.arange(6)[:, None]
    most = np.full(len(width_s), -np.inf)
    sizes = np.append(high[0] - low[0], high[1:])
    for order, to_hull in enumerate(_BERNSTEIN):
        if np.isfinite(sizes[order]):
            hull = to_hull @ power / width_s**order
            outside = np.maximum(hull.max(axis=0) - high[order], low[order] - hull.min(axis=0))
            most = np.maximum(most, outside / sizes[order])
        power = power[1:] * np.arange(1, len(power))[:, None]
    near = np.flatnonzero(most > 0)
    if len(near):
        each = np.arange(len(near) + 1)
        most[near] = beyond(Extremes.of(np.zeros(len(near)), width_s[near], coeffs[:, near], each), low, high)
    return most
