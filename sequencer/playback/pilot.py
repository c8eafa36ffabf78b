"""Where every axis is wanted at one instant: standing, on the way to somewhere, or on the timeline.

It decides nothing: `step` says what to do. It does not check what it wants; the guard does.
"""

from dataclasses import dataclass, replace

import numpy as np

from sequencer.live.driving import Driven, eased, steer
from sequencer.live.wish import Wish
from sequencer.motion import join, profile
from sequencer.motion.to_mark import to_mark
from sequencer.motion.trajectory import Floats, Trajectory
from sequencer.playback.cued import Cued
from sequencer.playback.events import Action, Begin, Brake, Follow, GoTo, HandOver, Hold, Join, Say, Steer, ToMark
from sequencer.playback.guard import LONGEST_STEP_S, Sent
from sequencer.rig.axis import Rig
from sequencer.rig.signals import Setpoint
from sequencer.rig.speed import at_speed
from sequencer.sync.reading import Clock

# The clock may run faster by this factor than while a joining was planned, for its limits to be kept by the plan alone.
HEADROOM = 1.03
_PLANNING_S = 0.004  # of ticks for each step of planning, which takes a quarter of that
_MOST_STEPS = 5  # in a tick, however late it is: planning that takes long must not make the next tick plan more
_SPARE_TICKS = 4


@dataclass(frozen=True, slots=True, eq=False)
class Still:
    """Standing at `position`. Shape: (A,)."""

    position: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Flown:
    """On a planned way to rest, which began at `start_ns` of the monotonic clock with the trajectory's zero."""

    way: Trajectory
    start_ns: int


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Driving:
    """As the hand asks: the eased rig at `at_ns`, and what is `wanted` from there on. Shape: A."""

    rig: Rig
    driven: Driven
    at_ns: int
    wanted: tuple[Wish, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Following:
    """On the timeline, wherever the clock is, but for the axes that a `hand` has. Shape: `by_hand` A, or 0."""

    cued: Cued
    hand: Driving | None = None
    by_hand: tuple[bool, ...] = ()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Joining:
    """On the way to the timeline of `cued`, wherever the clock is.

    `way`: the cue with braking in place of its timeline, and when that is planned, with the whole way. `leave_s`: where
    the clock is when braking ends; what is planned by then is flown, else it is planned anew with `lead_s` doubled.
    """

    cued: Cued
    way: Cued
    planner: join.Planner
    leave_s: float
    lead_s: float
    planned: bool = False


Flight = Still | Flown | Following | Joining | Driving


@dataclass(frozen=True, slots=True, eq=False)
class Pilot:
    """What the rig is doing now."""

    rig: Rig
    flight: Flight


def obey(pilot: Pilot, action: Action, last: Sent, due_ns: int) -> Pilot:
    """Return the pilot who does `action` from the setpoint due at `due_ns` on, beginning with what was sent `last`.

    Error: ValueError for a mark to which there is no way from here.
    """
    match action:
        case Say() | Begin():
            return pilot
        case Follow(cued):
            return Pilot(pilot.rig, Following(cued))
        case Join(cued, clock):
            return Pilot(pilot.rig, _joining(pilot.rig, cued, clock, last, due_ns))
        case Steer(wanted):
            return Pilot(pilot.rig, _steered(pilot, wanted, last, due_ns))
        case HandOver(by_hand):
            return Pilot(pilot.rig, _handed_over(pilot, by_hand, last, due_ns))
        case Hold():
            return Pilot(pilot.rig, Still(np.array(last.position)))
        case GoTo(cued, cap):
            way = _set_out(pilot.rig, last, cued, cap)
        case ToMark(mark):
            way = to_mark(pilot.rig, *motion(pilot.rig, last), mark)
        case Brake():
            way = profile.stop(pilot.rig, *motion(pilot.rig, last))
    return Pilot(pilot.rig, Flown(way, _left_ns(last, due_ns)))


def taken_over(rig: Rig, last: Sent, action: Action) -> Sent:
    """Return `last` as the way that `action` begins takes it over: with the velocity that it had.

    What an earlier way wanted and could not have would else be held against the new one.
    """
    match action:
        case GoTo() | ToMark() | Join() | Brake():
            return replace(last, claimed=tuple(motion(rig, last)[1].tolist()))
    return last


def plan(pilot: Pilot, last: Sent, due_ns: int, clock: Clock) -> Pilot:
    """Return the pilot after as much planning as a tick has time for, for the setpoint at `due_ns`."""
    match pilot.flight:
        case Joining(planned=False) as flight:
            return Pilot(pilot.rig, _planned(flight, last.span_s, _clock_s(clock, due_ns), clock.speed))
        case Driving() as flight:
            return Pilot(pilot.rig, _on(flight, due_ns))
        case Flown(way, start_ns):
            waited_ns = due_ns - max(last.due_ns, start_ns) - round(LONGEST_STEP_S * 1e9)
            # where the machine paused, the rig is taken to have waited, as the guard does
            return Pilot(pilot.rig, Flown(way, start_ns + waited_ns)) if waited_ns > 0 else pilot
        case Following(hand=Driving() as hand, by_hand=by_hand) as flight:
            # where the others are counts for limits that tie axes together
            where = tuple(
                mine if own else sent
                for own, mine, sent in zip(by_hand, hand.driven.position, last.position, strict=True)
            )
            moved = replace(hand, driven=replace(hand.driven, position=where))
            return Pilot(pilot.rig, replace(flight, hand=_on(moved, due_ns)))
    return pilot


def _steered(pilot: Pilot, wanted: tuple[Wish, ...], last: Sent, due_ns: int) -> Flight:
    """Return the flight by hand from the last setpoint on, or the same one with other wishes; () wishes for rest."""
    wanted = wanted or (0.0,) * len(pilot.rig.axes)
    match pilot.flight:
        case Driving() as flight:
            return replace(flight, wanted=wanted)
        case Following(hand=Driving() as hand, by_hand=by_hand) as flight:
            own = tuple(wish if mine else 0.0 for mine, wish in zip(by_hand, wanted, strict=True))
            return replace(flight, hand=replace(hand, wanted=own))
        case Following() as flight:
            return flight
    return _by_hand(pilot.rig, wanted, last, due_ns)


def _handed_over(pilot: Pilot, by_hand: tuple[bool, ...], last: Sent, due_ns: int) -> Flight:
    """Return the same flight with these axes in the hand, that asks for rest at first; they stay so to its end."""
    match pilot.flight:
        case Following(hand=None) as flight:
            rest = (0.0,) * len(pilot.rig.axes)
            return replace(flight, hand=_by_hand(pilot.rig, rest, last, due_ns), by_hand=by_hand)
    return pilot.flight


def _by_hand(rig: Rig, wanted: tuple[Wish, ...], last: Sent, due_ns: int) -> Driving:
    """Return the flight by hand that goes on as the last setpoints moved."""
    position, velocity, acceleration = (tuple(one.tolist()) for one in motion(rig, last))
    driven = Driven(position, velocity, acceleration)
    return Driving(rig=eased(rig), driven=driven, at_ns=_left_ns(last, due_ns), wanted=wanted)


def _on(flight: Driving, due_ns: int) -> Driving:
    """Return the flight at `due_ns`. After a long silence the rig is taken to have waited, as the guard does."""
    if flight.at_ns >= due_ns:
        return flight
    lasts_s = min((due_ns - flight.at_ns) * 1e-9, LONGEST_STEP_S)
    return replace(flight, driven=steer(flight.rig, flight.driven, flight.wanted, lasts_s), at_ns=due_ns)


def _set_out(rig: Rig, last: Sent, cued: Cued, cap: float) -> Trajectory:
    """Return the way to the start of the cue, its last part by way of the approach, so that all takes start alike."""
    way = profile.go_to(rig, *motion(rig, last), cued.approach, cap)
    if np.array_equal(cued.approach, cued.position):
        return way
    still = np.zeros_like(cued.position)
    return profile.after(way, profile.go_to(rig, cued.approach, still, still, cued.position, cap))


def want(pilot: Pilot, due_ns: int, clock: Clock) -> Setpoint:
    """Return where every axis is wanted at `due_ns`. `clock` counts only on the timeline."""
    match pilot.flight:
        case Following(cued) | Joining(way=cued):
            position, velocity = cued.ahead(_clock_s(clock, due_ns), clock.speed)
            return _in_hand(pilot.flight, Setpoint(due_ns, position, velocity * clock.speed))
        case Flown(way, start_ns):
            return Setpoint(due_ns, *way.at((due_ns - start_ns) * 1e-9))
        case Driving(driven=driven):
            return Setpoint(due_ns, np.array(driven.position), np.array(driven.velocity))
        case Still(position):
            return Setpoint(due_ns, position, np.zeros_like(position))


def _in_hand(flight: Flight, played: Setpoint) -> Setpoint:
    """Return what is played, but for the axes that a hand has."""
    match flight:
        case Following(hand=Driving(driven=driven), by_hand=by_hand):
            position = np.where(by_hand, driven.position, played.position)
            return Setpoint(played.due_ns, position, np.where(by_hand, driven.velocity, played.velocity))
    return played


def settled(pilot: Pilot, due_ns: int) -> bool:
    """Whether the rig is wanted at rest from `due_ns` on, whatever the clock does."""
    match pilot.flight:
        case Following() | Joining() | Driving():
            return False
        case Flown(way, start_ns):
            return due_ns - start_ns >= way.end_s * 1e9
        case Still():
            return True


def planning(pilot: Pilot) -> bool:
    """Whether the way is still being planned, which takes time in each call of `plan`."""
    return isinstance(pilot.flight, Joining) and not pilot.flight.planned


def joined(pilot: Pilot, due_ns: int, clock: Clock) -> bool:
    """Whether every axis is wanted on the timeline that it was to join, from `due_ns` on."""
    match pilot.flight:
        case Joining(planner=planner, planned=True):
            return _clock_s(clock, due_ns) >= planner.in_s
    return False


def _joining(rig: Rig, cued: Cued, clock: Clock, last: Sent, due_ns: int) -> Joining:
    """Return the flight that brakes, along the clock, and leaves braking for the cue as soon as that is planned.

    It is flown along the clock from the beginning, each axis ahead as on the timeline: so it merges exactly, whatever
    the clock's speed does meanwhile.
    """
    # in a rehearsal at half the speed this is the way of the full speed, at half of it
    paced = at_speed(rig, clock.speed * HEADROOM / cued.pace)
    position, velocity, acceleration = motion(rig, last)
    stopping = profile.stop(paced, position, velocity / clock.speed, acceleration / clock.speed**2)
    from_s = _clock_s(clock, _left_ns(last, due_ns)) + cued.leads_s(clock.speed)
    way = replace(cued, timeline=profile.later(stopping, from_s))
    lead_s = len(rig.axes) * _PLANNING_S + _SPARE_TICKS * (due_ns - _left_ns(last, due_ns)) * 1e-9
    return _begun(paced, cued, way, _clock_s(clock, due_ns), clock.speed, lead_s)


def _begun(paced: Rig, cued: Cued, way: Cued, now_s: float, speed: float, lead_s: float) -> Joining:
    """Return the flight on `way` whose planning begins now and is to be done in `lead_s`."""
    leave_s = now_s + speed * lead_s
    planner = join.begin(paced, way.timeline, cued.timeline, leave_s + cued.leads_s(speed))
    return Joining(cued=cued, way=way, planner=planner, leave_s=leave_s, lead_s=lead_s)


def _planned(flight: Joining, span_s: float, now_s: float, speed: float) -> Joining:
    """Return the flight after the planning of one tick: further, on the whole way, or begun anew where it is late."""
    planner = flight.planner
    if now_s > flight.leave_s:
        return _begun(planner.rig, flight.cued, flight.way, now_s, speed, 2 * flight.lead_s)
    if planner.done:
        return replace(flight, way=replace(flight.cued, timeline=planner.trajectory()), planned=True)
    for _ in range(min(max(1, round(span_s / _PLANNING_S)), _MOST_STEPS)):
        planner = join.advance(planner)
    return replace(flight, planner=planner)


def _clock_s(clock: Clock, due_ns: int) -> float:
    return clock.position_s + clock.speed * (due_ns - clock.at_ns) * 1e-9


def _left_ns(last: Sent, due_ns: int) -> int:
    """Return when a way begins that is to be flown from the next setpoint on: at the last one.

    After a long silence the rig is taken to have waited there, as the guard does.
    """
    return max(last.due_ns, due_ns - round(LONGEST_STEP_S * 1e9))


def motion(rig: Rig, last: Sent) -> tuple[Floats, Floats, Floats]:
    """Return position, velocity and acceleration at the last setpoint, from the steps before it. Shape: (A,) each."""
    speed = np.array(last.speed)
    acceleration = (speed - np.array(last.earlier)) / last.apart_s if last.apart_s else np.zeros_like(speed)
    most = np.array([axis.acceleration for axis in rig.axes])
    acceleration = np.clip(acceleration, -most, most)
    fastest = np.array([axis.speed for axis in rig.axes])
    # the mean speed of a step is the speed in its middle
    velocity = np.clip(speed + acceleration * last.span_s / 2, -fastest, fastest)
    # no more than it can undo before it is at full speed: the guard would hold back a way that is faster
    undone = np.sqrt(2 * np.array([axis.jerk for axis in rig.axes]) * (fastest - np.abs(velocity)))
    acceleration = np.where(velocity * acceleration > 0, np.clip(acceleration, -undone, undone), acceleration)
    return np.array(last.position), velocity, acceleration
