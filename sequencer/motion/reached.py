"""Where the axes of a rig stand for its camera to be where another one was: from poses back to positions.

Pan, tilt and roll have two answers for each view, the second over the top (pan half a turn on, tilt beyond upright, the
picture turned round). From sample to sample the pair of answers is followed that turns least and stays in the travel,
so nothing flips where a view passes near straight above or below. There roll stays and pan turns, since both do the
same; where going straight on costs next to nothing, pan is led over the top without a swing. Slides and lift then carry
the pupil as near as they can. The first axis of a kind that can be read is taken; others stay where they are told to
be.
It refuses no path: what the rig cannot do is left over, and measured (`Left`); travel and speed are for the check.
Source: textbook (inverse kinematics of a head whose axes meet; order and signs as in `rig.pose`), solved here.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.aim import fitting_turns
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.pose import READ_AS, pose, stood, turned

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

HEAD = ("pan", "tilt", "roll")
BASE = ("slide", "lift")
_ROUND = 360.0
_UPRIGHT = 1e-4  # a forward direction as level as this says nothing of pan that numbers in files could hold
_ZONES = (0.1, 0.03, 0.01)  # so near to straight up or down, in turn, pan is led straight on
_BESIDE = 4  # samples on each side of such a stretch, which say how pan goes on
_APART = 0.1  # of its way: a slide that goes less than that where no other goes says nothing of its own
_STEP_MM = 1000.0
_TINY = 1e-300  # a view that stands still divides by that
_OVER = 1e-3  # what beginning over the top costs: enough to decide between two that are as good


@dataclass(frozen=True, slots=True, eq=False)
class Left:
    """What of the wished poses the rig does not do. Shape: `off_m` (T, 3), wished less reached; `off_deg` (T,)."""

    off_m: Floats
    off_deg: Floats


def head_axes(rig: Rig) -> tuple[int | None, ...]:
    """Return the places of the axes that turn the camera: pan, tilt and roll, None for what the rig does not have."""
    return tuple(next(iter(_read(rig, kind)), None) for kind in HEAD)


def base_axes(rig: Rig) -> tuple[int, ...]:
    """Return the places of the slides and the lift that carry it: those whose ways are not sums of others' ways."""
    found: list[int] = []
    ways: list[Floats] = []
    for place in (*_read(rig, "slide"), *_read(rig, "lift")):
        way = own = _way(rig, place)
        for other in ways:
            own = own - other * float(own @ other)
        if float(np.linalg.norm(own)) > _APART * float(np.linalg.norm(way)):
            ways.append(own / np.linalg.norm(own))
            found.append(place)
    return tuple(found)


def turned_to(rig: Rig, matrix: Floats, positions: Floats, within_deg: float = 0.0) -> Floats:
    """Return the positions with pan, tilt and roll so that the camera is turned as `matrix` says.

    Whole turns are those that fit the travel, and of these the nearest to where the axes stood at the begin. A view
    that is straight up or down to within a quarter of `within_deg` counts as that, and one that passes so near goes
    straight on. Shape: `matrix` (T, 3, 3), as in
    `rig.pose.Pose`; `positions` (T, A), which says where all other axes are.
    """
    axes = head_axes(rig)
    at = np.array(positions, dtype=np.float64)
    own = [place for place in axes if place is not None]
    at[:, own] = 0.0
    rest = stood(rig, at)[1]
    room_deg = within_deg / 4
    ways = [_answers(matrix, rest, axes, over, np.radians(room_deg)) for over in (False, True)]
    found = _followed(np.stack(ways), _dear(rig, np.stack(ways), rest, axes))
    if room_deg and axes[0] is not None:
        _led_straight_on(found, matrix, rest, axes, room_deg)
    for number, place in enumerate(axes):
        if place is None:
            continue
        axis = rig.axes[place]
        values = (np.unwrap(found[:, number], period=_ROUND) - rest[:, number]) * _sign(rig, axis)
        at[:, place] = values + fitting_turns(axis, values, float(positions[0, place]))
    return at


def carried_to(rig: Rig, position_m: Floats, positions: Floats) -> Floats:
    """Return the positions with slides and lift so that the camera is as near to `position_m` as they can bring it.

    Shape: `position_m` (T, 3), `positions` (T, A), which says where all other axes are.
    Source: least squares, by the pseudoinverse of the ways.
    """
    places = list(base_axes(rig))
    at = np.array(positions, dtype=np.float64)
    if not places:
        return at
    at[:, places] = 0.0
    ways = np.stack([_way(rig, place) for place in places], axis=1)
    at[:, places] = (position_m - pose(rig, at).position) @ np.linalg.pinv(ways).T
    return at


def left(rig: Rig, positions: Floats, position_m: Floats, matrix: Floats) -> Left:
    """Return what is left of the wish where the axes stand at `positions`, worked out forward from them."""
    there = pose(rig, positions)
    return Left(position_m - there.position, _between_deg(there.matrix, matrix))


def _between_deg(one: Floats, other: Floats) -> Floats:
    """Return the angle of the turn from one view to the other, near zero and near half a turn alike. Shape: (T,)."""
    between = np.swapaxes(one, -1, -2) @ other
    sine = np.stack([between[:, 2, 1] - between[:, 1, 2], between[:, 0, 2] - between[:, 2, 0]], axis=1)
    aside = np.hypot(np.linalg.norm(sine, axis=1), between[:, 1, 0] - between[:, 0, 1])
    off_deg: Floats = np.degrees(np.arctan2(aside, np.trace(between, axis1=1, axis2=2) - 1))
    return off_deg


def _read(rig: Rig, kind: str) -> list[int]:
    return [place for place, axis in enumerate(rig.axes) if axis.kind == kind and axis.unit == READ_AS[kind]]


def _sign(rig: Rig, axis: Axis) -> float:
    return rig.geometry.sign(axis.name, axis.kind)


def _way(rig: Rig, place: int) -> Floats:
    """Return where the axis carries the camera. Shape: (3,). Unit: metres for each of its own."""
    at = np.zeros((2, len(rig.axes)))
    at[1, place] = _STEP_MM
    pivot = stood(rig, at)[0]
    way: Floats = (pivot[1] - pivot[0]) / _STEP_MM
    return way


def _answers(matrix: Floats, rest: Floats, axes: tuple[int | None, ...], over: bool, upright: float) -> Floats:
    """Return one of the two answers: pan, tilt and roll, the sums over all axes, for each sample. Shape: (T, 3)."""
    forward = matrix[:, :, 1]
    found = np.empty((len(matrix), 3))
    found[:, 0] = np.degrees(np.arctan2(-forward[:, 0], forward[:, 1])) + 180.0 * over
    if axes[0] is None:
        found[:, 0] = rest[:, 0]
    _tilted_and_rolled(found, matrix, rest, axes)
    lost = np.hypot(forward[:, 0], forward[:, 1]) < max(upright, _UPRIGHT)
    if lost.any() and axes[0] is not None:
        _kept_upright(found, matrix, lost, rest, over)
        _tilted_and_rolled(found, matrix, rest, axes)
    return found


def _tilted_and_rolled(found: Floats, matrix: Floats, rest: Floats, axes: tuple[int | None, ...]) -> None:
    """Fill in, in place, the tilt and then the roll that are best with this pan."""
    seen = np.swapaxes(turned(_only(found, 0)), -1, -2) @ matrix
    found[:, 1] = rest[:, 1] if axes[1] is None else np.degrees(np.arctan2(seen[:, 2, 1], seen[:, 1, 1]))
    seen = np.swapaxes(turned(_only(found, 1)), -1, -2) @ seen
    best = np.degrees(np.arctan2(seen[:, 0, 2] - seen[:, 2, 0], seen[:, 0, 0] + seen[:, 2, 2]))
    found[:, 2] = rest[:, 2] if axes[2] is None else best


def _only(angles_deg: Floats, number: int) -> Floats:
    one = np.zeros_like(angles_deg)
    one[:, number] = angles_deg[:, number]
    return one


def _kept_upright(found: Floats, matrix: Floats, lost: Bools, rest: Floats, over: bool) -> None:
    """Fill in, in place, the pan of samples that look straight up or down: roll stays as it is beside them."""
    good = np.flatnonzero(~lost)
    roll = rest[lost, 2] + 180.0 * over
    if len(good):
        before = np.searchsorted(good, np.flatnonzero(lost)) - 1
        roll = found[good[np.maximum(before, 0)], 2]
    back = np.zeros((len(roll), 3))
    back[:, 2] = -roll
    right = (matrix[lost] @ turned(back))[:, :, 0]
    found[lost, 0] = np.degrees(np.arctan2(right[:, 1], right[:, 0]))


def _led_straight_on(
    found: Floats, matrix: Floats, rest: Floats, axes: tuple[int | None, ...], room_deg: float
) -> None:
    """Lead pan on, in place, where the view passes a hair beside straight up or down and goes over the top.

    Pan would swing there by nearly a quarter turn and back, or by one sample's worth of it. Led as it goes before and
    after, it costs no more than that hair, which is measured: what costs more than `room_deg` stays as it is.
    """
    flat = matrix[:, :2, 1]
    level, step = np.linalg.norm(flat, axis=1), np.diff(flat, axis=0)
    along = -(flat[:-1] * step).sum(axis=1) / np.maximum((step**2).sum(axis=1), _TINY)
    beside = np.linalg.norm(flat[:-1] + along.clip(0, 1)[:, None] * step, axis=1)
    for low in np.flatnonzero(beside < np.radians(room_deg)).tolist():
        for zone in _ZONES:
            away = np.flatnonzero(level > zone)
            first, last = away[away <= low], away[away > low]
            if len(first) < _BESIDE or len(last) < _BESIDE:
                continue
            ends = np.concatenate((first[-_BESIDE:], last[:_BESIDE]))
            inside = slice(int(first[-1]) + 1, int(last[0]))
            led = found[inside].copy()
            led[:, 0] = _through(ends, found[ends, 0], np.arange(inside.start, inside.stop))
            _tilted_and_rolled(led, matrix[inside], rest[inside], axes)
            was = _between_deg(turned(found[inside]), matrix[inside])
            if (_between_deg(turned(led), matrix[inside]) <= was + room_deg).all():
                found[inside] = led
                break


def _through(places: Ints, angles_deg: Floats, at: Ints) -> Floats:
    """Return the smooth curve through angles, whose neighbours are less than half a turn apart. Shape: as `at`."""
    from scipy.interpolate import CubicSpline  # half a second of a start, which most never need

    return np.asarray(CubicSpline(places, np.unwrap(angles_deg, period=_ROUND))(at), np.float64)


def _dear(rig: Rig, ways: Floats, rest: Floats, axes: tuple[int | None, ...]) -> Floats:
    """Return what each answer costs where it is: tilt and roll outside of the travel. Shape: (2, T, 3) to (2, T)."""
    cost = np.zeros(ways.shape[:2])
    cost[1, 0] += _OVER
    for number, place in enumerate(axes):
        if number == 0 or place is None or rig.axes[place].travel is None:
            continue
        low, high = rig.axes[place].travel or (0.0, 0.0)
        middle = (low + high) / 2
        values = (ways[:, :, number] - rest[:, number]) * _sign(rig, rig.axes[place])
        values = middle + _short(values - middle)
        cost += np.maximum(np.maximum(low - values, values - high), 0.0) ** 2
    return cost


def _followed(ways: Floats, cost: Floats) -> Floats:
    """Return the answers, sample by sample, that turn least in all, the squares counted. Shape: (2, T, 3) to (T, 3).

    Source: textbook (shortest way through a layered graph, by dynamic programming).
    """
    steps = (_short(ways[:, None, :-1] - ways[None, :, 1:]) ** 2).sum(axis=-1)
    count = ways.shape[1]
    came = np.zeros((count, 2), np.int64)
    total = cost[:, 0].copy()
    for number in range(1, count):
        through = total[:, None] + steps[:, :, number - 1]
        came[number] = through.argmin(axis=0)
        total = through.min(axis=0) + cost[:, number]
    chosen = np.empty(count, np.int64)
    chosen[-1] = int(total.argmin())
    for number in range(count - 1, 0, -1):
        chosen[number - 1] = came[number, chosen[number]]
    found: Floats = ways[chosen, np.arange(count)]
    return found


def _short(angle_deg: Floats) -> Floats:
    """Return angles the short way round."""
    short: Floats = (angle_deg + _ROUND / 2) % _ROUND - _ROUND / 2
    return short
