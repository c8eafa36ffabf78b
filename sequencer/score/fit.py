"""Smooth pieces through known values, slopes and curvatures, and the fit of a law that is no polynomial.

It refuses to claim an accuracy that it has not measured against the law itself.
"""

from collections.abc import Callable

import numpy as np
from numpy.polynomial import Chebyshev, Polynomial
from numpy.polynomial.chebyshev import chebfit
from numpy.typing import NDArray

from sequencer.score.easing import UnitCurve

Floats = NDArray[np.float64]

# of a parameter in [0, 1]: the part u of the time, the part of the way, slope and curvature there (over u)
Law = Callable[[Floats], tuple[Floats, Floats, Floats, Floats]]
# of the part u of the time: the part of the way, speed, acceleration and jerk there
Motion = Callable[[Floats], tuple[Floats, Floats, Floats, Floats]]

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

# Degree of the jerk of a piece of a wave. Over a quarter of a wave it is then right to 3e-12 of its peak; a degree less
# is thirty times worse, and every coefficient costs each tick its time.
_JERK_DEGREE = 10
_SIZE = _JERK_DEGREE + 4
_LOBATTO = -np.cos(np.pi * np.arange(_JERK_DEGREE + 1) / _JERK_DEGREE)  # in [-1, 1], both ends among them
# power coefficients on [0, 1], lowest first, of each Chebyshev polynomial: one a column
_POWERS = np.zeros((_JERK_DEGREE + 1, _JERK_DEGREE + 1))
for _order in range(_JERK_DEGREE + 1):
    _basis = Chebyshev.basis(_order, domain=[0, 1])
    _POWERS[: _order + 1, _order] = _basis.convert(domain=[-1, 1], kind=Polynomial).coef


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


def fit_wave(motion: Motion, breaks: Floats) -> UnitCurve:
    """Return pieces between `breaks` that follow a law made of sines in value, speed, acceleration and jerk.

    They meet in value, speed and acceleration to rounding, and have the law's jerk at both of their ends. No piece may
    be longer than a quarter of a wave: the jerk then strays by at most 3e-12 of its peak. Where the law has its peaks
    at breaks, so has the curve, and the same ones.
    Source: textbook (Chebyshev interpolation of the jerk, integrated three times).
    """
    width = np.diff(breaks)
    u = breaks[:-1] + width * (_LOBATTO[:, None] + 1) / 2
    u[-1] = breaks[1:]
    value, speed, acceleration, jerk = motion(u)
    powers = np.arange(_SIZE)[:, None]
    # a piece over [0, 1], lowest power first, from where the law begins
    pieces = np.zeros((_SIZE, len(width)))
    pieces[1], pieces[2] = speed[0] * width, acceleration[0] * width**2 / 2
    pieces[3:] = _POWERS @ chebfit(_LOBATTO, jerk * width**3, _JERK_DEGREE)
    pieces[3:] /= powers[3:] * powers[2:-1] * powers[1:-2]
    # what is left to where the law ends, a matter of the last digits, in a quintic
    slopes = powers[1:] * pieces[1:]
    missing = np.zeros((6, len(width)))
    missing[3] = value[-1] - value[0] - pieces.sum(axis=0)
    missing[4] = speed[-1] * width - slopes.sum(axis=0)
    missing[5] = acceleration[-1] * width**2 - (powers[1:-1] * slopes[1:]).sum(axis=0)
    pieces[:6] += (HERMITE @ missing)[::-1]
    pieces[0] = value[0]
    curve = UnitCurve(breaks, (pieces / width**powers)[::-1])
    probes = (breaks[:-1] + width * _PROBES[:, None]).ravel()
    return UnitCurve(breaks, curve.coeffs, float(np.abs(curve.sample(probes) - motion(probes)[0]).max()) * 1.02)
