"""One axis: where it stands and how fast it goes, never beyond its own limits, whatever it is told.

Positions are what the host counts: `raw` is what the motor's driver counts from power-up, and `count` lies between.
Floats may have 32 bits here: differences are formed before they are used.
Source: the approach along the braking parabola is the proximate time-optimal servo of Franklin, Powell and Workman,
Digital Control of Dynamic Systems (from memory).
"""

import math

GAIN = 50.0  # a second: how fast a small distance to the target is closed
MOVES = 1e-3  # of the top speed: what is faster counts as moving


class Axis:
    """Unit: the axis's own, and that a second (squared). `low` and `high` are None for an axis without an end."""

    def __init__(self, name, speed, acceleration, low=None, high=None):
        if not (speed > 0 and acceleration > 0):
            raise ValueError("speed and acceleration of " + name + " must be above zero")
        self.name = name
        self.speed = speed
        self.acceleration = acceleration
        self.low = low
        self.high = high
        self.position = 0.0
        self.velocity = 0.0
        self.count = 0.0

    def raw(self):
        """Return where the driver shall put the motor."""
        return self.position - self.count

    def here(self, position):
        """Count so that it stands at `position`; nothing moves."""
        self.count += position - self.position
        self.position = position

    def moving(self, velocity):
        """Whether a plan with this velocity moves."""
        return abs(velocity) > MOVES * self.speed

    def follow(self, position, velocity, dt):
        """Go towards what the plan says for the end of the next `dt` seconds, there and exactly where limits allow."""
        target = position
        if self.low is not None:
            target = min(max(position, self.low), self.high)
            if target != position:
                velocity = 0.0
        most = self.acceleration * dt
        lowest, highest = -self.speed, self.speed
        if self.low is not None:
            lowest = max(lowest, -self._brakeable(self.position - self.low, most))
            highest = min(highest, self._brakeable(self.high - self.position, most))
        if lowest <= velocity <= highest and abs(velocity - self.velocity) <= 1.01 * most:
            gap = target - self.position - 0.5 * (velocity + self.velocity) * dt
            if abs(gap) <= most * dt + 1e-6 * abs(target):
                self.position, self.velocity = target, velocity
                return
        away = target - velocity * dt - self.position
        close = math.copysign(min(GAIN * abs(away), self._brakeable(abs(away), most)), away)
        self._go(min(max(velocity + close, lowest), highest), most, dt)

    def brake(self, dt):
        """Go on braking for `dt` seconds, at the axis's own limit."""
        if self.velocity:
            self._go(0.0, self.acceleration * dt, dt)

    def _go(self, wanted, most, dt):
        before = self.velocity
        self.velocity = before + min(max(wanted - before, -most), most)
        self.position += 0.5 * (before + self.velocity) * dt

    def _brakeable(self, distance, step):
        """Return the highest speed from which it still stands within `distance`, one step of time included."""
        return math.sqrt(step * step + 2 * self.acceleration * max(distance, 0.0)) - step
