"""Smooth pieces through known values, slopes and curvatures, and the fit of a law that is no polynomial.

It refuses to claim an accuracy that it has not measured against the law itself.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from sequencer.score.easing import UnitCurve

Floats = NDArray[np.float64]

# of a parameter in [0, 1]: the part u of the time, the part of the way, slope and curvature there (over u)
Law = Callable[[Floats], tuple[Floats, Floats, Floats, Floats]]

TOLERANCE = 1e-9
_MOST_PIECES = 400
_ATTEMPTS = 40
_PROBES = np.linspace(0, 1, 34)[1:-1]

# Power coefficients, highest first, of the quintic on [0, 1] with value, slope and curvature (p0 v0 a0 p1 v1 a1).
# Source: textbook (quintic Hermite interpolation).
HERMITE = np.array(
    [
        [-6, -3, -1 / 2, 6, -3, 1 / 2],
        [15, 8, 3 / 2, -15, 7, -1],
        [-10, -6, -3 / 2, 10, -4, 1 / 2],
        [0, 0, 1 / 2, 0, 0, 0],
        [0, 1, 0, 0, 0, 0],
        [1, 0, 0, 0, 0, 0],
    ]
)


def hermite(breaks: Floats, value: Floats, slope: Floats, curvature: Floats) -> Floats:
    """Return the quintic pieces that meet in value, slope and curvature at every break.

    Shape: four times (S+1,), result (6, S) in the layout of UnitCurve.
    """
    width = np.diff(breaks)
    # about the first value, so that the small differences of a short piece keep their digits
    ends = np.stack(
        (
            np.zeros_like(width),
            slope[:-1] * width,
            curvature[:-1] * width**2,
            np.diff(value),
            slope[1:] * width,
            curvature[1:] * width**2,
        )
    )
    coeffs: Floats = (HERMITE @ ends) / width ** np.arange(5, -1, -1)[:, None]
    coeffs[-1] = value[:-1]
    return coeffs


def fit(law: Law) -> UnitCurve:
    """Return smooth pieces (C2) that stray from `law` by at most TOLERANCE of the way, and say by how much.

    A curvature that is infinite (at the end of some curves) is replaced by the mean one of its piece, which is short.
    Error: ValueError where no reasonable number of pieces is enough.
    """
    nodes = np.linspace(0, 1, 9)
    for attempt in range(_ATTEMPTS):
        breaks, value, slope, curvature = law(nodes)
        secant = np.diff(slope) / np.diff(breaks)
        curvature = np.where(np.isfinite(curvature), curvature, np.append(secant[:1], secant))
        curve = UnitCurve(breaks, hermite(breaks, value, slope, curvature))
        u, true, _, _ = law((nodes[:-1, None] + np.diff(nodes)[:, None] * _PROBES).ravel())
        # between the probes it may stray a little further
        errors = np.abs(curve.sample(u) - true).reshape(-1, len(_PROBES)).max(axis=1) * 1.02
        if errors.max() <= TOLERANCE:
            return UnitCurve(breaks, curve.coeffs, float(errors.max()))
        # The error of a piece falls with the sixth power of its width: share it out evenly, with a little more room
        # at each attempt.
        parts = np.cumsum(np.append(0, np.maximum((errors / TOLERANCE) ** (1 / 6), 0.05)))
        count = int(np.ceil(parts[-1] * (1 + attempt / 50)))
        if count > _MOST_PIECES:
            break
        nodes = np.interp(np.linspace(0, parts[-1], count + 1), parts, nodes)
    raise ValueError("the curve bends more sharply than any motor could follow; give it a gentler bend")
