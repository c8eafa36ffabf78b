"""Speed up evenly, run, slow down evenly. It refuses ramps longer than half the leg.

Source: Cam Design Handbook (Rothbart ed., McGraw-Hill 2004), from memory.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from sequencer.score.easing import Factors, LawKind, Leg, UnitCurve
from sequencer.score.ramps import SHORTEST, Part, part_of, ramp_for_acceleration, refuse

_PLAIN = 1 / 3


@dataclass(frozen=True, slots=True)
class Trapezoid:
    """`ramp` is the part of the leg's time in which the axis speeds up, and again the part in which it slows down.

    "limits" takes it from the axis: the shortest that keeps the acceleration limit, so that the speed stays low.
    """

    ramp: Part = _PLAIN

    def __post_init__(self) -> None:
        refuse("ramp", self.ramp, SHORTEST, "the leg")


@lru_cache(maxsize=65536)
def curve(how: Trapezoid) -> UnitCurve:
    """Return the parabola, line and parabola."""
    ramp = part_of(how.ramp, _PLAIN)
    speed = 1 / (1 - ramp)
    rise = speed * ramp / 2
    half = speed / ramp / 2
    if ramp == 0.5:  # without a run between them, the ramps meet
        return UnitCurve(np.array([0.0, 0.5, 1.0]), np.array([[half, -half], [0, speed], [0, rise]]))
    breaks = np.array([0.0, ramp, 1 - ramp, 1.0])
    return UnitCurve(breaks, np.array([[half, 0, -half], [0, speed, speed], [0, rise, 1 - rise]]))


def factors(how: Trapezoid) -> Factors:
    """Return its peaks; the acceleration is there at once."""
    ramp = part_of(how.ramp, _PLAIN)
    speed = 1 / (1 - ramp)
    return Factors(speed, speed / ramp, math.inf)


def suited(how: Trapezoid, leg: Leg) -> Trapezoid:
    """Return the shortest ramp that keeps the acceleration limit, or the longest there is where none does."""
    if how.ramp != "limits":
        return how
    return Trapezoid(max(ramp_for_acceleration(abs(leg.way) / (leg.acceleration * leg.lasts_s**2)), SHORTEST))


KIND = LawKind("trapezoid", Trapezoid, curve, factors, suited)
