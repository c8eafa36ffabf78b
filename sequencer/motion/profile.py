"""Jerk-limited ways from where the rig stands or moves to a rest: at a target, or as soon as may be.

It refuses a target outside the travel, and leaves the follow-up of a moving target to others.
Source: Berscheid & Kroeger 2021, "Jerk-limited Real-time Trajectory Generation with Arbitrary Target States", for
`go_to`; textbook (constant-jerk phases) for `stop`.
"""

import math

import numpy as np
import ruckig
from numpy.typing import NDArray

from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Axis, Rig

Floats = NDArray[np.float64]

# jerk held for a time: (jerk, seconds)
Phase = tuple[float, float]
# position, velocity, acceleration of one axis
State = tuple[float, float, float]

# a state this far inside the limits is inside: measured states carry noise, and rounding must not decide
_MARGIN = 1e-9
# a phase that is shorter is rounding: it moves nothing that can be measured
_SHORTEST_S = 1e-14


def stop(rig: Rig, position: Floats, velocity: Floats, acceleration: Floats) -> Trajectory:
    """Return the way from this state at 0 s to rest, each axis as soon as its acceleration and jerk limits allow.

    Shape: all (A,). Unit: each axis's own, and that a second and a second squared.
    The axes stop one by one. Where an axis ends up is what its motion decides: it may be beyond a travel limit.
    """
    ways = []
    for axis, p, v, a in zip(rig.axes, position, velocity, acceleration, strict=True):
        ways.append(pieces((float(p), float(v), float(a)), braking(axis, float(v), float(a)), None))
    return Trajectory.joined(rig.names, ways, np.zeros(len(rig.axes)))


def go_to(
    rig: Rig,
    position: Floats,
    velocity: Floats,
    acceleration: Floats,
    target: Floats,
    cap: float = 1.0,
    least_s: float = 0.0,
) -> Trajectory:
    """Return the way from this state at 0 s to rest at `target`, where all axes arrive together.

    `cap` is the part of each speed limit that may be used. A state outside the limits, or one from which the way would
    be outside the travel, is first stopped. The way takes `least_s` or longer, and is the soonest such.
    Shape: all (A,). Unit: each axis's own, and that a second and a second squared.
    Error: ValueError for a target that is outside an axis's travel or no number, or a cap outside (0, 1].
    """
    if not 0 < cap <= 1:
        raise ValueError(f"cap is {cap}; it must be above 0 and at most 1")
    for axis, value in zip(rig.axes, target, strict=True):
        if not math.isfinite(value) or not _inside(axis, float(value)):
            raise ValueError(f"{axis.name} cannot go to {value}; its travel is {axis.travel}")
    states = list(zip(rig.axes, velocity, acceleration, strict=True))
    if all(_within(axis, float(v), float(a), cap) for axis, v, a in states):
        way = _straight(rig, (position, velocity, acceleration), target, cap, least_s)
        if all(_stays(axis, low, high) for axis, low, high in zip(rig.axes, *reach(way), strict=True)):
            return way
    stopping = stop(rig, position, velocity, acceleration)
    rest = stopping.at(stopping.end_s)[0]
    zero = np.zeros(len(rig.axes))
    return after(stopping, _straight(rig, (rest, zero, zero), target, cap, least_s - stopping.end_s))


def reach(way: Trajectory) -> tuple[Floats, Floats]:
    """Return how low and how high each axis goes on a way of cubic pieces, in a tenth of the time that `peaks` takes.

    Shape: (A,) each. Source: textbook (quadratic formula without cancellation, for the instants without speed).
    """
    third, second, first, place = way.coeffs
    lasts_s = np.diff(way.from_s, append=0.0)
    lasts_s[way.first[1:] - 1] = 0.0
    with np.errstate(divide="ignore", invalid="ignore"):
        q = -(second + np.copysign(np.sqrt(second**2 - 3 * third * first), second))
        instants = np.stack((lasts_s, q / (3 * third), first / q))
    u = np.where((instants > 0) & (instants <= lasts_s), instants, 0.0)
    there = np.concatenate((place[None], ((third * u + second) * u + first) * u + place))
    begins = way.first[:-1]
    return np.minimum.reduceat(there.min(axis=0), begins), np.maximum.reduceat(there.max(axis=0), begins)


def braking(axis: Axis, velocity: float, acceleration: float) -> tuple[Phase, ...]:
    """Return the phases that bring one axis to rest (velocity and acceleration zero) soonest.

    An acceleration beyond the limit is brought back to it first.
    """
    jerk, limit = axis.jerk, axis.acceleration
    phases: list[Phase] = []
    if abs(acceleration) > limit:
        side = math.copysign(1.0, acceleration)
        lasts_s = (abs(acceleration) - limit) / jerk
        phases.append((-side * jerk, lasts_s))
        velocity += (acceleration + side * limit) / 2 * lasts_s
        acceleration = side * limit
    # the speed that is left when the acceleration goes straight to zero says which way to push
    way = -math.copysign(1.0, velocity + acceleration * abs(acceleration) / (2 * jerk))
    squared = -way * jerk * velocity + acceleration**2 / 2
    peak = min(math.sqrt(max(squared, 0.0)), limit)
    cruise_s = max(squared - limit**2, 0.0) / (jerk * limit)
    rise_s = max((peak - way * acceleration) / jerk, 0.0)
    phases += [(way * jerk, rise_s), (0.0, cruise_s), (-way * jerk, peak / jerk)]
    return tuple(phase for phase in phases if phase[1] > _SHORTEST_S)


def _straight(rig: Rig, state: tuple[Floats, Floats, Floats], target: Floats, cap: float, least_s: float) -> Trajectory:
    """Return ruckig's time-optimal way, all axes stretched to the slowest one, or to `least_s`.

    Ruckig compares with absolute tolerances, at which millimetres fail now and then: each axis is told in parts of its
    own speed limit, from where it stands.
    """
    axes = len(rig.axes)
    one = np.array([axis.speed for axis in rig.axes])
    position, velocity, acceleration = state
    asked = ruckig.InputParameter(axes)
    asked.current_position, asked.target_position = [0.0] * axes, ((target - position) / one).tolist()
    asked.current_velocity, asked.current_acceleration = (velocity / one).tolist(), (acceleration / one).tolist()
    asked.max_velocity = [cap] * axes
    asked.max_acceleration = [axis.acceleration / axis.speed for axis in rig.axes]
    asked.max_jerk = [axis.jerk / axis.speed for axis in rig.axes]
    if least_s > 0:
        asked.minimum_duration = least_s
    answer = ruckig.Trajectory(axes)
    outcome = ruckig.Ruckig(axes).calculate(asked, answer)
    if outcome not in (ruckig.Result.Working, ruckig.Result.Finished):
        raise ArithmeticError(f"no way from {state} to {target}: {outcome}")
    ways = []
    for axis, (unit, profile) in enumerate(zip(one.tolist(), answer.profiles[0], strict=True)):
        start = (float(position[axis]), float(velocity[axis]), float(acceleration[axis]))
        ways.append(pieces(start, told(profile, unit), float(target[axis])))
    return Trajectory.joined(rig.names, ways, np.zeros(axes))


def told(profile: ruckig.Profile, unit: float) -> tuple[Phase, ...]:
    """Return the phases of an axis's profile that was asked for in parts of `unit`."""
    phases = (*zip(profile.brake.j, profile.brake.t, strict=True), *zip(profile.j, profile.t, strict=True))
    return tuple((jerk * unit, lasts_s) for jerk, lasts_s in phases if lasts_s > _SHORTEST_S)


def span(state: State, phases: tuple[Phase, ...]) -> tuple[float, float]:
    """Return how low and how high one axis goes from `state` in these phases (see `reach`, which is for many)."""
    p, v, a = state
    low = high = p
    for jerk, lasts_s in phases:
        q = -(a + math.copysign(math.sqrt(max(a * a - 2 * jerk * v, 0.0)), a))
        for at_s in (q / jerk if jerk else 0.0, 2 * v / q if q else 0.0, lasts_s):
            if 0 < at_s <= lasts_s:
                there = p + at_s * (v + at_s * (a / 2 + at_s * jerk / 6))
                low, high = min(low, there), max(high, there)
        p += lasts_s * (v + lasts_s * (a / 2 + lasts_s * jerk / 6))
        v += lasts_s * (a + lasts_s * jerk / 2)
        a += lasts_s * jerk
    return low, high


def pieces(state: State, phases: tuple[Phase, ...], rest: float | None) -> tuple[Floats, Floats, float]:
    """Return breaks, cubic pieces and the value to rest at, from position, velocity and acceleration at 0 s."""
    p, v, a = state
    breaks_s, columns = [0.0], []
    for jerk, lasts_s in phases:
        columns.append((jerk / 6, a / 2, v, p))
        p += lasts_s * (v + lasts_s * (a / 2 + lasts_s * jerk / 6))
        v += lasts_s * (a + lasts_s * jerk / 2)
        a += lasts_s * jerk
        breaks_s.append(breaks_s[-1] + lasts_s)
    return np.array(breaks_s), np.array(columns).reshape(-1, 4).T, p if rest is None else rest


def after(first: Trajectory, then: Trajectory) -> Trajectory:
    """Return `first` until it rests, followed by `then`, which begins there at 0 s."""
    pieces = []
    for axis in range(len(first.axes)):
        breaks_s, coeffs = first.of(axis)
        next_s, more = then.of(axis)
        held = np.zeros((len(coeffs), 1))
        held[-1] = more[-1, :1] if more.size else then.coeffs[-1, then.first[axis]]
        waits = breaks_s[-1] < first.end_s
        joined = np.concatenate((coeffs, held, more) if waits else (coeffs, more), axis=1)
        times_s = np.concatenate((breaks_s if waits else breaks_s[:-1], next_s + first.end_s))
        pieces.append((times_s, joined, float(then.coeffs[-1, then.first[axis + 1] - 1])))
    return Trajectory.joined(first.axes, pieces, np.zeros(len(first.axes)))


def later(way: Trajectory, by_s: Floats) -> Trajectory:
    """Return the same way, each axis later by its own time. Shape: (A,)."""
    from_s = way.from_s + np.repeat(by_s, np.diff(way.first))
    return Trajectory(way.axes, way.first, from_s, way.coeffs, way.fit_error)


def _inside(axis: Axis, value: float) -> bool:
    return axis.travel is None or axis.travel[0] <= value <= axis.travel[1]


def _within(axis: Axis, velocity: float, acceleration: float, cap: float) -> bool:
    """Tell whether a state, and what its acceleration still adds to its speed, is inside the limits."""
    speed = axis.speed * cap * (1 - _MARGIN)
    coming = velocity + acceleration * abs(acceleration) / (2 * axis.jerk)
    return abs(acceleration) <= axis.acceleration * (1 - _MARGIN) and abs(velocity) <= speed and abs(coming) <= speed


def _stays(axis: Axis, low: float, high: float) -> bool:
    """Tell whether a way that goes as `low` and as `high` is inside the travel."""
    if axis.travel is None:
        return True
    slack = _MARGIN * (axis.travel[1] - axis.travel[0])
    return low >= axis.travel[0] - slack and high <= axis.travel[1] + slack
