"""The leg to a mark, from wherever the rig stands or moves: all axes that the mark names arrive together.

It refuses a mark where the rig cannot stand, and a leg that should take less time than the axes need.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from sequencer.motion.peaks import Asked, against, combined_peaks
from sequencer.motion.profile import after, go_to, stop
from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Rig
from sequencer.rig.limits import Combined
from sequencer.score.marks import AtSpeed, Lasting, Mark, fault

Floats = NDArray[np.float64]
# position, velocity, acceleration of all axes
State = tuple[Floats, Floats, Floats]

# of a leg's time: what rounding makes of it
_NEAR = 1e-9
_ORDERS = {"speed": 1, "acceleration": 2, "jerk": 3}


class Takes(NamedTuple):
    """How long the leg to a mark takes; None where there is no leg, and `why` it cannot be gone, in words."""

    lasts_s: float | None
    why: str = ""


def to_mark(rig: Rig, position: Floats, velocity: Floats, acceleration: Floats, mark: Mark) -> Trajectory:
    """Return the way from this state at 0 s to rest at the mark.

    Axes that the mark does not name stop as soon as they may. A leg that lasts a time takes all of it from here, also
    when it is taken up again; from rest it is the fastest way, run slower. An axis without end goes as far as the
    written values are apart, be it several turns. Limits that tie axes together make a leg slower; on a rig that has
    such limits, what moves is stopped first, by each axis's own limits.
    Shape: all (A,). Unit: each axis's own, and that a second and a second squared.
    Error: ValueError in words for a mark where the rig cannot stand (`score.marks.fault`), for a way that leads through
    where axes may not be together, and for a leg that lasts too short, with the least time that is possible.
    """
    state = position, velocity, acceleration
    stopping = stop(rig, *state)
    rest = stopping.at(stopping.end_s)[0]
    if words := fault(dict(mark.position), rig, dict(zip(rig.names, rest.tolist(), strict=True))):
        raise ValueError(f"the rig cannot go to {mark.name}: {words}")
    moving = bool(velocity.any() or acceleration.any())
    least_s = math.inf
    if moving and not rig.combined:
        if not isinstance(mark.leg, Lasting):
            return _way(rig, state, mark)
        lasts_s = float(mark.leg.lasts_s)
        direct = _way_lasting(rig, state, mark, lasts_s)
        if direct is not None and math.isclose(direct.end_s, lasts_s, rel_tol=_NEAR):
            return direct
        least_s = math.inf if direct is None else direct.end_s
    still = np.zeros(len(rig.axes))
    way = _way(rig, (rest, still, still), mark)
    way = way.stretched(1 / _slower(rig, mark, way), 0.0)
    if isinstance(mark.leg, Lasting):
        lasts_s = float(mark.leg.lasts_s) - stopping.end_s
        if lasts_s < way.end_s * (1 - _NEAR):
            raise ValueError(_too_short(mark, mark.leg, min(least_s, stopping.end_s + way.end_s)))
        way = _held(way.stretched(min(way.end_s / lasts_s, 1.0), 0.0) if way.end_s > 0 else way, lasts_s)
    return after(stopping, way) if moving else way


def takes(rig: Rig, marks: Sequence[Mark]) -> tuple[Takes, ...]:
    """Return how long the leg to each mark takes, at rest at the one before it to which the rig can go.

    The first of them has no leg. Error: none; what cannot be gone says why.
    """
    found, still = [], np.zeros(len(rig.axes))
    standing, begun = np.array([axis.home for axis in rig.axes]), False
    for mark in marks:
        try:
            way = to_mark(rig, standing, still, still, mark)
        except ValueError as refused:
            words = fault(dict(mark.position), rig)
            found.append(Takes(None, str(refused) if begun or words else ""))
            reached = not words
        else:
            found.append(Takes(way.end_s if begun else None))
            reached = True
        if reached:
            standing, begun = _standing(rig, standing, mark), True
    return tuple(found)


def _standing(rig: Rig, standing: Floats, mark: Mark) -> Floats:
    there = standing.copy()
    for axis, value in mark.position:
        there[rig.index(axis)] = value
    return there


def _way(rig: Rig, state: State, mark: Mark, least_s: float = 0.0) -> Trajectory:
    """Return the way within each axis's own limits; axes that the mark does not name only stop."""
    named = [rig.index(axis) for axis in mark.axes]
    part = Rig(name=rig.name, axes=tuple(rig.axes[number] for number in named))
    target = np.array([value for _, value in mark.position])
    cap = float(mark.leg.part) if isinstance(mark.leg, AtSpeed) else 1.0
    position, velocity, acceleration = (each[named] for each in state)
    way = go_to(part, position, velocity, acceleration, target, cap, least_s)
    stopping = stop(rig, *state)
    pieces = []
    for number in range(len(rig.axes)):
        whole, place = (way, named.index(number)) if number in named else (stopping, number)
        pieces.append((*whole.of(place), float(whole.coeffs[-1, whole.first[place + 1] - 1])))
    return Trajectory.joined(rig.names, pieces, np.zeros(len(rig.axes)))


def _way_lasting(rig: Rig, state: State, mark: Mark, lasts_s: float) -> Trajectory | None:
    """Return the soonest way that takes `lasts_s` or longer, None where none is found without a stop."""
    try:
        return _way(rig, state, mark, lasts_s)
    except ArithmeticError:
        return None


def _slower(rig: Rig, mark: Mark, way: Trajectory) -> float:
    """Return how many times as long a way from rest takes for what is asked of axes together. Error: ValueError."""
    times = 1.0
    for limit, peak in zip(rig.combined, combined_peaks(way, rig), strict=True):
        for one in against(peak, limit) if peak is not None else ():
            if one.over and one.of != "travel":
                times = max(times, (one.value / one.limit) ** (1 / _ORDERS[one.of]))
            elif one.over and one.at_s > 0:  # at 0 s the rig stands there already, and leaves
                raise ValueError(_through(mark, limit, one))
    return times


def _held(way: Trajectory, lasts_s: float) -> Trajectory:
    """Return the way, and stand at its end until `lasts_s`."""
    if way.end_s >= lasts_s * (1 - _NEAR):
        return way
    pieces = []
    for number in range(len(way.axes)):
        breaks_s, coeffs = way.of(number)
        rest = float(way.coeffs[-1, way.first[number + 1] - 1])
        stands = np.zeros((len(way.coeffs), 1))
        stands[-1] = rest
        pieces.append((np.append(breaks_s, lasts_s), np.append(coeffs, stands, axis=1), rest))
    return Trajectory.joined(way.axes, pieces, way.fit_error)


def _too_short(mark: Mark, leg: Lasting, least_s: float) -> str:
    least = math.ceil(least_s * 1000) / 1000
    return f"the leg to {mark.name} cannot last {float(leg.lasts_s):.9g} s; from here it takes {least:.9g} s or longer"


def _through(mark: Mark, limit: Combined, one: Asked) -> str:
    asked, most = one.numbers()
    way = f"on the way to {mark.name}, {limit.name} ({limit.words}) would come to {asked}; its travel ends at {most}"
    return f"{way}; go by another mark in between"
