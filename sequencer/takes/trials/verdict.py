"""How a step went: followed, or the first sign of trouble, with what to look for.

It knows no motor: an axis follows when it is where the setpoints were a delay ago, give or take its play.
"""

import numpy as np

from sequencer.rig.axis import Axis
from sequencer.takes.trials.following import Following, lagged
from sequencer.takes.trials.seen import Seen
from sequencer.takes.trials.step import Leg, Step

SHORT = 0.985  # of what was asked for: less, beyond doubt, is not followed, and shows what the axis can do
TOLERANCE_S = 0.02  # as the guard's: what an axis travels in this time at full speed
_STILL = 0.2  # of the way that was asked for
_FEWEST_HZ = 25.0


def unmoved(axis: Axis, step: Step, seen: Seen, noise: float) -> str:
    """Return what is wrong with the rig's answers as such, in words with what to look for, or nothing."""
    unit = "of its range" if axis.unit == "part" else axis.unit
    if len(seen.actual) < 2 or len(seen.asked) < 2:
        return f"{axis.name} does not say where it stands; check that the rig sends its actual positions"
    lasted_s = float(seen.asked_s[-1] - seen.asked_s[0])
    if len(seen.actual) < _FEWEST_HZ * min(lasted_s, step.lasts_s):
        rate_hz = len(seen.actual) / max(lasted_s, 1e-9)
        return (
            f"{axis.name} says only {rate_hz:.0f} times a second where it stands, too seldom to measure; let the rig "
            f"answer at least {_FEWEST_HZ:g} times a second, and check its link"
        )
    asked, went = float(np.ptp(seen.asked)), float(np.ptp(seen.actual))
    if asked > 0 and went - 6 * noise < _STILL * asked:
        return (
            f"{axis.name} was sent {asked:.3g} {unit} and says it stands still: is the motor on, is the axis blocked, "
            "does the encoder report?"
        )
    there = np.interp(seen.actual_s, seen.asked_s, seen.asked)
    if float(np.mean((there - there.mean()) * (seen.actual - seen.actual.mean()))) < 0:
        return (
            f"{axis.name} says it goes the other way than it is sent; let motor and encoder count the same way before "
            "anything else is tried"
        )
    return ""


def off(seen: Seen, leg: Leg, how: Following) -> float:
    """Return how far the axis is at most from where its delay and lag leave it, in a leg and the rest after it."""
    at_s, actual = seen.between(leg.at_s, leg.ends_s + leg.rests_s)
    if not len(at_s):
        return 0.0
    answer = lagged(seen.asked_s, seen.asked, how.lag_s)
    return float(np.max(np.abs(np.interp(at_s - how.delay_s + how.lag_s, seen.asked_s, answer) - actual)))
