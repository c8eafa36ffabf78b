"""Even speed from key to key. It refuses no leg, though a motor cannot take the jolt at an end that is at rest."""

import numpy as np

from sequencer.score.easing import LawKind, NoSettings, UnitCurve


def curve(how: NoSettings) -> UnitCurve:
    """Return the straight line."""
    return UnitCurve(np.array([0.0, 1.0]), np.array([[1.0], [0.0]]))


KIND = LawKind("linear", NoSettings, curve)
