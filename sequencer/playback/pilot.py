"""Where every axis is wanted at one instant: standing, on the way to somewhere, or on the timeline.

It decides nothing: `step` says what to do. It does not check what it wants; the guard does.
"""

from dataclasses import dataclass

import numpy as np

from sequencer.motion import profile
from sequencer.motion.trajectory import Floats, Trajectory
from sequencer.playback.cued import Cued
from sequencer.playback.guard import LONGEST_STEP_S, Sent
from sequencer.playback.state import Action, Brake, Follow, GoTo, Hold, Say
from sequencer.rig.axis import Rig
from sequencer.rig.signals import Setpoint
from sequencer.sync.reading import Clock


@dataclass(frozen=True, slots=True, eq=False)
class Still:
    """Standing at `position`. Shape: (A,)."""

    position: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Flown:
    """On a planned way to rest, which began at `start_ns` of the monotonic clock with the trajectory's zero."""

    way: Trajectory
    start_ns: int


@dataclass(frozen=True, slots=True, eq=False)
class Following:
    """On the timeline, wherever the clock is."""

    cued: Cued


@dataclass(frozen=True, slots=True, eq=False)
class Pilot:
    """What the rig is doing now."""

    rig: Rig
    flight: Still | Flown | Following


def obey(pilot: Pilot, action: Action, last: Sent, due_ns: int) -> Pilot:
    """Return the pilot who does `action` from the setpoint due at `due_ns` on, beginning with what was sent `last`."""
    match action:
        case Say():
            return pilot
        case Follow(cued):
            return Pilot(pilot.rig, Following(cued))
        case Hold():
            return Pilot(pilot.rig, Still(np.array(last.position)))
        case GoTo(cued, cap):
            way = _set_out(pilot.rig, last, cued, cap)
        case Brake():
            way = profile.stop(pilot.rig, *_motion(pilot.rig, last))
    # a way begins at the last setpoint; after a long silence the rig is taken to have waited there, as the guard does
    return Pilot(pilot.rig, Flown(way, max(last.due_ns, due_ns - round(LONGEST_STEP_S * 1e9))))


def _set_out(rig: Rig, last: Sent, cued: Cued, cap: float) -> Trajectory:
    """Return the way to the start of the cue, its last part by way of the approach, so that all takes start alike."""
    way = profile.go_to(rig, *_motion(rig, last), cued.approach, cap)
    if np.array_equal(cued.approach, cued.position):
        return way
    still = np.zeros_like(cued.position)
    return profile.after(way, profile.go_to(rig, cued.approach, still, still, cued.position, cap))


def want(pilot: Pilot, due_ns: int, clock: Clock) -> Setpoint:
    """Return where every axis is wanted at `due_ns`. `clock` counts only on the timeline."""
    match pilot.flight:
        case Following(cued):
            t_s = clock.position_s + clock.speed * (due_ns - clock.at_ns) * 1e-9
            position, velocity = cued.ahead(t_s, clock.speed)
            return Setpoint(due_ns, position, velocity * clock.speed)
        case Flown(way, start_ns):
            return Setpoint(due_ns, *way.at((due_ns - start_ns) * 1e-9))
        case Still(position):
            return Setpoint(due_ns, position, np.zeros_like(position))


def settled(pilot: Pilot, due_ns: int) -> bool:
    """Whether the rig is wanted at rest from `due_ns` on, whatever the clock does."""
    match pilot.flight:
        case Following():
            return False
        case Flown(way, start_ns):
            return due_ns - start_ns >= way.end_s * 1e9
        case Still():
            return True


def _motion(rig: Rig, last: Sent) -> tuple[Floats, Floats, Floats]:
    """Return position, velocity and acceleration at the last setpoint, from the steps before it. Shape: (A,) each."""
    speed = np.array(last.speed)
    acceleration = (speed - np.array(last.earlier)) / last.apart_s if last.apart_s else np.zeros_like(speed)
    most = np.array([axis.acceleration for axis in rig.axes])
    acceleration = np.clip(acceleration, -most, most)
    fastest = np.array([axis.speed for axis in rig.axes])
    # the mean speed of a step is the speed in its middle
    velocity = np.clip(speed + acceleration * last.span_s / 2, -fastest, fastest)
    return np.array(last.position), velocity, acceleration
