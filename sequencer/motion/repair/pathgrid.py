"""The path that a move draws, cut where every axis rests, on a grid: what `pathspeed` wants to know of it.

It refuses to cut where an axis only turns, or where one alone passes a key and happens to be slow: there the path goes
on.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.legs import Legs
from sequencer.motion.peaks import peaks
from sequencer.motion.repair.pathspeed import SITES, Path
from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Rig
from sequencer.rig.limits import SumLimit
from sequencer.score.easing import NoCurve

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# nodes of a leg, and of a part, to find the pace; then of the way from key to key, on average and at all
_NODES, _PART_NODES = 8, 24
_MEAN = (14, 44)
_NODES_OF_GAP = (6, 100)
# a long move has no more nodes than this, unless it has too many keys
_BUDGET = 2_000
# of a limit, or of the peak where that is more: slower is rest
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


def legs_of(whole: Legs, axis: int, part: "Part") -> list[tuple[int, int]]:
    """Return the keys from which and to which an axis moves in a part, rests in between left out."""
    keys = whole.keys(axis)
    at_s = whole.at_s[keys]
    moves = moving(whole)[keys] & (at_s >= part.at_s[0]) & (at_s < part.at_s[-1])
    edges = np.flatnonzero(np.diff(moves, prepend=False, append=False)).tolist()
    return list(zip(edges[::2], edges[1::2], strict=True))


def ties(rig: Rig) -> tuple[Floats, Floats]:
    """Return the weighted sums of axes whose speed, acceleration and jerk have limits: each axis, and sums of the rig.

    Shape: weights (Q, A), limits (3, Q), infinite where there is none.
    """
    weights, limits = list(np.eye(len(rig.axes))), [(axis.speed, axis.acceleration, axis.jerk) for axis in rig.axes]
    for limit in rig.combined:
        if isinstance(limit, SumLimit):
            weight = np.zeros(len(rig.axes))
            for name, share in limit.sum:
                weight[rig.index(name)] = share
            weights.append(weight)
            own = (np.inf if each is None else each for each in (limit.speed, limit.acceleration, limit.jerk))
            limits.append((next(own), next(own), next(own)))
    return np.stack(weights), np.array(limits).T


def parts_of(rig: Rig, whole: Legs, path: Trajectory, held_s: float = -np.inf) -> list[Part]:
    """Cut the path where all axes rest and no leg is under way, and lay a grid on each part.

    At `held_s` a cut stays even where an axis only passes.
    """
    legs = np.flatnonzero(moving(whole))
    if not len(legs):
        return []
    begin_s, end_s = whole.at_s[legs], whole.at_s[legs + 1]
    at_s = np.unique(np.concatenate((begin_s, end_s)))
    under_way = np.searchsorted(np.sort(begin_s), at_s, "left") - np.searchsorted(np.sort(end_s), at_s, "right")
    # a leg drawn far too fast leaves more rounding where it ends than the limits alone would let pass
    pairs = zip(rig.axes, peaks(path, rig), strict=True)
    limits = np.array([(max(a.speed, b.speed.value), max(a.acceleration, b.acceleration.value)) for a, b in pairs])
    still = under_way == 0
    for order in (1, 2):
        for side_s in (at_s, np.nextafter(at_s, -np.inf)):
            still &= (np.abs(path.sample(side_s, order)) <= STILL * limits[:, order - 1]).all(axis=1)
    inside = [span for span in pairwise(at_s[still].tolist()) if ((begin_s >= span[0]) & (end_s <= span[1])).any()]
    joined: list[tuple[float, float]] = []
    axis_of = np.searchsorted(whole.first, legs, "right") - 1
    alone = [np.unique(axis_of[(begin_s >= first_s) & (end_s <= last_s)]) for first_s, last_s in inside]
    for number, (first_s, last_s) in enumerate(inside):
        goes_on = number > 0 and inside[number - 1][1] == first_s != held_s
        if goes_on and len(alone[number]) == len(alone[number - 1]) == 1 and _passes(whole, alone[number], first_s):
            joined[-1] = joined[-1][0], last_s
        else:
            joined.append((first_s, last_s))
    return [_grid(path, begin_s[own], end_s[own]) for own in ((begin_s >= a) & (end_s <= b) for a, b in joined)]


def _passes(whole: Legs, axis: Ints, at_s: float) -> bool:
    """Return whether a smooth run of this axis passes a key at this instant."""
    keys = whole.keys(int(axis[0]))
    place = keys.start + int(np.searchsorted(whole.at_s[keys], at_s))
    if place >= keys.stop or whole.at_s[place] != at_s or place == keys.start:
        return False
    runs = all(whole.curves[whole.law[leg]] is NoCurve.RUN for leg in (place - 1, place))
    return runs and whole.passing.get(place, "pass") in ("pass", "free")


def _grid(path: Trajectory, begin_s: Floats, end_s: Floats) -> Part:
    """Lay a grid on the part of these legs: their keys, where pieces meet, and enough in between."""
    keys_s = np.unique(np.concatenate((begin_s, end_s)))
    nodes = max(_NODES, _PART_NODES // (len(keys_s) - 1))
    middle = (keys_s[:-1] + keys_s[1:]) / 2
    # the shortest leg under way sets the step
    order = np.argsort(end_s - begin_s)[::-1]
    step_s = np.full(len(middle), keys_s[-1] - keys_s[0])
    for leg in order:
        span = slice(*np.searchsorted(keys_s, (begin_s[leg], end_s[leg])))
        step_s[span] = (end_s[leg] - begin_s[leg]) / nodes
    return _laid(path, keys_s, step_s)


def evened(path: Trajectory, parts: list[Part], lasts_s: Floats) -> list[Part]:
    """Return parts on grids whose nodes are passed at an even pace, the stretches of these grids lasting `lasts_s`."""
    key = np.concatenate([part.key[:-1] for part in parts])
    gaps_s = np.asarray(np.bincount(np.cumsum(key) - 1, lasts_s), np.float64)
    mean = float(np.clip(_BUDGET / len(gaps_s), *_MEAN))
    count = np.clip(gaps_s / gaps_s.mean() * mean, *_NODES_OF_GAP)
    found, first = [], 0
    for part in parts:
        keys_s = part.at_s[part.key]
        found.append(_laid(path, keys_s, np.diff(keys_s) / count[first : first + len(keys_s) - 1]))
        first += len(keys_s) - 1
    return found


def _laid(path: Trajectory, keys_s: Floats, step_s: Floats) -> Part:
    """Lay a grid: keys, where pieces meet, and in between nodes no further apart than `step_s` (gaps,)."""
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
    begin = np.delete(np.arange(len(at_s)), last)
    # from inside a stretch: where pieces meet the third derivative differs
    sites_s = at_s[begin] + SITES[:, None] * (at_s[begin + 1] - at_s[begin])
    sites_s[-1] = np.nextafter(at_s[begin + 1], -np.inf)
    slope, bend, third = (
        path.sample(sites_s.ravel(), order).reshape(*sites_s.shape, -1).transpose(0, 2, 1).copy() for order in (1, 2, 3)
    )
    ends = begin + 1
    for site, nodes, edges in ((0, begin, first), (-1, ends, last)):
        rests = np.isin(nodes, edges)
        slope[site][:, rests] = bend[site][:, rests] = 0.0
    weights, limits = ties(rig)
    # the axes themselves, then their sums
    slope, bend, third = (
        np.concatenate((each, np.einsum("qa,sam->sqm", weights[len(rig.axes) :], each)), axis=1)
        for each in (slope, bend, third)
    )
    return Path(at_s, first, slope, bend, third, limits)
