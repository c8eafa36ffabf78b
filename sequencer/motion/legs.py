"""All legs of a move as columns: where each begins, how long it lasts, how far it goes, by which curve.

It refuses a move with a fault, and looks at no piece of a polynomial.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.rig.axis import Axis, Rig
from sequencer.score.columns import Columns, columns
from sequencer.score.easing import Drawn, Laws, Leg, NoCurve, UnitCurve, curve_of, curves_of, settings_of
from sequencer.score.faults import faults
from sequencer.score.move import Ease, Move, Passing
from sequencer.score.turning import turned
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_NO_LAW = np.zeros(1, np.int64)
REST = UnitCurve(np.array([0.0, 1.0]), np.zeros((1, 1)))


@dataclass(frozen=True, slots=True, eq=False)
class Legs:
    """All legs of the move, axis after axis; the first and last of each axis are its rest before and after.

    Shape: `first` (A+1,), where each axis's legs begin; `at_s`, `lasts_s`, `value`, `way`, `law` (L,), where `law` is
    a place in `curves`, and place 0 is rest. `track` (A,), the number of each axis's track in the move, -1 for none;
    key `k` of it begins leg `first[axis] + 1 + k`. `passing` are the keys that do not just pass, by their leg.
    Unit: seconds from the project's start; each axis's own unit. An axis that goes round and round has values beyond
    a turn: what is written, and as many turns as lead the way that its keys ask for.
    """

    first: Ints
    at_s: Floats
    lasts_s: Floats
    value: Floats
    way: Floats
    law: Ints
    curves: list[UnitCurve | Drawn | NoCurve]
    track: tuple[int, ...]
    passing: dict[int, Passing]

    def keys(self, axis: int) -> slice:
        """Return the places of an axis's keys: `at_s` and `value` there are theirs. It is empty without a track."""
        return slice(int(self.first[axis]) + 1, int(self.first[axis + 1]))

    def passing_at(self, keys: slice) -> tuple[Passing, ...]:
        """Return what a smooth run does at each of these keys."""
        return tuple(self.passing.get(place, "pass") for place in range(keys.start, keys.stop))


def legs(rig: Rig, move: Move, rate: Rate, laws: Laws) -> Legs:
    """Return the legs of all axes of `rig`, in its order; an axis without a track rests at its home.

    A leg between equal values rests, whatever its law, unless it was drawn.
    Error: ProjectError for the first fault of the move (`score.faults`).
    """
    read = columns(move)
    for fault in faults(move, rig, laws, read):
        raise fault
    track_of = {track.axis: number for number, track in enumerate(move.tracks)}
    track = tuple(track_of.get(name, -1) for name in rig.names)
    key_s, key_value = read.seconds(rate), _unwound(read)
    idle_s = float(key_s[read.first[:-1]].min()) if move.tracks and -1 in track else 0.0
    at_s, value, law, place = [], [], [], [0]
    passing: dict[int, Passing] = {}
    for axis, number in zip(rig.axes, track, strict=True):
        if number >= 0:
            keys = slice(read.first[number], read.first[number + 1])
            own_s, own, ease = key_s[keys], key_value[keys], read.ease[keys] + 1
            at_s += [own_s[:1], own_s]
            value += [own[:1], own]
            law += [_NO_LAW, ease[:-1], _NO_LAW]
            shift = place[-1] + 1 - keys.start
            passing |= {key + shift: how for key, how in read.passing.items() if keys.start <= key < keys.stop}
            place.append(place[-1] + len(own_s) + 1)
        else:
            at_s.append(np.array([idle_s]))
            value.append(np.array([axis.home]))
            law.append(_NO_LAW)
            place.append(place[-1] + 1)
    first = np.array(place)
    starts_s, values, number_of = np.concatenate(at_s), np.concatenate(value), np.concatenate(law)
    way, lasts_s = np.zeros(len(values)), np.ones(len(values))
    np.subtract(values[1:], values[:-1], out=way[:-1])
    np.subtract(starts_s[1:], starts_s[:-1], out=lasts_s[:-1])
    for rests in (first[:-1], first[1:] - 1):
        way[rests], lasts_s[rests] = 0.0, 1.0
    curves = [REST, *curves_of(read.eases, laws)]
    still, drawn = way == 0, [isinstance(curve, Drawn) for curve in curves]
    if any(drawn):
        still &= ~np.array(drawn)[number_of]
    found = np.where(still, 0, number_of)
    whole = Legs(first, starts_s, lasts_s, values, way, found, curves, track, passing)
    _suit(whole, rig, read, laws)
    return whole


def _suit(legs: Legs, rig: Rig, read: Columns, laws: Laws) -> None:
    """Give each leg whose law takes something from the axis's limits a curve of its own, in place.

    Settings that come back themselves for one leg leave nothing to the limits of any.
    """
    known: dict[UnitCurve | Drawn | NoCurve, int] = {}
    if all(laws[ease.law].suited is None for ease in read.eases):
        return
    axis_of = np.repeat(np.arange(len(rig.axes)), np.diff(legs.first))
    for place, ease in enumerate(read.eases, 1):
        suited = laws[ease.law].suited
        if suited is None:
            continue
        how = settings_of(ease, laws)[1]
        for leg in np.flatnonzero(legs.law == place):
            own = suited(how, leg_of(rig.axes[axis_of[leg]], legs.way[leg], legs.lasts_s[leg]))
            if own is how:
                break
            curve = curve_of(Ease(ease.law, own), laws)
            if curve not in known:
                known[curve] = len(legs.curves)
                legs.curves.append(curve)
            legs.law[leg] = known[curve]


def leg_of(axis: Axis, way: float, lasts_s: float) -> Leg:
    """Return a leg as a law wants to know it."""
    return Leg(way=float(way), lasts_s=float(lasts_s), speed=axis.speed, acceleration=axis.acceleration, jerk=axis.jerk)


def _unwound(read: Columns) -> Floats:
    """Return the keys' values, each with the turns that lead there the way the key before it asks for."""
    value = read.value
    if not read.turn:
        return value
    value = value.copy()
    for track in range(len(read.first) - 1):
        first, last = int(read.first[track]), int(read.first[track + 1]) - 1
        turns = 0.0
        for key in range(first, last):
            how = read.turn.get(key)
            if how is not None:
                way = turned(float(read.value[key + 1] + turns - value[key]), how)
                turns = value[key] + way - read.value[key + 1]
            value[key + 1] = read.value[key + 1] + turns
    return value
