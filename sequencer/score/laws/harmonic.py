"""Simple harmonic motion: half a cosine. It refuses to hide that its acceleration begins and ends at once.

Source: Cam Design Handbook (Rothbart ed., McGraw-Hill 2004), from memory.
"""

import math
from functools import cache

import numpy as np
from numpy.typing import NDArray

from sequencer.score.easing import Factors, LawKind, NoSettings, UnitCurve
from sequencer.score.fit import fit_wave

Floats = NDArray[np.float64]


def motion(u: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Return (1 - cos(pi u)) / 2, and its speed, acceleration and jerk. Shape: all that of `u`."""
    angle = np.pi * u
    sine, cosine = np.sin(angle), np.cos(angle)
    return np.sin(angle / 2) ** 2, np.pi / 2 * sine, np.pi**2 / 2 * cosine, -(np.pi**3) / 2 * sine


@cache
def curve(how: NoSettings) -> UnitCurve:
    """Return the half cosine as two pieces."""
    return fit_wave(motion, np.array([0.0, 0.5, 1.0]))


def factors(how: NoSettings) -> Factors:
    """Return its peaks; the acceleration is there at once at both ends."""
    return Factors(math.pi / 2, math.pi**2 / 2, math.inf)


KIND = LawKind("harmonic", NoSettings, curve, factors)
