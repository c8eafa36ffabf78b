"""A rig's motors and their drives, simulated: what they do with setpoints, and what their encoders then say.

Physical in that a motor never exceeds its speed, its acceleration or its travel, whatever it is sent; everything comes
out the same for the same setpoints at the same instants. It is no model of load, friction or resonance.

A motor takes a setpoint up `transport_s` after it is due. From there the drive carries the target on at the setpoint's
speed until the next one, and the motor closes in on that moving target by a first-order lag of `lag_s`: with speeds
sent along nothing of the lag is left at a constant speed, while a setpoint without speed is followed at a distance of
speed times lag. Far from its target a motor closes in along the parabola on which it can still brake.
When no setpoint has come due for 0.25 s, an axis brakes and holds. After `stop` all axes do, and setpoints are ignored
until `resume`, which is obeyed only where everything stands still.
Behind the motor comes the gear's play: the load, whose position is measured, follows within the backlash.
Source: the lag is the textbook's first-order response; the approach is the proximate time-optimal servo of Franklin,
Powell and Workman, Digital Control of Dynamic Systems (from memory); the backlash is the play operator of hysteresis,
Krasnosel'skii and Pokrovskii, Systems with Hysteresis (from memory).

Unit: the axis's own, and that a second (squared).
"""

import math
from dataclasses import dataclass, replace
from operator import attrgetter

import numpy as np

from sequencer.rig.axis import BEYOND, Axis, Rig
from sequencer.rig.signals import Floats, Setpoint

STEP_NS = 1_000_000
LOST_NS = 250_000_000
_STEP_S = STEP_NS / 1e9
_MOST_PENDING = 1024


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """What does not change on one axis: limits and manners.

    `gain` is the speed at which a distance of one is closed. Only within `braking_room` of an end of the travel does
    that end ask for less than full speed.
    """

    speed: float
    acceleration: float
    low: float
    high: float
    gain: float
    braking_room: float
    transport_ns: int
    backlash: float
    resolution: float
    noise: float

    @classmethod
    def of(cls, axis: Axis) -> "Drive":
        """Return the drive that `axis` and its `simulated` describe."""
        how = axis.simulated
        low, high = _way(axis)
        # what a first-order lag covers in one step of time, exactly; without lag all of the distance
        covered = -math.expm1(-_STEP_S / how.lag_s) if how.lag_s else 1.0
        speed = axis.speed if how.speed is None else how.speed
        acceleration = axis.acceleration if how.acceleration is None else how.acceleration
        return cls(
            speed=speed,
            acceleration=acceleration,
            low=low,
            high=high,
            gain=covered / _STEP_S,
            braking_room=speed * _STEP_S + speed**2 / (2 * acceleration),
            transport_ns=round(how.transport_s * 1e9),
            backlash=axis.backlash if how.backlash is None else how.backlash,
            resolution=axis.resolution,
            noise=how.noise,
        )


@dataclass(frozen=True, slots=True)
class Order:
    """A setpoint for one axis, to be followed from `from_ns` on."""

    from_ns: int
    position: float
    speed: float


@dataclass(frozen=True, slots=True)
class Motor:
    """Where one axis is at `at_ns`: the motor, its load behind the play, and the order that it follows, if any."""

    at_ns: int
    position: float
    velocity: float
    load: float
    order: Order | None = None
    pending: tuple[Order, ...] = ()


@dataclass(frozen=True, slots=True)
class Motors:
    """All axes, in the rig's order. `stopped` is a stop that nobody has resumed."""

    drives: tuple[Drive, ...]
    motors: tuple[Motor, ...]
    stopped: bool = False

    @property
    def at_ns(self) -> int:
        return self.motors[0].at_ns

    @property
    def still(self) -> bool:
        return all(motor.velocity == 0 for motor in self.motors)


def at_home(rig: Rig, at_ns: int) -> Motors:
    """Return motors that stand at the home position of their axes, with nothing to follow."""
    motors = tuple(Motor(at_ns, axis.home, 0.0, axis.home) for axis in rig.axes)
    return Motors(tuple(Drive.of(axis) for axis in rig.axes), motors)


def command(state: Motors, setpoint: Setpoint) -> Motors:
    """Return motors that will take up `setpoint` when it is due.

    An axis whose position is not a finite number is not meant; a speed that is none counts as zero. An order that is
    due before the one in force is late and of no use.
    """
    if state.stopped:
        return state
    told = zip(state.drives, state.motors, setpoint.position.tolist(), setpoint.velocity.tolist(), strict=True)
    return replace(
        state,
        motors=tuple(
            _order(motor, Order(setpoint.due_ns + drive.transport_ns, position, speed if math.isfinite(speed) else 0.0))
            for drive, motor, position, speed in told
        ),
    )


def stop(state: Motors) -> Motors:
    """Return motors that brake at once and ignore setpoints from now on."""
    return replace(state, motors=tuple(replace(motor, order=None, pending=()) for motor in state.motors), stopped=True)


def resume(state: Motors) -> Motors:
    """Return motors that listen to setpoints again, where everything stands still; unchanged otherwise."""
    return replace(state, stopped=False) if state.stopped and state.still else state


def advance(state: Motors, to_ns: int) -> Motors:
    """Return the motors at the last whole step of time up to `to_ns`.

    Steps are counted from where the motors began, so it makes no difference how often this is called.
    """
    return replace(
        state,
        motors=tuple(_advance(drive, motor, to_ns) for drive, motor in zip(state.drives, state.motors, strict=True)),
    )


def closed(state: Motors, rig: Rig) -> tuple[bool | None, ...]:
    """Return for each axis whether its homing switch is closed, by where the load is; None for one without a switch."""
    return tuple(_closed(axis, motor.load) for axis, motor in zip(rig.axes, state.motors, strict=True))


def _closed(axis: Axis, place: float) -> bool | None:
    switch_at = axis.simulated.switch_at
    if switch_at is None or axis.homing is None:
        return None
    return place <= switch_at if axis.homing.towards == "low" else place >= switch_at


def _way(axis: Axis) -> tuple[float, float]:
    """Return between which places the motor can go: its travel, with room to brake on a switch that sits at an end."""
    low, high = axis.travel or (-math.inf, math.inf)
    switch_at = axis.simulated.switch_at
    if switch_at is None or axis.homing is None:
        return low, high
    room = BEYOND * (high - low)
    return (min(low, switch_at - room), high) if axis.homing.towards == "low" else (low, max(high, switch_at + room))


def measure(state: Motors, noise: np.random.Generator) -> Floats:
    """Return what the encoders say at `state.at_ns`: the load's position with noise, in whole encoder steps.

    Shape: (A,), in the rig's order.
    """
    drawn = noise.standard_normal(len(state.motors)).tolist()
    pairs = zip(state.drives, state.motors, drawn, strict=True)
    return np.array([_encoder(drive, motor.load + drive.noise * error) for drive, motor, error in pairs])


def _encoder(drive: Drive, position: float) -> float:
    return round(position / drive.resolution) * drive.resolution if drive.resolution else position


def _order(motor: Motor, order: Order) -> Motor:
    if not math.isfinite(order.position) or (motor.order and order.from_ns < motor.order.from_ns):
        return motor
    pending = (*motor.pending[-_MOST_PENDING:], order)
    if motor.pending and order.from_ns < motor.pending[-1].from_ns:
        pending = tuple(sorted(pending, key=attrgetter("from_ns")))
    return Motor(motor.at_ns, motor.position, motor.velocity, motor.load, motor.order, pending)


def _advance(drive: Drive, motor: Motor, to_ns: int) -> Motor:
    now_ns, order, pending = motor.at_ns, motor.order, motor.pending
    position, velocity, load = motor.position, motor.velocity, motor.load
    most, play = drive.acceleration * _STEP_S, drive.backlash / 2
    taken = 0
    while now_ns + STEP_NS <= to_ns:
        while taken < len(pending) and pending[taken].from_ns <= now_ns:
            order = pending[taken]
            taken += 1
        if order is not None and now_ns - order.from_ns > LOST_NS:
            order = None
        if order is None and velocity == 0 and taken == len(pending):
            now_ns = to_ns - (to_ns - now_ns) % STEP_NS
            break
        wanted = 0.0 if order is None else _wanted(drive, order, position, now_ns)
        velocity += min(max(wanted - velocity, -most), most)
        position += velocity * _STEP_S
        load = min(max(load, position - play), position + play)
        now_ns += STEP_NS
    return Motor(now_ns, position, velocity, load, order, pending[taken:])


def _wanted(drive: Drive, order: Order, position: float, now_ns: int) -> float:
    """Return the speed that brings the motor onto its moving target, within what speed and travel allow."""
    ahead = order.position + order.speed * ((now_ns - order.from_ns) / 1e9)
    target = min(max(ahead, drive.low), drive.high)
    wanted = _approach(drive, target - position) + (order.speed if target == ahead else 0.0)
    lowest, highest = -drive.speed, drive.speed
    if position - drive.low < drive.braking_room:
        lowest = max(lowest, -_brakeable(drive, position - drive.low))
    if drive.high - position < drive.braking_room:
        highest = min(highest, _brakeable(drive, drive.high - position))
    return min(max(wanted, lowest), highest)


def _approach(drive: Drive, distance: float) -> float:
    """Return the speed at which to close a distance: proportional when near, along the braking parabola when far."""
    return math.copysign(min(drive.gain * abs(distance), _brakeable(drive, abs(distance))), distance)


def _brakeable(drive: Drive, distance: float) -> float:
    """Return the highest speed from which a motor still stands within `distance`, one step of time included."""
    step = drive.acceleration * _STEP_S
    return math.sqrt(step * step + 2 * drive.acceleration * max(distance, 0.0)) - step
