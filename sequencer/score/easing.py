"""What a motion law is: a curve from (0, 0) to (1, 1) as piecewise polynomials, and the record that announces it.

A law is one file in `score/laws/` (or an entry point of the group `twintake.laws`) that exports `KIND: LawKind`.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class UnitCurve:
    """A law on the unit square: u in [0, 1] is the part of the leg's time, the value the part of its way.

    Shape: `breaks` (S+1,) from 0 to 1; `coeffs` (K, S), local power basis, highest power first (scipy's PPoly):
    piece i is sum_k coeffs[k, i] * (u - breaks[i])**(K-1-k). `fit_error` is the largest distance, in parts of the way,
    from the law itself where that is no polynomial; 0 where the pieces are the law.
    """

    breaks: Floats
    coeffs: Floats
    fit_error: float = 0.0


@dataclass(frozen=True, slots=True)
class NoSettings:
    """The settings of a law that has none."""


@dataclass(frozen=True, slots=True)
class LawKind:
    """The record that a law's file exports as `KIND`.

    `settings` is a frozen dataclass whose fields are what a project file may write beside `"law"`, checked in its
    `__post_init__` (ValueError in plain words); `curve` turns a value of it into the law's curve.
    """

    name: str
    settings: type[Any]
    curve: Callable[[Any], UnitCurve]


Laws = Mapping[str, LawKind]
