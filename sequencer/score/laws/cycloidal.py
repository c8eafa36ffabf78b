"""Cycloidal motion: the acceleration is one whole sine. It refuses to have settings.

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
    """Return u - sin(2 pi u) / (2 pi), and its speed, acceleration and jerk. Shape: all that of `u`."""
    full = 2 * np.pi
    sine, cosine = np.sin(full * u), np.cos(full * u)
    return u - sine / full, 1 - cosine, full * sine, full**2 * cosine


@cache
def curve(how: NoSettings) -> UnitCurve:
    """Return the sine's four quarters."""
    return fit_wave(motion, np.array([0.0, 0.25, 0.5, 0.75, 1.0]))


def factors(how: NoSettings) -> Factors:
    """Return its peaks; the jerk's are at both ends and in the middle."""
    return Factors(2.0, 2 * math.pi, 4 * math.pi**2)


KIND = LawKind("cycloidal", NoSettings, curve, factors)
