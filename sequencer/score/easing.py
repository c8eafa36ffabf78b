"""What a motion law is: a curve from (0, 0) to (1, 1) as piecewise polynomials, and the record that announces it.

A law is one file in `score/laws/` (or an entry point of the group `twintake.laws`) that exports `KIND: LawKind`.
It refuses to know the laws: which there are is an argument (`shell.kinds` finds them).
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sequencer.score.move import Ease

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

    def sample(self, u: Floats, order: int = 0) -> Floats:
        """Return the curve, or its derivative of `order`, at the parts `u` of the time. Shape: (N,), result (N,)."""
        from scipy.interpolate import PPoly  # half a second of a start, which most never need

        values: Floats = PPoly.construct_fast(self.coeffs, self.breaks)(u, order)
        return values


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """A curve in the axis's own unit: how far a leg is from the straight line between its keys, as a repair drew it.

    Shape: `breaks` (S+1,), parts of the leg's time from 0 to 1; `coeffs` (K, S) as in UnitCurve. It is 0 at both ends.
    """

    breaks: Floats
    coeffs: Floats


class NoCurve(Enum):
    """What stands in the place of a curve for the two laws that have none."""

    STILL = "the axis stays where it is, so both keys of the leg have the same value"
    RUN = "legs in a row make one smooth run, which is solved as a whole when the move is compiled"


@dataclass(frozen=True, slots=True)
class NoSettings:
    """The settings of a law that has none."""


@dataclass(frozen=True, slots=True)
class Factors:
    """The largest speed, acceleration and jerk of a law on the unit square; infinite where it has a step.

    On a leg of way D and time T they are multiplied by |D|/T, |D|/T**2 and |D|/T**3.
    """

    speed: float
    acceleration: float
    jerk: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Leg:
    """One leg, and what its axis can do. Unit: the axis's own, that a second, a second squared, a second cubed."""

    way: float
    lasts_s: float
    speed: float
    acceleration: float
    jerk: float


@dataclass(frozen=True, slots=True)
class LawKind:
    """The record that a law's file exports as `KIND`.

    `settings` is a frozen dataclass whose fields are what a project file may write beside `"law"`, checked in its
    `__post_init__` (ValueError in plain words); `curve` turns a value of it into the law's curve, the same curve for
    the same settings. `factors`: in closed form, where the law has one. `suited` returns, for settings that leave
    something to the axis's limits (a field that says "limits"), those for one leg, and others just as they came.
    `reversed` and `scaled` return the settings of the same curve run backward, or drawn `factor` times as large;
    without them the settings stay as they are. `curves` returns the curves of many settings at once, for a law of which
    a move may have thousands, each with settings of its own; every value of them has a curve then.
    """

    name: str
    settings: type[Any]
    curve: Callable[[Any], UnitCurve | Drawn] | NoCurve
    factors: Callable[[Any], Factors] | None = None
    suited: Callable[[Any, Leg], Any] | None = None
    reversed: Callable[[Any], Any] | None = None
    scaled: Callable[[Any, float], Any] | None = None
    curves: Callable[[Sequence[Any]], Sequence[UnitCurve | Drawn]] | None = None


Laws = Mapping[str, LawKind]


def curve_of(ease: Ease, laws: Laws, leg: Leg | None = None) -> UnitCurve | Drawn | NoCurve:
    """Return the curve that `ease` asks for; `how` None means the law's defaults.

    What the settings leave to the axis's limits is taken from `leg`, where there is one.
    Error: ValueError in plain words for a law that there is not, or settings that the law cannot use.
    """
    kind, how = settings_of(ease, laws)
    if kind.suited is not None and leg is not None:
        how = kind.suited(how, leg)
    return kind.curve if isinstance(kind.curve, NoCurve) else kind.curve(how)


def curves_of(eases: Sequence[Ease], laws: Laws) -> list[UnitCurve | Drawn | NoCurve]:
    """Return the curve of each ease. Error: ValueError as in `curve_of`."""
    found: list[UnitCurve | Drawn | NoCurve] = [NoCurve.STILL] * len(eases)
    many: dict[str, list[int]] = {}
    for place, ease in enumerate(eases):
        if ease.law in laws and laws[ease.law].curves is not None:
            many.setdefault(ease.law, []).append(place)
        else:
            found[place] = curve_of(ease, laws)
    for law, places in many.items():
        at_once = laws[law].curves
        assert at_once is not None
        for place, curve in zip(places, at_once([settings_of(eases[each], laws)[1] for each in places]), strict=True):
            found[place] = curve
    return found


def settings_of(ease: Ease, laws: Laws) -> tuple[LawKind, Any]:
    """Return the law that `ease` names, and its settings. Error: ValueError as in `curve_of`."""
    kind = laws.get(ease.law)
    if kind is None:
        raise ValueError(f"there is no motion law {ease.law!r}; there are {', '.join(sorted(laws))}")
    how = ease.how
    if how is None:
        try:
            how = kind.settings()
        except TypeError:
            raise ValueError(f"the motion law {ease.law!r} needs its settings; write them") from None
    if not isinstance(how, kind.settings):
        raise ValueError(f"the motion law {ease.law!r} cannot use the settings {how!r}; correct them")
    return kind, how
