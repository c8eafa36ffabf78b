"""Simple harmonic motion: half a cosine. It refuses to hide that its acceleration begins and ends at once.

Source: Cam Design Handbook (Rothbart ed., McGraw-Hill 2004), from memory.
"""

from functools import cache

import numpy as np
from numpy.typing import NDArray

from sequencer.score.easing import LawKind, NoSettings, UnitCurve
from sequencer.score.fit import fit

Floats = NDArray[np.float64]


def law(u: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Return u, (1 - cos(pi u)) / 2, and its slope and curvature. Shape: all (N,)."""
    angle = np.pi * u
    return u, np.sin(angle / 2) ** 2, np.pi / 2 * np.sin(angle), np.pi**2 / 2 * np.cos(angle)


@cache
def curve(how: NoSettings) -> UnitCurve:
    """Return the fit of the half cosine; its peaks are speed pi/2, acceleration pi^2/2."""
    return fit(law)


KIND = LawKind("harmonic", NoSettings, curve)
