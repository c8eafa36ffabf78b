"""Speed up by a rounded ramp, run, slow down by another: pieces of even jerk. It refuses steps in acceleration.

Source: textbook (motion profiles of seven phases).
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from sequencer.score.easing import Factors, LawKind, Leg, UnitCurve
from sequencer.score.ramps import SHORTEST, Part, part_of, ramp_for_acceleration, ramp_for_jerk, refuse

_PLAIN_RAMP, _PLAIN_ROUNDING = 1 / 3, 0.5
_LEAST_ROUNDING = 1e-5
_LEAST_CORNER = 1e-6  # ramp times rounding, where both come from the limits


@dataclass(frozen=True, slots=True)
class SCurve:
    """`ramp` is the part of the leg's time in which the axis speeds up, and again the part in which it slows down;
    `rounding` the part of each ramp's time in which the acceleration builds up, and again that in which it falls.

    "limits" takes a part from the axis, so that acceleration and jerk keep their limits and the speed stays low.
    """

    ramp: Part = "limits"
    rounding: Part = "limits"

    def __post_init__(self) -> None:
        refuse("ramp", self.ramp, SHORTEST, "the leg")
        refuse("rounding", self.rounding, _LEAST_ROUNDING, "the ramp")


def _parts(how: SCurve) -> tuple[float, float]:
    return part_of(how.ramp, _PLAIN_RAMP), part_of(how.rounding, _PLAIN_ROUNDING)


@lru_cache(maxsize=65536)
def curve(how: SCurve) -> UnitCurve:
    """Return the cubic pieces; those of no length are left out."""
    ramp, rounding = _parts(how)
    peak = factors(how)
    speed, third, half = peak.speed, peak.jerk / 6, peak.acceleration / 2
    corner = ramp * rounding  # how long the acceleration builds up
    gained, gone, rise = half * corner, third * corner**3, speed * ramp / 2
    late = rise - speed * corner + gone  # where the acceleration begins to fall
    even, run = rounding < 0.5, ramp < 0.5
    rows = [(0.0, third, 0.0, 0.0, 0.0)]
    rows += [(corner, 0.0, half, gained, gone)] if even else []
    rows += [(ramp - corner, -third, half, speed - gained, late)]
    rows += [(ramp, 0.0, 0.0, speed, rise)] if run else []
    rows += [(1 - ramp, -third, 0.0, speed, 1 - rise)]
    rows += [(1 - ramp + corner, 0.0, -half, speed - gained, 1 - late)] if even else []
    rows += [(1 - corner, third, -half, gained, 1 - gone)]
    table = np.array(rows).T
    return UnitCurve(np.append(table[0], 1.0), table[1:])


def factors(how: SCurve) -> Factors:
    """Return its peaks."""
    ramp, rounding = _parts(how)
    speed = 1 / (1 - ramp)
    acceleration = speed / (ramp * (1 - rounding))
    return Factors(speed, acceleration, acceleration / (ramp * rounding))


def suited(how: SCurve, leg: Leg) -> SCurve:
    """Return the parts with the lowest peak speed that keep the limits of acceleration and jerk.

    Where nothing keeps both, the shape that is least over the worse of the two. With a `rounding` that is written, the
    shortest ramp that keeps both; with a `ramp` that is written, the shortest rounding that keeps the jerk.
    """
    # what the leg asks of acceleration and of jerk, and the part of its time in which the full acceleration builds up
    pull = abs(leg.way) / (leg.acceleration * leg.lasts_s**2)
    jolt = abs(leg.way) / (leg.jerk * leg.lasts_s**3)
    build = leg.acceleration / (leg.jerk * leg.lasts_s)
    ramp, rounding = how.ramp, how.rounding
    if not isinstance(ramp, str):
        if not isinstance(rounding, str):
            return how
        least = ramp_for_acceleration(jolt / (ramp**2 * (1 - ramp)))  # the same square, of the ramp's own time
        return SCurve(ramp, max(least, _LEAST_ROUNDING))
    if isinstance(rounding, str):
        lowest, wanted = _lowest(pull, jolt, build)
        lowest = max(lowest, SHORTEST)
        drawn = max(wanted, _LEAST_ROUNDING, _LEAST_CORNER / lowest)
        if drawn <= wanted:
            return SCurve(lowest, wanted)
        rounding = drawn
    # with a rounding that is written, or that was too small to be drawn
    shortest = max(ramp_for_acceleration(pull / (1 - rounding)), ramp_for_jerk(jolt / (rounding * (1 - rounding))))
    return SCurve(max(shortest, SHORTEST), rounding)


def _lowest(pull: float, jolt: float, build: float) -> tuple[float, float]:
    """Return ramp and rounding: from D = v (T - v / A - A / J), or without even acceleration D = v (T - 2 sqrt(v / J)).

    In parts of the leg's time the former is (ramp - build) (1 - ramp) = pull, the latter ramp**2 (1 - ramp) = 4 jolt.
    """
    ramp = ramp_for_jerk(4 * jolt)
    if ramp < 0.5 and ramp <= 2 * build:
        return ramp, 0.5
    inside = (1 - build) ** 2 - 4 * pull
    if ramp < 0.5 and inside >= 0:
        ramp = 2 * (build + pull) / (1 + build + math.sqrt(inside))
        if ramp < 0.5:
            return ramp, build / ramp
    return 0.5, min(0.5, 2 * build)


KIND = LawKind("s-curve", SCurve, curve, factors, suited)
