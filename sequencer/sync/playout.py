"""The clock that rigs are driven by: it flows, and closes in on the measured position without steps and without jerks.

Its acceleration and jerk are limited, so that what moves a rig along the timeline is never thrown by the clock. It does
not go back against the running direction and never jumps by itself; whoever owns it sets it anew.
"""

from math import ceil, copysign, sqrt

_CLOSE_IN_HZ = 10.0  # of what it is off, made up for in a second
_SLEW = 0.06  # of the speed: no correction is faster
_SPEED_HZ = 60.0
_ACCELERATION = 2.0  # timeline seconds a second, a second
_JERK = 200.0
_STEP_S = 0.005  # the longest that it goes on in one step
_LONGEST_S = 0.25  # a silence of the caller after which it flows on at an even speed
_BEYOND = 0.2  # of the timeline's speed: a change that no move follows


class Playout:
    """A position that runs at the measured speed and is pulled gently to the measured position.

    Unit: `position` and `speed` in timeline seconds, and those a second; they belong together: the position's slope is
    the speed. A change of speed by more than a fifth is taken over at once.
    """

    def __init__(self) -> None:
        self.position = 0.0
        self.speed = 0.0
        self._acceleration = 0.0
        self._at_s = 0.0

    def set(self, t_s: float, position: float, speed: float) -> None:
        """Be at `position` at `t_s`."""
        self._at_s, self.position, self.speed, self._acceleration = t_s, position, speed, 0.0

    def advance(self, t_s: float, measured: float, speed: float) -> None:
        """Flow on to `t_s`, at which the master is measured to be at `measured` and to run at `speed`."""
        dt = t_s - self._at_s
        if dt <= 0:
            return
        self._at_s = t_s
        if abs(speed - self.speed) > _BEYOND:
            self.speed, self._acceleration = speed, 0.0
        if dt > _LONGEST_S:
            self.position += speed * (dt - _LONGEST_S)
            dt = _LONGEST_S
        steps = ceil(dt / _STEP_S - 1e-9)
        step_s = dt / steps
        for left in range(steps - 1, -1, -1):
            self._step(step_s, measured - speed * left * step_s, speed)

    def _step(self, dt: float, measured: float, speed: float) -> None:
        """Go on by `dt`: as fast as closes the distance, changing speed no faster than can be ended in time."""
        off = measured - (self.position + self.speed * dt)
        pull = min(abs(off) * _CLOSE_IN_HZ, sqrt(_ACCELERATION * abs(off)), _SLEW * abs(speed))
        change = speed + copysign(pull, off) - self.speed
        size = min(abs(change) * _SPEED_HZ, sqrt(_JERK * abs(change)), _ACCELERATION)
        most = _JERK * dt
        before = self._acceleration
        after = before + min(max(copysign(size, change) - before, -most), most)
        self.position += (self.speed + (2 * before + after) * dt / 6) * dt
        self.speed += (before + after) * dt / 2
        self._acceleration = after
