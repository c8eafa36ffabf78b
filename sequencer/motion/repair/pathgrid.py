"""The path that a move draws, cut where every axis rests, on a grid: what `pathspeed` wants to know of it.

It refuses to cut where an axis only turns: there the path goes on.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.legs import Legs
from sequencer.motion.repair.pathspeed import Path
from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Rig

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# nodes of a leg, and of a part; a long move has no more than the budget allows
_NODES = (20, 40)
_PART_NODES = 100
_BUDGET = 1_600
# of a limit: slower is rest
STILL = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """A stretch of the path between two rests of all axes: its grid, and which nodes are keys' instants.

    Shape: `at_s` (N,), the drawn instants of its nodes; `key` (N,).
    """

    at_s: Floats
    key: Bools


def moving(whole: Legs) -> Bools:
    """Return which legs move. Shape: (L,)."""
    found: Bools = whole.law != 0
    return found


def parts_of(rig: Rig, whole: Legs, path: Trajectory) -> list[Part]:
    """Cut the path where all axes rest and no leg is under way, and lay a grid on each part."""
    legs = np.flatnonzero(moving(whole))
    if not len(legs):
        return []
    begin_s, end_s = whole.at_s[legs], whole.at_s[legs + 1]
    at_s = np.unique(np.concatenate((begin_s, end_s)))
    under_way = np.searchsorted(np.sort(begin_s), at_s, "left") - np.searchsorted(np.sort(end_s), at_s, "right")
    limits = np.array([(axis.speed, axis.acceleration) for axis in rig.axes])
    still = under_way == 0
    for order in (1, 2):
        for side_s in (at_s, np.nextafter(at_s, -np.inf)):
            still &= (np.abs(path.sample(side_s, order)) <= STILL * limits[:, order - 1]).all(axis=1)
    cuts_s = at_s[still]
    gaps = len(at_s) - 1
    nodes = int(np.clip(_BUDGET // gaps, *_NODES))
    parts = []
    for first_s, last_s in pairwise(cuts_s.tolist()):
        inside = (begin_s >= first_s) & (end_s <= last_s)
        if inside.any():
            parts.append(_grid(path, begin_s[inside], end_s[inside], nodes))
    return parts


def _grid(path: Trajectory, begin_s: Floats, end_s: Floats, nodes: int) -> Part:
    """Lay a grid on the part of these legs: their keys, where pieces meet, and enough in between."""
    keys_s = np.unique(np.concatenate((begin_s, end_s)))
    nodes = max(nodes, _PART_NODES // (len(keys_s) - 1))
    middle = (keys_s[:-1] + keys_s[1:]) / 2
    # the shortest leg under way sets the step
    order = np.argsort(end_s - begin_s)[::-1]
    step_s = np.full(len(middle), keys_s[-1] - keys_s[0])
    for leg in order:
        span = slice(*np.searchsorted(keys_s, (begin_s[leg], end_s[leg])))
        step_s[span] = (end_s[leg] - begin_s[leg]) / nodes
    meets_s = path.from_s[(path.from_s > keys_s[0]) & (path.from_s < keys_s[-1])]
    meets_s = np.unique(meets_s)
    near = np.searchsorted(keys_s, meets_s, "right") - 1
    room_s = np.minimum(meets_s - keys_s[near], keys_s[near + 1] - meets_s)
    meets_s = meets_s[room_s > 0.5 * step_s[near]]
    meets_s = meets_s[np.append(True, np.diff(meets_s) > 0.5 * step_s.min())] if len(meets_s) else meets_s
    fixed_s = np.sort(np.concatenate((keys_s, meets_s)))
    gap = np.searchsorted(keys_s, (fixed_s[:-1] + fixed_s[1:]) / 2, "right") - 1
    count = np.maximum(np.ceil(np.diff(fixed_s) / step_s[gap] - 1e-6), 1).astype(np.int64)
    piece = np.repeat(np.arange(len(count)), count)
    within = np.arange(len(piece)) - np.repeat(np.cumsum(count) - count, count)
    at_s = np.append(fixed_s[piece] + within * (np.diff(fixed_s) / count)[piece], fixed_s[-1])
    return Part(at_s, np.isin(at_s, keys_s))


def path_of(rig: Rig, path: Trajectory, parts: list[Part]) -> Path:
    """Return the derivatives along all parts' grids."""
    at_s = np.concatenate([part.at_s for part in parts])
    sizes = [len(part.at_s) for part in parts]
    first = np.cumsum([0, *sizes[:-1]])
    last = np.cumsum(sizes) - 1
    slope, bend, right = (path.sample(at_s, order).T.copy() for order in (1, 2, 3))
    left = path.sample(np.nextafter(at_s, -np.inf), 3).T.copy()
    # beyond its ends a part knows nothing
    left[:, first], right[:, last] = right[:, first], left[:, last]
    for ends in (first, last):
        slope[:, ends] = bend[:, ends] = 0.0
    limits = np.array([(axis.speed, axis.acceleration, axis.jerk) for axis in rig.axes]).T
    return Path(at_s, first, slope, bend, np.stack((left, right)), limits)
