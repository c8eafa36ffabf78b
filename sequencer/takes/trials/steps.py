"""The steps with which an axis is tried: how far, how fast, how hard, within what the operator allows and the travel.

It knows nothing of what was found, but for what the makers of later steps are told. Unit: the axis's own; seconds.
"""

import math
from dataclasses import dataclass

from sequencer.rig.axis import Axis
from sequencer.takes.trials.step import ROUNDING, Leg, Shape, Step, chain, fitted

ENDLESS = 180.0  # an axis without end is tried over so much, about where it stands: its cables have ends
MARGIN = 0.05  # of the travel, kept free at both ends
OUTSIDE = 0.005  # of the travel
NUDGE = 0.02  # of the span
STAIR = 0.002  # of the span, at least
_REPEATS = 3
_SLOW = 1 / 3  # of the careful speed: two speeds tell delay from play
_STAIRS = 6
_GENTLE = 1 / 8  # of the careful acceleration
_EASED = 2.5  # an axis that was asked for more than it has brakes more gently than it got under way, or it overshoots
_SPARE = 0.8  # of a limit that another trial found or was given, so that only one thing is tried at a time
_RUN_S, _LONG_RUN_S, _SHORTEST_RUN_S = 0.25, 0.4, 0.15
_RAMP_S, _LONGEST_RAMP_S, _SHORTEST_RAMP_S = 0.25, 0.8, 0.06


@dataclass(frozen=True, slots=True, kw_only=True)
class Most:
    """The most that the operator lets be tried, and the part of it that the first steps take."""

    speed: float
    acceleration: float
    begin: float = 0.1

    def __post_init__(self) -> None:
        for name in ("speed", "acceleration"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0):
                raise ValueError(f"the most {name} to try is {value:g}; it must be above zero")
        if not 0.01 <= self.begin <= 1:
            raise ValueError(f"the first step takes {self.begin:g} of the most; it must be from 0.01 to 1")

    @property
    def careful(self) -> tuple[float, float]:
        """Speed and acceleration of the first steps; the speed is reached within a ramp that is not too long."""
        acceleration = self.begin * self.acceleration
        return min(self.begin * self.speed, _LONGEST_RAMP_S * (1 - ROUNDING) * acceleration), acceleration

    @property
    def cap(self) -> float:
        """The speed up to which accelerations are tried."""
        return _SPARE * self.speed


def placed(axis: Axis, stands: float) -> float:
    """Return where an axis stands, inside its travel: noise at an end is none of its doing.

    Error: ValueError where it is farther outside than that.
    """
    if axis.travel is None:
        return stands
    low, high = axis.travel
    inside = min(max(stands, low), high)
    if abs(stands - inside) > OUTSIDE * (high - low):
        raise ValueError(
            f"{axis.name} stands at {stands:.4g}, outside its travel [{low:g}, {high:g}]; bring it inside by hand, or "
            "correct its travel or its zero"
        )
    return inside


def span(axis: Axis, stands: float) -> tuple[float, float]:
    """Return how low and how high the axis goes in trials."""
    low, high = axis.travel or (stands - ENDLESS / 2, stands + ENDLESS / 2)
    margin = MARGIN * (high - low)
    return low + margin, high - margin


def base(ends: tuple[float, float], stands: float, steps: tuple[Step, ...]) -> float:
    """Return the place from which all these steps have room, as near as may be to where the axis stands.

    The steps are those from zero.
    """
    low, high = ends
    highest = max((step.reach[1] for step in steps), default=0.0)
    return max(min(stands, high - highest), low)


def nudge(base: float, room: float, speed: float, acceleration: float, way: float = 1.0) -> Step:
    """Return a small move, up and back, or down and back (`way` -1)."""
    shape = fitted(NUDGE * room, speed, acceleration)
    return Step(name="a small move", kind="nudge", asked=0.0, legs=_there_and_back(base, room, shape, way))


def follow(base: float, room: float, most: Most) -> Step:
    """Return moves up and back at two careful speeds, from which delay and lag are known."""
    speed, acceleration = most.careful
    fast = _roomy(Shape(speed=speed, acceleration=acceleration, run_s=_LONG_RUN_S), room)
    slow = _roomy(Shape(speed=speed * _SLOW, acceleration=acceleration, run_s=2 * _LONG_RUN_S), room)
    far, near = min(fast.way, room), min(slow.way, room)
    once = ((far, fast), (-far, fast), (near, slow), (-near, slow))
    legs = chain(base, once * _REPEATS)
    return Step(name="latency", kind="following", asked=0.0, legs=legs)


def stairs(base: float, room: float, most: Most, way: float, resolution: float, settles_s: float) -> Step:
    """Return steps up to places and down to the same places, each from one side and then from the other.

    They are about `way` apart, and stand at all parts of an encoder's step, so that its rounding is no part of their
    mean. They are come to so gently that nothing is carried past them: that would take away from the play.
    """
    way = min(max(way, STAIR * room), room / (_STAIRS + 2))
    if 0 < resolution < way:
        way = (round(way / resolution) + 1 / _STAIRS) * resolution
    speed, acceleration = most.careful
    shape = fitted(way, speed, acceleration * _GENTLE)
    ways = ((way, shape),) * (_STAIRS + 1) + ((-way, shape),) * (_STAIRS + 1)
    return Step(name="backlash", kind="play", asked=0.0, legs=chain(base, ways, settles_s + 0.3))


def pull(base: float, room: float, most: Most, acceleration: float, cap: float, number: int) -> Step | None:
    """Return a move up and back with this acceleration, up to the speed `cap`; None where there is no room for one."""
    ramp_s = min(max(_RAMP_S * most.acceleration / acceleration, _RAMP_S), _LONGEST_RAMP_S)
    speed = min(acceleration * (1 - ROUNDING) * ramp_s, cap)
    shape = Shape(speed=speed, acceleration=acceleration, run_s=_RUN_S, eased=_EASED)
    if shape.way > room:
        shape = fitted(room, speed, acceleration, _EASED)
    if shape.ramp_s < _SHORTEST_RAMP_S:
        return None
    name = f"acceleration {number}"
    return Step(name=name, kind="acceleration", asked=acceleration, legs=_there_and_back(base, room, shape))


def run(base: float, room: float, speed: float, acceleration: float, number: int, play: float) -> Step | None:
    """Return a move up and back at this speed, reached with this acceleration; None where there is no room for one.

    It lasts longer by the time in which the play is taken up.
    """
    taken_up_s = play / speed
    for eased in (_EASED, 1.5, 1.0):
        shape = Shape(speed=speed, acceleration=acceleration, run_s=_LONG_RUN_S + taken_up_s, eased=eased)
        if shape.way > room:
            shape = fitted(room, speed, acceleration, eased)
        if shape.speed == speed and shape.run_s >= _SHORTEST_RUN_S + taken_up_s:
            return Step(name=f"speed {number}", kind="speed", asked=speed, legs=_there_and_back(base, room, shape))
    return None


def spare(value: float) -> float:
    """Return what of a limit is used while something else is tried."""
    return _SPARE * value


def _there_and_back(base: float, room: float, shape: Shape, way: float = 1.0) -> tuple[Leg, ...]:
    # instants are rounded, which a short way must not add up to more than there is
    far = math.copysign(min(shape.way, room), way)
    return chain(base, ((far, shape), (-far, shape)))


def _roomy(shape: Shape, room: float) -> Shape:
    return shape if shape.way <= room else fitted(room, shape.speed, shape.acceleration)
