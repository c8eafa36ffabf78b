"""The 3-4-5 polynomial: rest to rest with the least jerk over the leg. It refuses to have settings.

Source: Cam Design Handbook (Rothbart ed., McGraw-Hill 2004), from memory; least jerk: Flash & Hogan 1985.
"""

import math
from functools import cache

import numpy as np

from sequencer.score.easing import Factors, LawKind, NoSettings, UnitCurve


@cache
def curve(how: NoSettings) -> UnitCurve:
    """Return 6 u^5 - 15 u^4 + 10 u^3."""
    return UnitCurve(np.array([0.0, 1.0]), np.array([[6.0], [-15.0], [10.0], [0.0], [0.0], [0.0]]))


def factors(how: NoSettings) -> Factors:
    """Return its peaks; the jerk's are at both ends."""
    return Factors(15 / 8, 10 / math.sqrt(3), 60.0)


KIND = LawKind("poly345", NoSettings, curve, factors)
