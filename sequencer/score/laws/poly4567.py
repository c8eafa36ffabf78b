"""The 4-5-6-7 polynomial: rest to rest, and the jerk too begins and ends at nothing. It refuses to have settings.

Source: Cam Design Handbook (Rothbart ed., McGraw-Hill 2004), from memory.
"""

import math
from functools import cache

import numpy as np

from sequencer.score.easing import Factors, LawKind, NoSettings, UnitCurve


@cache
def curve(how: NoSettings) -> UnitCurve:
    """Return -20 u^7 + 70 u^6 - 84 u^5 + 35 u^4."""
    coeffs = np.array([-20.0, 70.0, -84.0, 35.0, 0.0, 0.0, 0.0, 0.0])
    return UnitCurve(np.array([0.0, 1.0]), coeffs[:, None])


def factors(how: NoSettings) -> Factors:
    """Return its peaks; speed and jerk have theirs in the middle."""
    return Factors(35 / 16, 84 / (5 * math.sqrt(5)), 105 / 2)


KIND = LawKind("poly4567", NoSettings, curve, factors)
