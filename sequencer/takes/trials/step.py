"""One step of a trial: what an axis is asked to do, so that it shows one thing. It says nothing of what comes of it.

Unit: seconds from the step's start; the axis's own unit, and that a second and a second squared.
"""

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

Kind = Literal["nudge", "following", "play", "acceleration", "speed"]
ROUNDING = 0.2  # the part of a ramp in which its acceleration builds up: kinder to the gear than a blow
DWELL_S = 0.5  # between legs, and at the end: what swings comes to rest
REST_S = 1.0  # before the first leg, to see noise and encoder steps
_SHORTEST_S = 1e-6  # a shorter piece is rounding
_FINEST_S = 10_000  # instants are whole parts of a second, so that a file holds them exactly


@dataclass(frozen=True, slots=True, kw_only=True)
class Leg:
    """From `start` to `end`: up to speed in `ramp_s`, evenly on, to rest in `stop_s`; then it stands for `rests_s`."""

    at_s: float
    lasts_s: float
    start: float
    end: float
    ramp_s: float
    stop_s: float
    rests_s: float = DWELL_S

    @property
    def way(self) -> float:
        """1 upward, -1 downward."""
        return math.copysign(1.0, self.end - self.start)

    @property
    def speed(self) -> float:
        return abs(self.end - self.start) / (self.lasts_s - (self.ramp_s + self.stop_s) / 2)

    @property
    def acceleration(self) -> float:
        return self.speed / (self.ramp_s * (1 - ROUNDING))

    @property
    def jerk(self) -> float:
        return self.acceleration / (self.ramp_s * ROUNDING)

    @property
    def ends_s(self) -> float:
        return self.at_s + self.lasts_s

    @property
    def states(self) -> tuple[tuple[float, float, float, float], ...]:
        """Instant from the leg's start, position, speed and acceleration where one piece of even jerk meets the next.

        Source: textbook (motion of even jerk).
        """
        speed = self.way * self.speed
        run_s = self.lasts_s - self.ramp_s - self.stop_s
        pieces = (*_pieces(speed, self.ramp_s), (0.0, run_s), *_pieces(-speed, self.stop_s))
        found = [(0.0, self.start, 0.0, 0.0)]
        for jerk, lasts_s in pieces:
            if lasts_s < _SHORTEST_S:
                continue
            at_s, p, v, a = found[-1]
            p += lasts_s * (v + lasts_s * (a / 2 + lasts_s * jerk / 6))
            found.append((at_s + lasts_s, p, v + lasts_s * (a + lasts_s * jerk / 2), a + lasts_s * jerk))
        found[-1] = (self.lasts_s, self.end, 0.0, 0.0)
        return tuple(found)


def _pieces(gain: float, lasts_s: float) -> tuple[tuple[float, float], ...]:
    """Return the jerks, and how long each lasts, by which a ramp adds `gain` to the speed."""
    corner_s = ROUNDING * lasts_s
    jerk = gain / (lasts_s * (1 - ROUNDING)) / corner_s
    return (jerk, corner_s), (0.0, lasts_s - 2 * corner_s), (-jerk, corner_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """Legs with rests between them. `asked`: the speed or acceleration that is tried, 0 where that is not the point."""

    name: str
    kind: Kind
    asked: float
    legs: tuple[Leg, ...]

    @property
    def lasts_s(self) -> float:
        return self.legs[-1].ends_s + self.legs[-1].rests_s

    @property
    def speed(self) -> float:
        return max(leg.speed for leg in self.legs)

    @property
    def acceleration(self) -> float:
        return max(leg.acceleration for leg in self.legs)

    @property
    def jerk(self) -> float:
        return max(leg.jerk for leg in self.legs)

    @property
    def reach(self) -> tuple[float, float]:
        """The lowest and the highest place."""
        places = [place for leg in self.legs for place in (leg.start, leg.end)]
        return min(places), max(places)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """How a leg runs, wherever it begins. Its braking takes `eased` times as long as its getting under way."""

    speed: float
    acceleration: float
    run_s: float
    eased: float = 1.0

    @property
    def ramp_s(self) -> float:
        return _fine(self.speed / (self.acceleration * (1 - ROUNDING)))

    @property
    def stop_s(self) -> float:
        return _fine(self.eased * self.ramp_s)

    @property
    def way(self) -> float:
        """How far it goes."""
        return self.speed * ((self.ramp_s + self.stop_s) / 2 + _fine(self.run_s))

    @property
    def lasts_s(self) -> float:
        return self.ramp_s + _fine(self.run_s) + self.stop_s


def fitted(way: float, speed: float, acceleration: float, eased: float = 1.0) -> Shape:
    """Return the shape that goes about so far, at this speed or as much of it as the way allows."""
    pull = acceleration * (1 - ROUNDING) * 2 / (1 + eased)
    if speed * speed / pull > way:
        return Shape(speed=math.sqrt(way * pull), acceleration=acceleration, run_s=0.0, eased=eased)
    return Shape(speed=speed, acceleration=acceleration, run_s=way / speed - speed / pull, eased=eased)


def chain(base: float, ways: tuple[tuple[float, Shape], ...], rests_s: float = DWELL_S) -> tuple[Leg, ...]:
    """Return legs one after the other from `base`, each of its way, in the time of its shape, with rests between."""
    legs: list[Leg] = []
    at_s, place, rests_s = REST_S, base, _fine(rests_s)
    for way, shape in ways:
        end = place + way
        legs.append(
            Leg(
                at_s=at_s,
                lasts_s=shape.lasts_s,
                start=place,
                end=end,
                ramp_s=shape.ramp_s,
                stop_s=shape.stop_s,
                rests_s=rests_s,
            )
        )
        at_s, place = _fine(at_s + shape.lasts_s + rests_s), end
    return tuple(legs)


def instant(at_s: float) -> Fraction:
    """Return the exact instant of a leg."""
    return Fraction(round(at_s * _FINEST_S), _FINEST_S)


def _fine(time_s: float) -> float:
    return float(instant(time_s))
