"""Modified sine: quick sines at both ends, a slow one between them, for a low peak speed without a step.

It refuses to have settings: the ends are an eighth of the time each.
Source: Cam Design Handbook (Rothbart ed., McGraw-Hill 2004), from memory.
"""

import math
from functools import cache

import numpy as np
from numpy.typing import NDArray

from sequencer.score.easing import Factors, LawKind, NoSettings, UnitCurve
from sequencer.score.fit import fit_wave

Floats = NDArray[np.float64]

_END = 1 / 8
_QUICK = 4 * np.pi  # of the sines at the ends: radians in the leg's whole time
_SLOW = _QUICK / 3
_SPEED = np.pi / (4 + np.pi)  # where the quick sine ends; the peak is four times as much


def motion(u: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Return the part of the way, and its speed, acceleration and jerk. Shape: all that of `u`."""
    # the second half is the first one backward
    near = np.minimum(u, 1 - u)
    quick, slow = _QUICK * near, _SLOW * (near - _END)
    ends = near < _END
    value = _SPEED * np.where(ends, near - np.sin(quick) / _QUICK, near + 2 / np.pi - 3 * np.cos(slow) / _SLOW)
    speed = _SPEED * np.where(ends, 1 - np.cos(quick), 1 + 3 * np.sin(slow))
    acceleration = _SPEED * _QUICK * np.where(ends, np.sin(quick), np.cos(slow))
    jerk = _SPEED * _QUICK * np.where(ends, _QUICK * np.cos(quick), -_SLOW * np.sin(slow))
    late = u > 0.5
    return np.where(late, 1 - value, value), speed, np.where(late, -acceleration, acceleration), jerk


@cache
def curve(how: NoSettings) -> UnitCurve:
    """Return the quick quarter, the slow half in two pieces, and the other quick quarter."""
    return fit_wave(motion, np.array([0.0, _END, 0.5, 1 - _END, 1.0]))


def factors(how: NoSettings) -> Factors:
    """Return its peaks; the jerk's are at both ends, in the middle it is a third."""
    return Factors(4 * math.pi / (4 + math.pi), 4 * math.pi**2 / (4 + math.pi), 16 * math.pi**3 / (4 + math.pi))


KIND = LawKind("modified-sine", NoSettings, curve, factors)
