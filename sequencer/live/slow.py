"""A path that takes minutes or hours, as in a timelapse, captured as if it went so many times as fast.

What is slow beside the motors is no slower to capture than what is not, and its keys stand as far apart as they can.
It refuses nothing that `capture` does not.
"""

from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction
from math import ceil

import numpy as np
from numpy.typing import NDArray

from sequencer.live.capture import Captured, capture
from sequencer.live.performed import Path
from sequencer.rig.axis import Axis, Rig
from sequencer.score.easing import Laws
from sequencer.score.move import Key, Move
from sequencer.timebase.instants import instant, labelled
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]

SHORT_S = 60.0  # what lasts no longer is captured as it is
_STILL = 1e-6  # of the tolerance: no hand trembles here, so that what moves at all is meant to
_PART = 0.5  # of an axis's speed: how fast it may become


def times(axes: Iterable[tuple[Axis, Floats]], t_s: Floats) -> int:
    """Return how many times as fast the path may go: as often as makes it short, as far as its axes stay at ease.

    Shape: `t_s` and each axis's values (T,).
    """
    wanted = ceil(float(t_s[-1] - t_s[0]) / SHORT_S)
    fastest = max(float(np.abs(np.diff(values) / np.diff(t_s)).max()) / axis.speed for axis, values in axes)
    return max(1, min(wanted, int(_PART / fastest)) if fastest > 0 else wanted)


def captured(
    axis: Axis, rate: Rate, laws: Laws, path: Path, span: tuple[Fraction, Fraction], within: float, fast: int
) -> tuple[tuple[Key, ...], Captured]:
    """Return the keys of one axis that goes along a path, and how well, found as if it went `fast` times as fast.

    Unit and Error: as in `capture`; instants in words are those of the path itself.
    """
    quick = replace(axis, speed=axis.speed * fast, acceleration=axis.acceleration * fast**2, jerk=axis.jerk * fast**3)
    alone, hurried = Rig(name=axis.name, axes=(quick,)), Path(path.at_s / fast, path.position)
    ends = span[0] / fast, span[1] / fast
    try:
        move, one = capture(alone, Move(tracks=()), rate, laws, axis.name, hurried, ends, within, _STILL)
    except ValueError as fault:
        raise ValueError(labelled(str(fault), lambda at: instant(at * fast))) from fault
    keys = tuple(replace(key, at=key.at * fast) for key in move.tracks[0].keys)
    added = tuple(at * fast for at in one.added)
    return keys, replace(one, start=span[0], end=span[1], at=one.at * fast, added=added)
