"""How fast an axis went, sped up and jerked, from where it was seen to stand: slopes of curves fitted over a while.

Differences from one sighting to the next would show their noise and nothing else. A peak that is shorter than the while
is flattened; none is made up. Nothing is guessed across a gap.
Source: Savitzky and Golay 1964 (least squares with a polynomial over a window that moves).
"""

import math

import numpy as np
from numpy.typing import NDArray

from sequencer.takes.frames import positions_at

Floats = NDArray[np.float64]

# for speed, acceleration and jerk: how long the while is, and of which degree the curve
WHILES_S = (0.1, 0.2, 0.3)
_DEGREES = (2, 2, 3)


def largest_rates(stamps_s: Floats, positions: Floats, span_s: tuple[float, float]) -> Floats:
    """Return the largest speed, acceleration and jerk of each axis, either way, within a span; NaN where not known.

    Shape: (M,), (M, A) to (3, A). Unit: seconds; each axis's own, a second to the power of the order.
    """
    from scipy.signal import savgol_coeffs  # half a second of a start, for the few commands that come here

    found = np.full((3, positions.shape[1]), np.nan)
    steps = np.diff(np.unique(stamps_s))
    begin_s, end_s = span_s
    if not len(steps) or not begin_s < end_s:
        return found
    step_s = float(np.median(steps))
    grid = np.arange(begin_s - WHILES_S[-1], end_s + WHILES_S[-1], step_s)
    values = positions_at(stamps_s, positions, grid)
    for order, (while_s, degree) in enumerate(zip(WHILES_S, _DEGREES, strict=True), 1):
        half = max(math.ceil(while_s / 2 / step_s), degree // 2 + 1)
        if len(grid) <= 2 * half:
            continue
        weights = savgol_coeffs(2 * half + 1, degree, deriv=order, delta=step_s)
        inside = (grid[half:-half] >= begin_s) & (grid[half:-half] <= end_s)
        for axis, column in enumerate(values.T):
            # what is not known makes all that is fitted over it unknown
            rates = np.abs(np.convolve(column, weights, "valid"))[inside]
            known = rates[np.isfinite(rates)]
            found[order - 1, axis] = known.max() if len(known) else np.nan
    return found
