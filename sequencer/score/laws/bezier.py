"""The cubic Bézier easing of the web, from (0, 0) to (1, 1) by two handles. It refuses handles that ask endless speed.

Where a handle lies on its own corner, or nearly so, the curve begins or ends with endless acceleration (the standard's
`ease-in` and `ease-out` do): it is drawn as the standard defines it, and the check against the motors will say so.
Source: W3C CSS Easing Functions Level 1, cubic Bézier easing functions.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sequencer.score.easing import LawKind, UnitCurve
from sequencer.score.fit import fit

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Bezier:
    """`points` are the two handles (x1, y1, x2, y2): x is part of the time in [0, 1], y part of the way."""

    points: tuple[float, float, float, float]

    def __post_init__(self) -> None:
        if len(self.points) != 4 or not all(math.isfinite(each) for each in self.points):
            raise ValueError(f"points are {list(self.points)}; they must be four numbers x1, y1, x2, y2")
        x1, y1, x2, y2 = self.points
        for name, value in (("x1", x1), ("x2", x2)):
            if not 0 <= value <= 1:
                raise ValueError(f"{name} is {value}; it must lie in 0 to 1, since time does not run backward")
        for end, (x, y), (further_x, further_y) in (
            ("begins", (x1, y1), (x2, y2)),
            ("ends", (1 - x2, 1 - y2), (1 - x1, 1 - y1)),
        ):
            if x == 0 and (y != 0 or (further_x == 0 and further_y != 0)):
                raise ValueError(f"the curve {end} with endless speed; move the handle there off the vertical")
        if x1 == 1 and x2 == 0:
            raise ValueError("the curve has endless speed in its middle; move one handle towards its own end")

    def law(self, t: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """Return the part of the time, the part of the way, slope and curvature at the curve's parameter `t` in [0, 1].

        Shape: all (N,). The curvature is infinite or NaN at an end that has endless acceleration.
        """
        x1, y1, x2, y2 = self.points
        u, u1, u2 = _cubic(x1, x2, t)
        way, way1, way2 = _cubic(y1, y2, t)
        with np.errstate(divide="ignore", invalid="ignore"):
            slope = way1 / u1
            curvature = (way2 * u1 - way1 * u2) / u1**3
        # a handle on its corner: the curve leaves in the direction of the other handle, or of the other corner
        if x1 == 0:
            slope = np.where(t == 0, y2 / x2 if x2 else 1.0, slope)
        if x2 == 1:
            slope = np.where(t == 1, (1 - y1) / (1 - x1) if x1 < 1 else 1.0, slope)
        return u, way, slope, curvature


def _cubic(first: float, second: float, t: Floats) -> tuple[Floats, Floats, Floats]:
    """Return the cubic with Bernstein coefficients 0, `first`, `second`, 1, and its two derivatives. Shape: (N,)."""
    r = 1 - t
    return (
        3 * r * r * t * first + 3 * r * t * t * second + t**3,
        3 * (r * r * first + 2 * r * t * (second - first) + t * t * (1 - second)),
        6 * (r * (second - 2 * first) + t * (1 - 2 * second + first)),
    )


@lru_cache(maxsize=4096)
def curve(how: Bezier) -> UnitCurve:
    """Return the fit of the curve. Error: ValueError for handles so near to endless speed that nothing can follow."""
    return fit(how.law)


def backward(how: Bezier) -> Bezier:
    """Return the same curve from its end to its begin."""
    x1, y1, x2, y2 = how.points
    return Bezier((1 - x2, 1 - y2, 1 - x1, 1 - y1))


# It has no factors: the peaks of the fit, which the motors get, are not those of the curve to the last digits.
KIND = LawKind("bezier", Bezier, curve, reversed=backward)
