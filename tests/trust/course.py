"""What must hold of the setpoints that one rig gets, worked out from them alone: limits by differences, order, rest."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sequencer.rig.axis import Rig
from sequencer.rig.signals import Floats, Setpoint

_ROUNDING = 1 + 2e-6
_SAME = 1e-9  # of an axis's unit: rounding
LONGEST_STEP_S = 0.05
Break = Callable[[str, str], None]
Flags = NDArray[np.bool_]


@dataclass
class Course:
    """The setpoints of one rig as they became due. `to_come_ns`: how much may be on its way to it when it is reset.

    `answers`: whether it says where it stands; one that does not is taken to stand at its home where an engine begins.
    Shape: `speed`, `change` A, of the last step and between the last two, in the axis's unit a second, and a second
    squared; None before there are any.
    """

    rig: Rig
    tell: Break
    to_come_ns: int
    answers: bool = True
    last: Setpoint | None = None
    speed: Floats | None = None
    change: Floats | None = None
    _span_s: float = 0.0
    _begins_ns: int | None = None
    _begins: bool = True
    _said: list[Floats] = field(default_factory=list)  # where it said that it stood, since the reset
    _outside: bool = True
    _sent: int = 0
    _played: int = 0

    def __post_init__(self) -> None:
        axes = self.rig.axes
        self._low = np.array([-np.inf if axis.travel is None else axis.travel[0] for axis in axes])
        self._high = np.array([np.inf if axis.travel is None else axis.travel[1] for axis in axes])
        self._most = np.array([axis.speed for axis in axes])
        self._most_change = np.array([axis.acceleration for axis in axes])
        self._jerk = np.array([axis.jerk for axis in axes])

    @property
    def moves(self) -> bool:
        return self.speed is not None and bool(self.speed.any())

    @property
    def moving(self) -> Flags:
        """Which axes move. Shape: A."""
        return np.zeros(len(self.rig.axes), bool) if self.speed is None else self.speed != 0

    def begin_anew(self, *, outside: bool = False) -> None:
        """From what is sent next on it may begin from where the rig says that it stands.

        `outside`: also outside its travel, as where an engine begins; after a reset it is brought in.
        """
        self._begins, self._outside = True, outside
        self._said = []

    def look(self, sent: list[Setpoint], played: list[Setpoint], says: Floats, rests_ns: int | None) -> int:
        """Look at what is new, and return how much was sent. Both lists are all since the run began.

        `says` is where the rig says it stands; what is due after `rests_ns` moves nothing, None where it may.
        """
        count = len(sent) - self._sent
        is_new = not self._said or self._said[-1] is not says
        if is_new and (self._begins or self._begins_ns is not None):
            self._said.append(says)
        if self._begins and count:
            self._begins, self._begins_ns = False, sent[self._sent].due_ns
        self._sent = len(sent)
        for setpoint in played[self._played :]:
            self._limits(setpoint)
            if rests_ns is not None and setpoint.due_ns > rests_ns and self.moves:
                self.tell("motion at rest", "the setpoints move while nothing may")
        self._played = len(played)
        return count

    def rests_s(self) -> Floats:
        """Return in how long each axis stands that moves as it does now and brakes at once. Shape: A.

        It keeps its limits of acceleration and jerk.

        With b the deceleration that an axis has already, negative where it still gains speed: its deceleration grows to
        a peak p and goes back to none, p**2 = jerk * speed + b**2 / 2, in (2 * p - b) / jerk. Where p is more than the
        axis can do, it brakes with what it can, and the speed that is left goes at that. Source: motion at constant
        jerk, any textbook of mechanics.
        """
        if self.speed is None or self.change is None:
            return np.zeros(len(self.rig.axes))
        most, jerk = self._most_change, self._jerk
        change = np.clip(self.change, -most, most)
        # a step says its mean, which is the speed in its middle
        speed = np.clip(self.speed + change * self._span_s / 2, -self._most, self._most)
        braked = speed + change * np.abs(change) / (2 * jerk)  # what it would have once its acceleration is undone
        way = np.where(braked < 0, -1.0, 1.0)
        has = -way * change
        peak = np.sqrt(np.maximum(jerk * way * speed + has**2 / 2, 0.0))
        flat = (2 * most - has) / jerk + (way * speed - (2 * most**2 - has**2) / (2 * jerk)) / most
        rests: Floats = np.where(peak > most, flat, (2 * peak - has) / jerk)
        return rests

    def _may_begin(self, setpoint: Setpoint) -> bool:
        """Whether it may be the first after a reset: what was still to come when that was pressed is before it."""
        if self._begins_ns is not None and setpoint.due_ns - self._begins_ns > self.to_come_ns:
            self._begins_ns = None
        return self._begins_ns is not None and setpoint.due_ns >= self._begins_ns

    def _where_it_says(self, last: Floats, position: Floats) -> bool:
        """Whether each axis that is elsewhere than before is just where the rig says it stands, or the travel ends.

        An axis that stands near where it was sent begins there by a step that it could also have made as a motion: one
        that says so to the last digit moves nothing, whatever its size. There is one such step after a reset.
        """
        there = self._off(position) <= _SAME
        return bool((there | (position == last)).all() and (position != last).any())

    def _off(self, position: Floats) -> Floats:
        """How far each axis is from where the rig has said, since it was reset, that it stands. Shape: A."""
        if not self._said:
            return np.full_like(position, np.inf)
        apart: Floats = np.abs(position - np.clip(self._said, self._low, self._high)).min(axis=0)
        if self._outside:
            apart = np.minimum(apart, np.abs(position - np.array(self._said)).min(axis=0))
        return apart

    def _near(self, off: Floats, span_s: float) -> None:
        """Have it begin where it may, but for the first step of a way; where a silent rig braked to is not known."""
        room = 1e-6 + self._most_change * span_s**2 if self.answers else 0.1 * self._most
        if (off > room).any():
            self.tell("begin", f"it begins {off.max():.3g} away from where the rig was sent, or says it stands")

    def _limits(self, setpoint: Setpoint) -> None:
        position = setpoint.position
        if not np.isfinite(position).all():
            self.tell("finite", f"a setpoint is {position}")
            return
        last, self.last = self.last, setpoint
        if last is None:
            self._begins_ns = None
            self._near(self._off(position), LONGEST_STEP_S)
            return
        span_s = min((setpoint.due_ns - last.due_ns) * 1e-9, LONGEST_STEP_S)
        if span_s <= 0:
            self.tell("order", "a setpoint is due before the one that went out before it")
            return
        out = np.maximum(self._low - position, position - self._high)
        was = np.maximum(self._low - last.position, last.position - self._high)
        if self._outside and self._said and self._may_begin(setpoint):
            was = np.maximum(was, np.maximum(self._low - self._said, self._said - self._high).max(axis=0))
        # outside only where it was before, or says it is, and never further
        if (out > np.maximum(was, 0) + 1e-9).any():
            self.tell("travel", f"a setpoint is {out.max():.3g} outside the travel")
        step = position - last.position
        speed, apart_s = step / span_s, (span_s + self._span_s) / 2
        change = np.zeros_like(speed) if self.speed is None else (speed - self.speed) / apart_s
        most_change = self._most_change * _ROUNDING + (1e-9 + 2e-12 / span_s) / apart_s
        too_fast = bool((np.abs(speed) > self._most * _ROUNDING + 1e-9).any())
        too_rough = bool((np.abs(change) > most_change).any())
        paused = setpoint.due_ns - last.due_ns > LONGEST_STEP_S * 1e9
        if self._may_begin(setpoint) and (
            paused or too_fast or too_rough or self._where_it_says(last.position, position)
        ):
            # after a reset it begins from where the rig says that it stands; that moves nothing
            self._begins_ns = None
            self._near(np.minimum(np.abs(step), self._off(position)), span_s)
            self.speed, self.change, self._span_s = np.zeros_like(position), np.zeros_like(position), span_s
            return
        if too_fast:
            self.tell("speed", f"a setpoint asks for {np.abs(speed / self._most).max():.4f} of an axis's speed")
        if too_rough:
            part = (np.abs(change) / self._most_change).max()
            self.tell("acceleration", f"two setpoints ask for {part:.4f} of an axis's acceleration")
        self.change = None if self.speed is None else change
        self.speed, self._span_s = speed, span_s
