"""Parts of a path in their least time, as curves that motors can follow: proven by their hulls, and by the path.

It refuses to hand out a curve that strays from the path, or that breaks a limit between its nodes.
"""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, uniform_filter1d

from sequencer.motion.extremes import zeros
from sequencer.motion.legs import Legs
from sequencer.motion.repair.line import walked
from sequencer.motion.repair.outcome import Unrepaired
from sequencer.motion.repair.pathgrid import Part, evened, legs_of, path_of, ties
from sequencer.motion.repair.pathspeed import Path, lasts, least_time
from sequencer.motion.repair.projection import KEPT, Nodes, Refused, projected
from sequencer.motion.repair.written import frame_at
from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Rig
from sequencer.score.fit import hermite
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# of an axis's unit, all axes together
DEVIATION = 0.02
# how much longer than the least time a part takes; the next where no legal curve is found
_LINE_RESERVES = (1.0005, 1.002, 1.005, 1.01, 1.02, 1.05, 1.1)
_RESERVE = 1.002
# how well the pace is known that lays the grid
_ROUGHLY = 0.05
_SLOWER = (1.0, 1.005, 1.02, 1.05, 1.1)
# how often the clock is slowed where a limit is broken, before the curve is changed instead; how much more than
# it is broken and how much at most, and how many stretches either side go slower with it
_TRIES = 8
_SLOWED = 0.3
_MORE = 3e-4
_REACH = 12
# a line's nodes: no closer together, where they are not keys; and no further apart
_CLOSE_S = 1e-3
_FAR_S = 0.05
_PROBES = np.array([0.25, 0.5, 0.75])
_FLAT = 1e-12


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """What one axis does in a part, from key `first` to key `last` of its track: the nodes and states of its curve.

    Shape: `nodes_s` (N,), after the part's begin; `state` (N, 3).
    """

    axis: int
    first: int
    last: int
    nodes_s: Floats
    state: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Retimed:
    """A part in its new time: what was at `at_s` is `since_s` after its begin. `deviation` is from the drawn path.

    Shape: both (K,), the part's begin, its end and all keys of what moves among them.
    """

    at_s: Floats
    since_s: Floats
    runs: tuple[Run, ...]
    deviation: float


def retimed(
    rig: Rig, whole: Legs, path: Trajectory, parts: list[Part], rate: Rate, told: Callable[[float], None]
) -> list[Retimed]:
    """Return all parts in their new time. Error: Unrepaired; what `told` raises."""
    done: list[Retimed | None] = [None] * len(parts)
    together = []
    for number, part in enumerate(parts):
        told(0.1 * number / len(parts))
        axes = [axis for axis in range(len(rig.axes)) if legs_of(whole, axis, part)]
        if len(axes) == 1:
            done[number] = _line(rig, whole, path, part, axes[0], rate)
        else:
            together.append(number)
    if together:
        grids = _Grids.of(
            rig, path, [parts[number] for number in together], rate, lambda share: told(0.1 + 0.6 * share)
        )
        for place, number in enumerate(together):
            told(0.7 + 0.3 * place / len(together))
            done[number] = _grid(rig, whole, path, grids, place)
    return [each for each in done if each is not None]


def _rounded(lasts_s: Floats, rate: Rate) -> Floats:
    """Return durations as whole billionths of a frame. Shape: (N,)."""
    return np.array([float(rate.seconds(frame_at(each, rate))) for each in lasts_s.tolist()])


def _bounds(rig: Rig, axis: int) -> tuple[Floats, Floats]:
    """Return what an axis's position, speed, acceleration and jerk must keep, least and most. Shape: (4,)."""
    own = rig.axes[axis]
    low, high = (-np.inf, np.inf) if own.travel is None else own.travel
    rates = np.array([own.speed, own.acceleration, own.jerk])
    return np.array([low, *-rates]), np.array([high, *rates])


def _line(rig: Rig, whole: Legs, path: Trajectory, part: Part, axis: int, rate: Rate) -> Retimed:
    """Return a part in which one axis moves alone."""
    runs = legs_of(whole, axis, part)
    first, last = runs[0][0], runs[-1][1]
    keys = whole.keys(axis)
    at_s, value = whole.at_s[keys][first : last + 1], whole.value[keys][first : last + 1]
    weights, limits = ties(rig)
    alone = np.abs(weights[:, axis])
    with np.errstate(divide="ignore"):
        most = (limits / alone).min(axis=1)
    turns_s, turns = _turns(path, axis, at_s)
    walk = walked(turns, most)
    leg = np.clip(np.searchsorted(turns_s, at_s, "right") - 1, 0, len(turns) - 2)
    keys_s = walk.reaches(value, leg)
    keys_s[0], keys_s[-1] = 0.0, walk.at_s[-1]
    low, high = _bounds(rig, axis)
    high[1:], low[1:] = most, -most
    why = ""
    for reserve in _LINE_RESERVES:
        since_s = np.append(0.0, np.cumsum(_rounded(np.diff(keys_s * reserve), rate)))
        if not (np.diff(since_s) > 0).all():
            key = first + 1 + int((np.diff(since_s) <= 0).argmax())
            what = f"keys {key} and {key + 1} of {rig.names[axis]} would come to stand at one instant"
            raise Unrepaired(f"{what}; delete one of them, or stretch the move")
        nodes_s = _filled(since_s, walk.at_s * reserve)
        state = walk.states(nodes_s / reserve) / np.array([1.0, reserve, reserve**2])
        state[[0, -1], 1:] = 0.0
        is_key = np.isin(nodes_s, since_s)
        # what rounding the keys' instants does to their places, shared out between them
        state[:, 0] += np.interp(nodes_s, since_s, value - state[is_key, 0])
        state[is_key, 0] = value
        nodes = Nodes(nodes_s, is_key, low, high)
        try:
            found = projected(nodes, state)
        except Refused as error:
            why = str(error)
            continue
        # beside the line is only beyond its turns
        deviation = _beyond(nodes, found, walk.turn_s * reserve, turns)
        if deviation <= DEVIATION:
            return Retimed(at_s, since_s, (Run(axis, first, last, nodes_s, found),), deviation)
        why = f"the nearest curve is {deviation:.3f} off the path"
    raise _unfound(part, why)


def _turns(path: Trajectory, axis: int, at_s: Floats) -> tuple[Floats, Floats]:
    """Return when and where an axis begins, turns, and ends, between the first and the last of `at_s`."""
    from_s, coeffs = path.of(axis)
    span = slice(np.searchsorted(from_s, at_s[0]), np.searchsorted(from_s, at_s[-1]))
    begin_s = from_s[span]
    lasts_s = np.diff(np.append(begin_s, at_s[-1]))
    powers = np.arange(len(coeffs) - 1, 0, -1)[:, None]
    marks_u = zeros(coeffs[:-1, span] * powers * lasts_s**powers)
    marks_s = np.unique(np.concatenate((at_s, (begin_s + lasts_s * marks_u).ravel())))
    place = path.sample(marks_s)[:, axis]
    goes = np.diff(place)
    kept = np.flatnonzero(np.abs(goes) > _FLAT * np.ptp(place))
    turning = kept[1:][np.sign(goes[kept[1:]]) != np.sign(goes[kept[:-1]])]
    which = np.concatenate(([0], turning, [len(marks_s) - 1]))
    return marks_s[which], place[which]


def _filled(keys_s: Floats, switch_s: Floats) -> Floats:
    """Return keys, and instants where the jerk changes, those too close to a key or to another left out, and more."""
    near = np.clip(np.searchsorted(keys_s, switch_s), 1, len(keys_s) - 1)
    far = np.minimum(np.abs(switch_s - keys_s[near - 1]), np.abs(switch_s - keys_s[near])) > _CLOSE_S
    fixed = keys_s.tolist()
    last = -np.inf
    for each in switch_s[far].tolist():
        if each > last + _CLOSE_S:
            fixed.append(each)
            last = each
    fixed_s = np.sort(np.array(fixed))
    more = [
        np.linspace(begin, end, int(np.ceil((end - begin) / _FAR_S)) + 1)[:-1]
        for begin, end in pairwise(fixed_s.tolist())
    ]
    return np.append(np.concatenate(more), fixed_s[-1])


def _beyond(nodes: Nodes, state: Floats, turn_s: Floats, turns: Floats) -> float:
    """Return how far a line goes beyond its turns."""
    hull = nodes.hull(state, 0)
    first = np.clip(np.searchsorted(turn_s, nodes.at_s[:-1], "right") - 1, 0, len(turns) - 2)
    last = np.clip(np.searchsorted(turn_s, nodes.at_s[1:], "left"), 1, len(turns) - 1)
    ends = np.stack((turns[first], turns[first + 1], turns[last - 1], turns[last]))
    return float(max((hull.max(axis=0) - ends.max(axis=0)).max(), (ends.min(axis=0) - hull.min(axis=0)).max(), 0.0))


@dataclass(frozen=True, slots=True, eq=False)
class _Grids:
    """Parts in which several axes move, on their grids, all in a row, and the clock along them.

    Shape: `key` (N,); `place`, `slope`, `bend` (A, N) the path at the nodes; `coefs` (C,) of b.
    """

    parts: list[Part]
    along: Path
    key: NDArray[np.bool_]
    place: Floats
    slope: Floats
    bend: Floats
    coefs: Floats
    rate: Rate

    @classmethod
    def of(cls, rig: Rig, path: Trajectory, parts: list[Part], rate: Rate, told: Callable[[float], None]) -> "_Grids":
        rough = path_of(rig, path, parts)
        pace = least_time(rough, accuracy=_ROUGHLY, told=lambda share: told(0.3 * share))
        parts = evened(path, parts, lasts(rough, pace))
        along = path_of(rig, path, parts)
        place, slope, bend = (path.sample(along.at, order).T.copy() for order in range(3))
        for ends in (along.first, along.first - 1):
            slope[:, ends] = bend[:, ends] = 0.0
        key = np.concatenate([part.key for part in parts])
        coefs = least_time(along, told=lambda share: told(0.3 + 0.7 * share)) / _RESERVE**2
        grids = cls(parts, along, key, place, slope, bend, coefs, rate)
        for _ in range(_TRIES):
            excess = grids._excess(rig)
            if (excess <= KEPT).all():
                break
            asked = np.where(excess > KEPT, np.minimum(excess + _MORE, _SLOWED), 0.0)
            wide = maximum_filter1d(asked, 2 * _REACH + 1)
            for _ in range(2):
                wide = uniform_filter1d(wide, _REACH + 1)
            slower = np.ones(len(coefs))
            slower[along.centre] = np.exp(-wide)
            slower[0], slower[-1] = slower[1], slower[-2]
            coefs *= np.minimum(slower, 1.0)
        return grids

    def clock(self) -> tuple[Floats, Floats]:
        """Return how long each stretch lasts, the time from key to key being rounded, and when each node is passed.

        Shape: (M,), (N,) after the part's begin.
        """
        lasts_s = lasts(self.along, self.coefs)
        begin = self.along.begin
        gap = np.cumsum(self.key[begin]) - 1
        whole_s = np.asarray(np.bincount(gap, lasts_s), np.float64)
        lasts_s = lasts_s * (_rounded(whole_s, self.rate) / whole_s)[gap]
        since_s = np.zeros(len(self.key))
        since_s[begin + 1] = lasts_s
        since_s = np.cumsum(since_s)
        return lasts_s, since_s - since_s[self.along.first][self.along.part]

    def states(self, nodes: slice = slice(None)) -> Floats:
        """Return each axis's state at the nodes. Shape: (A, N, 3)."""
        b, pull = (each[nodes] for each in self.along.nodes(self.coefs))
        slope, bend = self.slope[:, nodes], self.bend[:, nodes]
        found: Floats = np.stack((self.place[:, nodes], slope * np.sqrt(b), bend * b + slope * pull), axis=2)
        return found

    def _excess(self, rig: Rig) -> Floats:
        """Return by how much, in parts of it, each stretch may break a limit of speed, acceleration or jerk."""
        state, (_, since_s) = self.states(), self.clock()
        weights, limits = ties(rig)
        begin = self.along.begin
        worst = np.zeros(len(begin))
        for weight, most in zip(weights, limits.T, strict=True):
            bound = np.append(np.inf, most)
            axes = np.flatnonzero(weight)
            own = np.tensordot(weight[axes], state[axes], 1)
            with np.errstate(divide="ignore", invalid="ignore"):  # from part to part
                over = Nodes(since_s, self.key, -bound, bound).over(own)
            worst = np.maximum(worst, over[begin])
        return worst


def _grid(rig: Rig, whole: Legs, path: Trajectory, grids: _Grids, number: int) -> Retimed:
    """Return one part of several axes. Error: Unrepaired."""
    part, along = grids.parts[number], grids.along
    first = int(along.first[number])
    nodes = slice(first, first + len(part.at_s))
    since_s, state = grids.clock()[1][nodes], grids.states(nodes)
    why = ""
    for slower in _SLOWER:
        keys_s = np.append(0.0, np.cumsum(_rounded(np.diff(since_s[part.key]) * slower, grids.rate)))
        nodes_s = np.interp(since_s, since_s[part.key], keys_s)
        nodes_s[part.key] = keys_s
        own = state / np.array([1.0, slower, slower**2])
        try:
            runs = tuple(_runs(rig, whole, part, nodes_s, own))
        except Refused as error:
            why = str(error)
            continue
        deviation = _deviation(path, grids, number, runs, nodes_s)
        if deviation <= DEVIATION:
            return Retimed(part.at_s[part.key], keys_s, runs, deviation)
        why = f"the nearest curve is {deviation:.3f} off the path"
    raise _unfound(part, why)


def _runs(rig: Rig, whole: Legs, part: Part, nodes_s: Floats, state: Floats) -> list[Run]:
    """Return each axis's legal curve, from rest to rest. Error: Refused."""
    runs = []
    for axis in range(len(rig.axes)):
        keys = whole.keys(axis)
        for first, last in legs_of(whole, axis, part):
            place = np.searchsorted(part.at_s, whole.at_s[keys][first : last + 1])
            span = slice(int(place[0]), int(place[-1]) + 1)
            own = state[axis, span].copy()
            own[[0, -1], 1:] = 0.0
            is_key = np.zeros(len(own), np.bool_)
            is_key[place - place[0]] = True
            own[is_key, 0] = whole.value[keys][first : last + 1]
            nodes = Nodes(nodes_s[span], is_key, *_bounds(rig, axis))
            runs.append(Run(axis, first, last, nodes.at_s, projected(nodes, own)))
    return runs


def _deviation(path: Trajectory, grids: _Grids, number: int, runs: tuple[Run, ...], nodes_s: Floats) -> float:
    """Return how far the runs are from the path, all axes together: from its nearest point, to first order."""
    part, along = grids.parts[number], grids.along
    first = int(along.first[number]) - number
    pieces = slice(first, first + len(part.at_s) - 1)
    worst = 0.0
    whole_s = lasts(along, grids.coefs)[pieces]
    for share in _PROBES.tolist():
        at_s = part.at_s[:-1] + share * np.diff(part.at_s)
        lasts_s = lasts(along, grids.coefs, share)[pieces] / whole_s * np.diff(nodes_s)
        off, slope, true = np.zeros((len(at_s), len(path.axes))), path.sample(at_s, 1), path.sample(at_s)
        for run in runs:
            begin = int(np.searchsorted(nodes_s, run.nodes_s[0]))
            span = slice(begin, begin + len(run.nodes_s) - 1)
            value = np.zeros(len(run.nodes_s) - 1)
            for row in hermite(run.nodes_s, *run.state.T):
                value = value * lasts_s[span] + row
            off[span, run.axis] = value - true[span, run.axis]
        length = (slope**2).sum(axis=1)
        part_along = (off * slope).sum(axis=1) / np.where(length > 0, length, 1.0)
        worst = max(worst, float(np.sqrt(((off - part_along[:, None] * slope) ** 2).sum(axis=1)).max()))
    return worst


def _unfound(part: Part, why: str) -> Unrepaired:
    return Unrepaired(
        f"from {part.at_s[0]:.3f} s to {part.at_s[-1]:.3f} s no legal curve close to the path was found ({why}); "
        "stretch still works"
    )
