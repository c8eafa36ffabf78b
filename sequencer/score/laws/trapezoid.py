"""Speed up evenly, run, slow down evenly. It refuses ramps longer than half the leg.

Source: Cam Design Handbook (Rothbart ed., McGraw-Hill 2004), from memory.
"""

from dataclasses import dataclass

import numpy as np

from sequencer.score.easing import LawKind, UnitCurve


@dataclass(frozen=True, slots=True)
class Trapezoid:
    """`ramp` is the part of the leg's time in which the axis speeds up, and again the part in which it slows down."""

    ramp: float = 1 / 3

    def __post_init__(self) -> None:
        if not 0 < self.ramp <= 0.5:
            raise ValueError(f"ramp is {self.ramp}; it must be above 0 and at most 0.5 of the leg")


def curve(how: Trapezoid) -> UnitCurve:
    """Return the parabola, line and parabola; its peaks are speed 1/(1 - ramp), acceleration that over ramp."""
    ramp = how.ramp
    speed = 1 / (1 - ramp)
    rise = speed * ramp / 2
    half = speed / ramp / 2
    breaks = np.array([0.0, ramp, 1 - ramp, 1.0])
    coeffs = np.array([[half, 0, -half], [0, speed, speed], [0, rise, 1 - rise]])
    # without a run between them, the ramps meet
    kept = np.diff(breaks) > 0
    return UnitCurve(breaks[np.append(kept, True)], coeffs[:, kept])


KIND = LawKind("trapezoid", Trapezoid, curve)
