"""How much time a leg needs by a law, on one axis. It refuses to count a law that jolts as one that any time suffices.

Source: textbook (a law's peaks fall with the first, second and third power of the leg's time).
"""

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np

from sequencer.motion.extremes import Extremes
from sequencer.motion.legs import leg_of
from sequencer.motion.peaks import TOLERANCE
from sequencer.motion.repair.load import KEPT
from sequencer.rig.axis import Axis
from sequencer.score.easing import Factors, Laws, NoCurve, UnitCurve, settings_of
from sequencer.score.move import Ease

# halvings of the time: it is then right to a part in 10**13
_HALVINGS = 45
_JOLTS = Factors(math.inf, math.inf, math.inf)


def ratios(ease: Ease, laws: Laws, axis: Axis, way: float, lasts_s: float) -> tuple[float, float, float]:
    """Return the peaks of a leg from rest to rest over the axis's limits: speed, acceleration, jerk.

    They are infinite for a law that jolts there, and for one without a curve of its own. Error: as in `curve_of`.
    """
    kind, how = settings_of(ease, laws)
    if kind.suited is not None:
        how = kind.suited(how, leg_of(axis, way, lasts_s))
    if isinstance(kind.curve, NoCurve):
        peaks = _JOLTS
    else:
        peaks = kind.factors(how) if kind.factors is not None else _peaks(kind.curve(how))
    speed = abs(way) / lasts_s
    return (
        peaks.speed * speed / axis.speed,
        peaks.acceleration * speed / lasts_s / axis.acceleration,
        peaks.jerk * speed / lasts_s**2 / axis.jerk,
    )


def least_s(ease: Ease, laws: Laws, axis: Axis, way: float) -> float:
    """Return the shortest time in which the law takes the axis that way, from rest to rest. Error: as in `curve_of`."""
    if way == 0:
        return 0.0
    speed, acceleration, jerk = ratios(ease, laws, axis, way, 1.0)
    high = max(speed, math.sqrt(acceleration), math.cbrt(jerk))
    if settings_of(ease, laws)[0].suited is None or not math.isfinite(high):
        return high
    # of a law that takes its shape from the limits, each time asks for another curve
    while max(ratios(ease, laws, axis, way, high)) > 1 + KEPT:
        high *= 2
    low = 0.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (low, middle) if max(ratios(ease, laws, axis, way, middle)) <= 1 + KEPT else (middle, high)
    return high


def gentlest(ease: Ease, laws: Laws, axis: Axis, way: float, lasts_s: float) -> tuple[Ease, float]:
    """Return the law with the settings that ask least of the axis, and its worst peak over the axis's limit.

    A law that takes its shape from the limits gets it from smaller ones, as small as will do: nothing is then asked to
    the last when there is room. Error: as in `curve_of`.
    """
    kind, how = settings_of(ease, laws)
    least = max(ratios(ease, laws, axis, way, lasts_s))
    if kind.suited is None or not least <= 1 + KEPT:
        return ease, least

    def part_of(axis: Axis, part: float) -> Axis:
        return replace(axis, speed=axis.speed * part, acceleration=axis.acceleration * part, jerk=axis.jerk * part)

    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        fits = max(ratios(ease, laws, part_of(axis, middle), way, lasts_s)) <= 1 + KEPT
        low, high = (low, middle) if fits else (middle, high)
    if high == 1.0:
        return ease, least
    return Ease(ease.law, kind.suited(how, leg_of(part_of(axis, high), way, lasts_s))), high


@lru_cache(maxsize=4096)
def _peaks(curve: UnitCurve | object) -> Factors:
    """Return the largest speed, acceleration and jerk between rests."""
    if not isinstance(curve, UnitCurve):
        return _JOLTS
    breaks = curve.breaks
    found = Extremes.of(breaks[:-1], np.diff(breaks), curve.coeffs, np.array([0, len(breaks) - 1]))
    jolts = any(np.abs(state[1:]).max() > TOLERANCE for state in (found.begin, found.end))
    return _JOLTS if jolts or found.step.max() > TOLERANCE else Factors(*found.peak[:, 0].tolist())
