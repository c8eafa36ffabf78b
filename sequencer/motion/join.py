"""Join a moving reference: from any state to the earliest instant at which position, speed and acceleration match.

Each axis joins at its own instant. It refuses to choose what is joined, and when; whoever plays decides that.

A way of a given length may be impossible although a shorter one exists, since the reference moves meanwhile. So each
instant is tried by itself: the soonest way there that takes at least so long must take no longer.
Source: Berscheid & Kroeger 2021, "Jerk-limited Real-time Trajectory Generation with Arbitrary Target States".
"""

from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
import ruckig
from numpy.typing import NDArray

from sequencer.motion.profile import Phase, State, braking, pieces, span, told
from sequencer.motion.trajectory import Floats, Trajectory
from sequencer.rig.axis import Axis, Rig

STEP_S = 0.02  # between two instants that are tried; an occasion that passes within it may be missed
_HALVINGS = 30
_LOOKED_AT = 1024  # instants of the reference in one call
_TRIED = 96  # of them, in one call
_EQUAL = 1e-13  # of a duration: what it is longer, the way ends past the reference
# a reference at its limits may exceed them by what rounding leaves
_HAIR = 5e-10

Value = TypeVar("Value", float, NDArray[np.float64])


@dataclass(frozen=True, slots=True, eq=False)
class _Line:
    """One axis of a trajectory, with the constant pieces before and after. Shape: (P,), (K, P)."""

    from_s: Floats
    coeffs: Floats

    def piece(self, t_s: float) -> int:
        return int(self.from_s[1:].searchsorted(t_s, "right"))

    def state(self, t_s: float) -> State:
        piece = self.piece(t_s)
        return _state(self.coeffs[:, piece].tolist(), t_s - float(self.from_s[piece]))

    def states(self, t_s: Floats) -> tuple[Floats, Floats, Floats]:
        piece = self.from_s[1:].searchsorted(t_s, "right")
        return _state(list(self.coeffs[:, piece]), t_s - self.from_s[piece])


@dataclass(frozen=True, slots=True, eq=False)
class Joined:
    """How one axis comes to the reference: at `at_s`; its pieces before and after, and the value that it rests at.

    Shape: breaks (S+1,), coeffs (K, S), as `Trajectory.joined` takes them.
    """

    at_s: float
    pieces: tuple[Floats, Floats, float]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Planner:
    """A plan that is being made, axis by axis.

    Shape: `leave_s` (A,). `tried` instants of the axis in work have been looked at; `from_rest`: it leaves from where
    `way` rests, since from `leave_s` there was no way within its limits and its travel.
    """

    rig: Rig
    way: Trajectory
    reference: Trajectory
    leave_s: Floats
    joined: tuple[Joined, ...] = ()
    tried: int = 0
    from_rest: bool = False

    @property
    def done(self) -> bool:
        return len(self.joined) == len(self.rig.axes)

    @property
    def in_s(self) -> float:
        """The instant from which on all axes are on the reference, as far as they are planned."""
        return max((axis.at_s for axis in self.joined), default=-np.inf)

    def trajectory(self) -> Trajectory:
        """Return `way`, then the way to the reference, then the reference. Error: ValueError before it is `done`."""
        if not self.done:
            raise ValueError("the plan is not made yet")
        return Trajectory.joined(self.rig.names, [axis.pieces for axis in self.joined], self.reference.fit_error)


def begin(rig: Rig, way: Trajectory, reference: Trajectory, leave_s: Floats) -> Planner:
    """Return the planner of how each axis leaves `way`, at its instant in `leave_s` (A,), for the reference.

    `way` ends at rest, as a stop does: an axis that cannot join from where it is at `leave_s` leaves from there. Where
    the reference is never caught up with while it moves, it is joined where it rests.
    Unit: seconds of the reference's time, in which the limits of `rig` count (see `rig.speed.at_speed`).
    Error: ValueError for trajectories of other axes than the rig's.
    """
    if not way.axes == reference.axes == rig.names or len(leave_s) != len(rig.axes):
        raise ValueError(f"the rig has {', '.join(rig.names)}; both trajectories must be of these axes")
    return Planner(rig=rig, way=way, reference=reference, leave_s=leave_s)


class _Tries:
    """Tries one axis's ways from `start`, each of a given length to a given state."""

    def __init__(self, axis: Axis, start: State) -> None:
        self._axis, self._start = axis, start
        self._solver, self._asked, self._answer = ruckig.Ruckig(1), ruckig.InputParameter(1), ruckig.Trajectory(1)
        # told in parts of the axis's own speed, from where it stands: ruckig's tolerances are absolute
        one = axis.speed
        self._asked.current_velocity, self._asked.current_acceleration = [start[1] / one], [start[2] / one]
        self._asked.max_velocity = [1 + _HAIR]
        self._asked.max_acceleration = [axis.acceleration / one * (1 + _HAIR)]
        self._asked.max_jerk = [axis.jerk / one * (1 + _HAIR)]

    def succeed(self, after_s: float, target: State) -> bool:
        """Tell whether there is a way of just `after_s` to `target`, within the limits and the travel."""
        axis, asked, answer = self._axis, self._asked, self._answer
        position, velocity, acceleration = target
        # a way there is a way back in the time that runs backward, with the acceleration the other way
        if not _inside(axis, velocity, -acceleration):
            return False
        asked.target_position = [(position - self._start[0]) / axis.speed]
        asked.target_velocity, asked.target_acceleration = [velocity / axis.speed], [acceleration / axis.speed]
        asked.minimum_duration = after_s
        try:
            outcome = self._solver.calculate(asked, answer)
        except ruckig.RuckigError:
            return False
        # without a way, the answer is still the one before
        found = outcome in (ruckig.Result.Working, ruckig.Result.Finished)
        return found and answer.duration <= after_s * (1 + _EQUAL) and self._stays(position)

    def phases(self) -> tuple[Phase, ...]:
        """Return the phases of the way that was tried last."""
        return told(self._answer.profiles[0][0], self._axis.speed)

    def _stays(self, position: float) -> bool:
        """Tell whether the way is inside the travel, or at least no farther outside than its ends are."""
        if self._axis.travel is None:
            return True
        low, high = self._axis.travel
        slack = _HAIR * (high - low)
        lowest, highest = span(self._start, self.phases())
        place = self._start[0]
        return lowest >= min(low, place, position) - slack and highest <= max(high, place, position) + slack


def advance(planner: Planner) -> Planner:
    """Return the planner after one step more, which is mostly one axis and takes a millisecond, at most some.

    Error: ArithmeticError where no way was found, which is a fault of ours.
    """
    if planner.done:
        return planner
    number = len(planner.joined)
    axis = planner.rig.axes[number]
    way, reference = _line(planner.way, number), _line(planner.reference, number)
    leave_s, start = _left(axis, way, float(way.from_s[-1] if planner.from_rest else planner.leave_s[number]))
    last_s = _longest_s(axis, start, reference, leave_s)
    tries = _Tries(axis, start)
    tau_s = STEP_S * np.arange(planner.tried + 1, planner.tried + 1 + _LOOKED_AT)
    places, speeds, accelerations = reference.states(np.add(leave_s, tau_s, dtype=np.float64))
    near = np.flatnonzero(np.abs(places - start[0]) <= axis.speed * tau_s * (1 + _HAIR))[:_TRIED]
    for place in near.tolist():
        target = float(places[place]), float(speeds[place]), float(accelerations[place])
        if tries.succeed(float(tau_s[place]), target):
            at_s, phases = _soonest(tries, reference, leave_s, float(tau_s[place]))
            found = Joined(at_s, _assembled(way, leave_s, pieces(start, phases, None), reference, at_s))
            return replace(planner, joined=(*planner.joined, found), tried=0, from_rest=False)
    looked_at = int(near[-1]) + 1 if len(near) == _TRIED else _LOOKED_AT
    if float(tau_s[looked_at - 1]) < last_s:
        return replace(planner, tried=planner.tried + looked_at)
    if planner.from_rest:
        raise ArithmeticError(f"no way of {axis.name} from rest at {start[0]} to the reference")
    return replace(planner, tried=0, from_rest=True)


def _left(axis: Axis, way: _Line, leave_s: float) -> tuple[float, State]:
    """Return when `way` is left from `leave_s` on, and the state there: inside the limits, or at rest."""
    start = way.state(leave_s)
    while leave_s < way.from_s[-1] and not _inside(axis, start[1], start[2]):
        leave_s = min(leave_s + STEP_S, float(way.from_s[-1]))
        start = way.state(leave_s)
    return leave_s, start


def _soonest(tries: _Tries, reference: _Line, leave_s: float, high_s: float) -> tuple[float, tuple[Phase, ...]]:
    """Return the first instant, within a step before `high_s` after leaving, at which joining succeeds, and how."""
    low_s = high_s - STEP_S
    for _ in range(_HALVINGS):
        middle_s = (low_s + high_s) / 2
        if tries.succeed(middle_s, reference.state(leave_s + middle_s)):
            high_s = middle_s
        else:
            low_s = middle_s
    if not tries.succeed(high_s, reference.state(leave_s + high_s)):
        raise ArithmeticError(f"a way of {high_s} s was found, and was not found again")
    return leave_s + high_s, tries.phases()


def _inside(axis: Axis, velocity: float, acceleration: float) -> bool:
    """Tell whether a state, and what its acceleration still adds to its speed, is inside the limits."""
    most = axis.speed * (1 + _HAIR)
    coming = velocity + acceleration * abs(acceleration) / (2 * axis.jerk)
    return abs(velocity) <= most and abs(coming) <= most and abs(acceleration) <= axis.acceleration * (1 + _HAIR)


def _longest_s(axis: Axis, start: State, reference: _Line, leave_s: float) -> float:
    """Return after how long the reference is joined at rest at the latest, unless the travel is in the way."""
    rests_s = max(float(reference.from_s[-1]) - leave_s, 0.0)
    stops = braking(axis, start[1], start[2])
    low, high = span(start, stops)
    far = abs(float(reference.coeffs[-1, -1]) - start[0]) + high - low
    ramps_s = axis.speed / axis.acceleration + axis.acceleration / axis.jerk
    return rests_s + sum(lasts_s for _, lasts_s in stops) + 2 * (far / axis.speed + ramps_s)


def _line(trajectory: Trajectory, axis: int) -> _Line:
    own = slice(trajectory.first[axis], trajectory.first[axis + 1])
    return _Line(trajectory.from_s[own], trajectory.coeffs[:, own])


def _state(rows: list[Value], since_s: Value) -> tuple[Value, Value, Value]:
    """Return position, speed and acceleration of a polynomial (Horner's rule, for all three at once)."""
    position = rows[0] + 0.0 * since_s
    speed = acceleration = 0.0 * since_s
    for row in rows[1:]:
        acceleration = acceleration * since_s + 2 * speed
        speed = speed * since_s + position
        position = position * since_s + row
    return position, speed, acceleration


def _about(rows: list[float], by_s: float) -> list[float]:
    """Return the same polynomial about a point `by_s` later (Horner's scheme, repeated)."""
    moved = list(rows)
    for last in range(len(moved), 1, -1):
        for row in range(1, last):
            moved[row] += by_s * moved[row - 1]
    return moved


def _assembled(
    way: _Line, leave_s: float, joining: tuple[Floats, Floats, float], reference: _Line, at_s: float
) -> tuple[Floats, Floats, float]:
    """Return one axis's pieces: those of `way` until it is left, those that join, and from `at_s` the reference's."""
    left = way.piece(leave_s)
    breaks_s, columns, _ = joining
    here = reference.piece(at_s)
    cut = _about(reference.coeffs[:, here].tolist(), at_s - float(reference.from_s[here]))
    resting = here == len(reference.from_s) - 1
    parts = [
        way.coeffs[:, 1 : left + 1],
        columns,
        np.array(cut)[:, None][:, : 0 if resting else 1],
        reference.coeffs[:, here + 1 : -1],
    ]
    size = max(len(part) for part in parts)
    coeffs = np.concatenate([_sized(part, size) for part in parts], axis=1)
    times_s = np.concatenate((way.from_s[1 : left + 1], leave_s + breaks_s[:-1], [at_s], reference.from_s[here + 1 :]))
    return times_s, coeffs, float(reference.coeffs[-1, -1])


def _sized(coeffs: Floats, size: int) -> Floats:
    """Return the polynomials with `size` coefficients, the highest of them 0."""
    return np.concatenate((np.zeros((size - len(coeffs), coeffs.shape[1])), coeffs))
