"""What a track asks without limits, so that tests can set limits that bind."""

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.repair.excess import excess
from sequencer.motion.repair.run import Run, solved

Floats = NDArray[np.float64]
Rates = tuple[float, float, float]

FREELY = np.array([np.inf, 1e30, 1e30, 1e30])


def calm(at_s: Floats, values: Floats) -> Rates:
    """The peaks of the least-jerk curve without limits."""
    found = solved(Run(lasts_s=np.diff(at_s), values=values), -FREELY, FREELY)
    width_s = found.chain.width * found.chain.pace_s
    peak = []
    for order in (1, 2, 3):
        ones = np.array([np.inf, 1e30, 1e30, 1e30])
        ones[order] = 1.0
        peak.append(1 + float(excess(found.chain.coeffs(found.state), width_s, -ones, ones).max()))
    return peak[0], peak[1], peak[2]
