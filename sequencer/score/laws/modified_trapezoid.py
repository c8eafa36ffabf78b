"""Modified trapezoid: even acceleration with sines at its corners, for a low peak acceleration at finite jerk.

It refuses to have settings: each corner is an eighth of the time.
Source: Cam Design Handbook (Rothbart ed., McGraw-Hill 2004), from memory.
"""

import math
from functools import cache

import numpy as np
from numpy.typing import NDArray

from sequencer.score.easing import Factors, LawKind, NoSettings, UnitCurve
from sequencer.score.fit import fit_wave

Floats = NDArray[np.float64]

_CORNER = 1 / 8
_TURN = 3 / 8  # where the even acceleration ends
_WAVE = 4 * np.pi  # radians in the leg's whole time
_SPEED = 2 / (2 + np.pi)  # where the first corner ends


def motion(u: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Return the part of the way, and its speed, acceleration and jerk. Shape: all that of `u`."""
    # the second half is the first one backward
    near = np.minimum(u, 1 - u)
    first, even, last = _WAVE * near, near - _CORNER, _WAVE * (near - _TURN)
    where = [near < _CORNER, near < _TURN]
    to_turn = _TURN - 1 / _WAVE + (_TURN - _CORNER) ** 2 * _WAVE / 2
    values = (
        near - np.sin(first) / _WAVE,
        near - 1 / _WAVE + even**2 * _WAVE / 2,
        to_turn + (1 + np.pi) * (near - _TURN) + (1 - np.cos(last)) / _WAVE,
    )
    speeds = 1 - np.cos(first), 1 + _WAVE * even, 1 + np.pi + np.sin(last)
    accelerations = np.sin(first), np.ones_like(near), np.cos(last)
    jerks = np.cos(first), np.zeros_like(near), -np.sin(last)
    value, speed, acceleration, jerk = (
        np.select(where, each[:2], each[2]) for each in (values, speeds, accelerations, jerks)
    )
    late = u > 0.5
    return (
        np.where(late, 1 - _SPEED * value, _SPEED * value),
        _SPEED * speed,
        np.where(late, -_SPEED, _SPEED) * _WAVE * acceleration,
        _SPEED * _WAVE**2 * jerk,
    )


@cache
def curve(how: NoSettings) -> UnitCurve:
    """Return the corners, the even stretches between them, and the crossing in two pieces."""
    return fit_wave(motion, np.array([0.0, _CORNER, _TURN, 0.5, 1 - _TURN, 1 - _CORNER, 1.0]))


def factors(how: NoSettings) -> Factors:
    """Return its peaks; the jerk's are at both ends and in the middle."""
    return Factors(2.0, 8 * math.pi / (2 + math.pi), 32 * math.pi**2 / (2 + math.pi))


KIND = LawKind("modified-trapezoid", NoSettings, curve, factors)
