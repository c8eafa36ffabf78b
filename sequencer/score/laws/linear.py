"""Even speed from key to key. It refuses no leg, though a motor cannot take the jolt at an end that is at rest."""

import math
from functools import cache

import numpy as np

from sequencer.score.easing import Factors, LawKind, NoSettings, UnitCurve


@cache
def curve(how: NoSettings) -> UnitCurve:
    """Return the straight line."""
    return UnitCurve(np.array([0.0, 1.0]), np.array([[1.0], [0.0]]))


def factors(how: NoSettings) -> Factors:
    """Return its peaks: from rest, the speed is there at once."""
    return Factors(1.0, math.inf, math.inf)


KIND = LawKind("linear", NoSettings, curve, factors)
