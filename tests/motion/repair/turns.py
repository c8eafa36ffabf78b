"""The least time of one axis through its turns, by another way: ruckig from turn to turn, Bellman's principle over all.

Source: Berscheid & Kroeger 2021 (ruckig). Between turns a path of one axis is a line, and keys on it cost nothing.
"""

import numpy as np
from numpy.typing import NDArray
from ruckig import InputParameter, Result, Ruckig, Trajectory

Floats = NDArray[np.float64]

LEVELS = 21


def turns_of(values: Floats) -> Floats:
    """Return the first and the last of some values, and those where they turn."""
    values = values[np.append(True, np.diff(values) != 0)]
    goes = np.sign(np.diff(values))
    turns: Floats = values[np.concatenate(([True], goes[1:] != goes[:-1], [True]))]
    return turns


def best_of_ruckigs(turns: Floats, limits: Floats) -> float:
    """Return the least time, the acceleration at each turn being one of LEVELS: a little more than without that."""
    levels, so_far = np.zeros(1), np.zeros(1)
    for number, way in enumerate(np.diff(turns).tolist()):
        last = number == len(turns) - 2
        ahead = np.zeros(1) if last else -np.sign(way) * limits[1] * np.linspace(0, 1, LEVELS)
        each = np.array([[_ruckig(way, a, b, limits) for b in ahead.tolist()] for a in levels.tolist()])
        so_far, levels = (so_far[:, None] + each).min(axis=0), ahead
    return float(so_far[0])


def _ruckig(way: float, begin: float, end: float, limits: Floats) -> float:
    """Return ruckig's time from turn to turn; infinite where it would go beyond one of them."""
    wanted, best = InputParameter(1), Trajectory(1)
    wanted.current_acceleration, wanted.target_acceleration = [begin], [end]
    wanted.target_position = [way]
    wanted.max_velocity, wanted.max_acceleration, wanted.max_jerk = ([each] for each in limits.tolist())
    if Ruckig(1).calculate(wanted, best) != Result.Working:
        return float(np.inf)
    extremes = best.position_extrema[0]
    inside = min(0.0, way) - 1e-7 <= extremes.min and extremes.max <= max(0.0, way) + 1e-7
    return best.duration if inside else float(np.inf)
