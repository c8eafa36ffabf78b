"""Which curves go beyond an axis's limits, and by how much, in parts of the limit. It refuses to say how to mend it."""

from functools import lru_cache
from math import comb

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.extremes import Extremes, shifted

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# a limit is kept when it is broken by no more than this part of it
KEPT = 1e-9


def beyond(found: Extremes, low: Floats, high: Floats) -> Floats:
    """Return how far each stretch goes beyond `low` and `high`; below zero, how far inside it stays.

    Travel counts in parts of the whole travel. Shape: `low`, `high` (4,), by order of the derivative; result (N,).
    """
    most: Floats = (found.peak / high[1:, None]).max(axis=0) - 1
    travel = high[0] - low[0]
    if np.isfinite(travel):
        most = np.maximum(most, np.maximum(found.high - high[0], low[0] - found.low) / travel)
    return most


def hulls(coeffs: Floats, width_s: Floats) -> list[Floats]:
    """Return Bernstein coefficients of position, speed, acceleration and jerk of each piece.

    The curve lies between the least and the largest of them; the first and the last are its values at both ends.
    Shape: `coeffs` (K, P), PPoly's layout, K at least 4; `width_s` (P,); result (K, P), (K-1, P), (K-2, P), (K-3, P).
    Source: textbook.
    """
    power, found = coeffs[::-1] * width_s ** np.arange(len(coeffs))[:, None], []
    for order in range(4):
        found.append(_bernstein(len(power)) @ power / width_s**order)
        power = power[1:] * np.arange(1, len(power))[:, None]
    return found


def broken(coeffs: Floats, width_s: Floats, first: Ints, low: Floats, high: Floats) -> Bools:
    """Return which stretches break a limit by more than KEPT of it, exactly; stretch `n` is `first[n]` to `first[n+1]`.

    Most are told by the hulls and the ends of their pieces, or of a quarter of these; only the others are looked at
    more closely.
    Shape: `coeffs`, `width_s` as in `hulls`; `first` (N+1,), `low`, `high` (4,); result (N,).
    """
    most, sure = _outside(coeffs, width_s, low, high)
    found: Bools = np.maximum.reduceat(sure, first[:-1]) > KEPT
    stretch = np.repeat(np.arange(len(found)), np.diff(first))
    near = np.flatnonzero((most > KEPT) & ~found[stretch])
    if len(near):
        quarter, quarter_s = np.repeat(near, 4), np.repeat(width_s[near] / 4, 4)
        begin_s = np.tile(np.arange(4), len(near)) * quarter_s
        most, sure = _outside(shifted(coeffs[:, quarter], begin_s), quarter_s, low, high)
        found[stretch[quarter[sure > KEPT]]] = True
        near = near[most.reshape(-1, 4).max(axis=1) > KEPT]
        near = near[~found[stretch[near]]]
    if len(near):
        each = np.arange(len(near) + 1)
        extremes = Extremes.of(np.zeros(len(near)), width_s[near], coeffs[:, near], each)
        found[stretch[near[beyond(extremes, low, high) > KEPT]]] = True
    return found


def _outside(coeffs: Floats, width_s: Floats, low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Return by how much each piece may go beyond the limits at most, and by how much it does at its ends; or zero."""
    most, ends = np.zeros(len(width_s)), np.zeros(len(width_s))
    sizes = np.append(high[0] - low[0], high[1:])
    for hull, least, largest, size in zip(hulls(coeffs, width_s), low, high, sizes, strict=True):
        if np.isfinite(size):
            outside = np.maximum(hull - largest, least - hull) / size
            most, ends = np.maximum(most, outside.max(axis=0)), np.maximum(ends, np.maximum(outside[0], outside[-1]))
    return most, ends


@lru_cache
def _bernstein(size: int) -> Floats:
    """Return what turns power coefficients of a piece of length 1, lowest first, into Bernstein ones."""
    return np.array([[comb(i, j) / comb(size - 1, j) for j in range(size)] for i in range(size)])
