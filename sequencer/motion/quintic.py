"""A quintic piece as a linear function of its two end states: its jerk's cost, and the hulls that bound it.

It refuses units of its own: `ends` brings any state vector into the piece's own, in which its length is 1.
Source: textbook (quintic Hermite interpolation; a polynomial lies in the hull of its Bernstein coefficients).
"""

import numpy as np
from numpy.typing import NDArray

from sequencer.score.fit import HERMITE

Floats = NDArray[np.float64]

# All of a piece of length 1, over its ends (p0 v0 a0 p1 v1 a1); row by row a Bernstein coefficient.
POSITION_HULL = np.array(
    [
        [1, 0, 0, 0, 0, 0],
        [1, 1 / 5, 0, 0, 0, 0],
        [1, 2 / 5, 1 / 20, 0, 0, 0],
        [0, 0, 0, 1, -2 / 5, 1 / 20],
        [0, 0, 0, 1, -1 / 5, 0],
        [0, 0, 0, 1, 0, 0],
    ]
)
SPEED_HULL = 5 * np.diff(POSITION_HULL, axis=0)
ACCELERATION_HULL = 4 * np.diff(SPEED_HULL, axis=0)
JERK_HULL = 3 * np.diff(ACCELERATION_HULL, axis=0)
HULLS = (POSITION_HULL, SPEED_HULL, ACCELERATION_HULL, JERK_HULL)

# The integral of squared jerk over a piece of length 1 as a quadratic form in its ends (Flash & Hogan 1985).
_JERK = np.diag([60.0, 24.0, 6.0]) @ HERMITE[:3]
_GRAM = np.array([[1 / 5, 1 / 4, 1 / 3], [1 / 4, 1 / 3, 1 / 2], [1 / 3, 1 / 2, 1.0]])
JERK_COST = _JERK.T @ _GRAM @ _JERK


def ends(width: Floats, scale: Floats) -> Floats:
    """Return the factors that turn node states into the ends of pieces of length 1.

    A node's state is (position, speed * scale, acceleration * scale**2). A hull row of order n times these factors
    is the derivative of order n times width**n; JERK_COST times both factors, over width**5, is the cost.
    Shape: `width` (P,), `scale` (P+1,), result (P, 6).
    """
    left, right, one = width / scale[:-1], width / scale[1:], np.ones(len(width))
    factors: Floats = np.stack((one, left, left**2, one, right, right**2), axis=1)
    return factors
