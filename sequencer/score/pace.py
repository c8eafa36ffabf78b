"""How fast a pass runs beside the move as it is written, and which of its frames are frames of the move: exact.

A camera's rate is set to a thousandth of a frame a second at best (common practice, no source), so that a rate that
comes from a square root is rounded to that. The speed is then made from the rounded rate: whatever was rounded, each
frame that is shot shows exactly the positions of a frame of the move, and only the time is off, by what `missed` says.
"""

import math
from fractions import Fraction

from sequencer.score.move import Pass
from sequencer.timebase.rate import Rate

_FINEST = 1000  # parts of a frame a second


def root(number: Fraction) -> Fraction | None:
    """Return the square root of a number above zero where it is a fraction itself, else None."""
    above, below = math.isqrt(number.numerator), math.isqrt(number.denominator)
    return Fraction(above, below) if (above**2, below**2) == (number.numerator, number.denominator) else None


def model_rate(rate: Rate, factor: Fraction) -> Fraction:
    """Return at how many frames a second a model of `factor` of the full size is shot, for a picture at `rate`.

    Exact where the root is a fraction, else to the nearest thousandth of a frame a second.
    Source: the law of Froude, in every textbook of fluid mechanics (from memory): where gravity drives what moves, the
    times of a model are those of the full size by the square root of its scale.
    """
    exact = root(factor)
    if exact is not None:
        return rate.fraction / exact
    square = rate.fraction**2 / factor * _FINEST**2
    return Fraction(max(1, (math.isqrt(math.floor(4 * square)) + 1) // 2), _FINEST)


def frame_for_frame(rate: Rate, shot: Fraction) -> Fraction:
    """Return the speed at which a camera at `shot` frames a second sees the frames of the move, one after the other."""
    return shot / rate.fraction


def step(rate: Rate, one: Pass) -> Fraction:
    """Return how many frames of the move go by from one frame that is shot to the next: 1 is frame for frame.

    With a step of 1/2 every second frame that is shot is a frame of the move; with 2 every second frame of the move is
    shot. In general each `denominator`-th that is shot is each `numerator`-th of the move.
    """
    return one.speed * rate.fraction / (one.rate or rate.fraction)


def missed(one: Pass) -> float | None:
    """Return the part by which a pass is faster than the square root of its scale asks; None where nothing is asked."""
    if one.scale is None or not one.scale.time:
        return None
    return float(one.speed) * math.sqrt(one.scale.factor) - 1
