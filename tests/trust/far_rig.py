"""The rig at the other end of a link that may be bad: motors with limits of their own, and what can go wrong with both.

It is coarser than the simulated rig's process and many times faster: one step a tick, no lag, no play.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

import numpy as np

from sequencer.adapters.contract import LinkState
from sequencer.errors import LinkError
from sequencer.playback.watch import FARTHEST
from sequencer.rig.axis import Rig
from sequencer.rig.signals import Feedback, Floats, Setpoint, Trigger

LOST_NS = 250_000_000  # without a setpoint: it brakes by itself
SPEAKS_NS = 2_000_000_000  # after a setpoint, a question or a call


@dataclass
class Ills:
    """What is wrong at the moment, each until the instant that it says, in simulated ns; 0 for nothing."""

    cut: int = 0  # nothing gets through
    vanished: int = 0  # the port is gone: every method raises
    lossy: int = 0  # half of all is lost
    slow: int = 0  # answers come late
    mute: int = 0  # it does not answer
    deaf: int = 0  # it does not hear
    stalled: int = 0  # the first axis does not move
    lying: int = 0  # it says that it stands elsewhere
    mad: int = 0  # it says what no rig can


@dataclass
class FarRig:
    """An output, and the rig behind it. `sent` is what was handed to the link, `now_ns` is set by whoever runs it."""

    rig: Rig
    chance: np.random.Generator
    now_ns: int
    ills: Ills = field(default_factory=Ills)
    sent: list[Setpoint] = field(default_factory=list)
    fired: list[Trigger] = field(default_factory=list)
    stops: int = 0
    position: Floats = field(init=False)
    speed: Floats = field(init=False)
    count_off: Floats = field(init=False)  # what its counters are off by, since it was reset
    _target: Floats | None = None
    _target_ns: int = 0
    _stopped: bool = False
    _asked_ns: int = 0
    _at_ns: int = 0
    _waiting: list[Feedback] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.position = np.array([axis.home for axis in self.rig.axes])
        self.speed, self.count_off = np.zeros_like(self.position), np.zeros_like(self.position)
        self._most = np.array([axis.speed for axis in self.rig.axes])
        self._most_change = np.array([axis.acceleration for axis in self.rig.axes])
        self._at_ns = self._asked_ns = self.now_ns
        self.said = self.position  # newest answer

    # what can be done to it

    def reset(self) -> None:
        """Its power fails for a moment: it stands, counts from zero, and listens to nothing before it is asked."""
        self.count_off = -self.position
        self.speed = np.zeros_like(self.speed)
        self._target, self._stopped = None, True

    def push(self, by: Floats) -> None:
        """Somebody moves the axes by hand."""
        self.position = self.position + by

    @contextmanager
    def open(self) -> Iterator["FarRig"]:
        if self.now_ns < self.ills.vanished:
            raise LinkError("the port is not there; plug it in again")
        yield self

    # the output

    def fileno(self) -> int | None:
        return None

    def send(self, setpoint: Setpoint) -> None:
        self.sent.append(setpoint)
        if self._through():
            self._asked_ns = self.now_ns
            if not self._stopped:
                self._target, self._target_ns = setpoint.position - self.count_off, self.now_ns

    def replace(self, from_ns: int) -> None:
        raise AssertionError("it schedules nothing")

    def fire(self, trigger: Trigger) -> bool:
        self.fired.append(trigger)
        return self._through()

    def read(self, heard_ns: int) -> tuple[Feedback, ...]:
        self._move()
        ills, now = self.ills, self.now_ns
        if now < ills.vanished:
            raise LinkError("the port is gone; plug it in again")
        speaks = now - self._asked_ns <= SPEAKS_NS and now >= ills.mute and now >= ills.cut
        if speaks and not (now < ills.lossy and self.chance.random() < 0.5):
            late_ns = 80_000_000 if now < ills.slow else 0
            said = self._says()
            # what no axis can be at is not taken for a place
            self.said = np.where(np.abs(said) < FARTHEST, said, self.said)
            self._waiting.append(Feedback(now, said, now + late_ns))
        due = tuple(one for one in self._waiting if one.heard_ns <= heard_ns)
        self._waiting = [one for one in self._waiting if one.heard_ns > heard_ns]
        return due

    def ask(self) -> None:
        if self._through():
            self._asked_ns = self.now_ns
            if not self.speed.any():
                self._stopped = False

    def stop(self) -> None:
        self.stops += 1
        if self._through():
            self._target, self._stopped = None, True

    def look(self, now_ns: int) -> None:
        if now_ns < self.ills.vanished:
            raise LinkError("the port is gone; plug it in again")
        if now_ns // 200_000_000 != self._asked_ns // 200_000_000 and self._through():
            self._asked_ns = now_ns  # it is called five times a second, and answers that too

    def link(self, now_ns: int) -> LinkState:
        return LinkState()

    def here(self, axis: str, value: float) -> None:
        raise AssertionError("the engine set a count")

    def trouble(self) -> str:
        return ""

    # the motors

    def _through(self) -> bool:
        ills, now = self.ills, self.now_ns
        if now < ills.vanished:
            raise LinkError("the port is gone; plug it in again")
        return now >= ills.cut and now >= ills.deaf and not (now < ills.lossy and self.chance.random() < 0.5)

    def _says(self) -> Floats:
        said = self.position + self.count_off
        if self.now_ns < self.ills.lying:
            said = said + 0.3 * self._most
        if self.now_ns < self.ills.mad:
            said = said.copy()
            said[0] = self.chance.choice((1e30, -1e30, 1e9))
        return said

    def _move(self) -> None:
        step_s = (self.now_ns - self._at_ns) * 1e-9
        self._at_ns = self.now_ns
        if step_s <= 0:
            return
        if self._target is None or self.now_ns - self._target_ns > LOST_NS:
            wanted = np.zeros_like(self.speed)
        else:
            wanted = np.clip((self._target - self.position) / step_s, -self._most, self._most)
        change = self._most_change * step_s * 1.5  # drives have some room above the limits that are written
        self.speed = np.clip(wanted, self.speed - change, self.speed + change)
        if self.now_ns < self.ills.stalled:
            self.speed[0] = 0.0
        self.position = self.position + self.speed * step_s
