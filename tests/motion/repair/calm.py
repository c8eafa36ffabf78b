"""What a track asks without limits, so that tests can set limits that bind."""

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.extremes import Extremes
from sequencer.motion.repair.run import Run, Solved, solved

Floats = NDArray[np.float64]
Rates = tuple[float, float, float]

FREELY = np.array([np.inf, 1e30, 1e30, 1e30])


def calm(at_s: Floats, values: Floats) -> Rates:
    """The peaks of the least-jerk curve without limits."""
    found = solved(Run(lasts_s=np.diff(at_s), values=values), -FREELY, FREELY)
    speed, acceleration, jerk = extremes(found).peak.max(axis=1).tolist()
    return speed, acceleration, jerk


def extremes(found: Solved) -> Extremes:
    """What each piece of a solved curve asks, exactly."""
    width_s = found.chain.width * found.chain.pace_s
    each = np.arange(len(width_s) + 1)
    return Extremes.of(found.chain.since_s[:-1], width_s, found.chain.coeffs(found.state), each)
