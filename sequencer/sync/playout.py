"""The clock that rigs are driven by: it flows, and closes in on the measured position without steps.

It never goes back against the running direction and never jumps by itself; whoever owns it sets it anew.
"""

from math import exp

_CLOSE_IN_S = 0.15  # time constant
_SLEW = 0.06  # of the speed: no correction is faster


class Playout:
    """A position that runs at the measured speed and is pulled gently to the measured position.

    Unit: `position` and `speed` in the caller's unit, and that a second.
    """

    def __init__(self) -> None:
        self.position = 0.0
        self.speed = 0.0
        self._at_s = 0.0

    def set(self, t_s: float, position: float, speed: float) -> None:
        """Be at `position` at `t_s`."""
        self._at_s, self.position, self.speed = t_s, position, speed

    def advance(self, t_s: float, measured: float, speed: float) -> None:
        """Flow on to `t_s`, at which the master is measured to be at `measured` and to run at `speed`."""
        dt = t_s - self._at_s
        if dt <= 0:
            return
        flowed = self.position + speed * dt
        limit = abs(speed) * dt * _SLEW
        pull = (measured - flowed) * (1 - exp(-dt / _CLOSE_IN_S))
        pull = min(max(pull, -limit), limit)
        self._at_s = t_s
        self.position = flowed + pull
        self.speed = speed + pull / dt
