"""The compiled move: one stacked set of piecewise polynomials for all axes.

Value, speed, acceleration and jerk are those of the polynomials themselves, so that what is checked is what is sent.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Trajectory:
    """Positions of A axes as piecewise polynomials over common breakpoints.

    Shape: `breaks_s` (S+1,) strictly rising; `coeffs` (K, S, A), local power basis, highest power first, the layout of
    scipy.interpolate.PPoly; `fit_error` (A,). Unit: seconds from the project's start; each axis's own unit.
    Before the first break and after the last, every axis holds the value that it has there.
    `fit_error` says, in the axis's unit, how far the pieces stray from laws that are no polynomials.
    """

    axes: tuple[str, ...]
    breaks_s: Floats
    coeffs: Floats
    fit_error: Floats

    @property
    def start_s(self) -> float:
        return float(self.breaks_s[0])

    @property
    def end_s(self) -> float:
        return float(self.breaks_s[-1])
