"""The rig at the other end of a link that may be bad: motors with limits of their own, and what can go wrong with both.

It is coarser than the simulated rig's process and many times faster: one step a tick, no lag, no play. It may keep a
buffer, as rigs that schedule do: then what it is sent is due later, and can be withdrawn.
"""

from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

import numpy as np

from sequencer.adapters.contract import LinkState
from sequencer.errors import LinkError
from sequencer.rig.axis import FARTHEST, Rig
from sequencer.rig.signals import Feedback, Floats, Setpoint, Trigger

LOST_NS = 250_000_000  # without a setpoint: it brakes by itself
SPEAKS_NS = 2_000_000_000  # after a setpoint, a question or a call
# That drives have above the limits that are written: they catch up with what was lost on the way, or while an axis was
# held, as any position loop does. No rule is judged by it; invented.
_ROOM = 1.5
_LONGEST_NS = 500_000_000  # that a slow link holds something back


@dataclass
class Ills:
    """What is wrong at the moment, each until the instant that it says, in simulated ns; 0 for nothing."""

    cut: int = 0  # nothing gets through
    vanished: int = 0  # the port is gone: every method raises
    lossy: int = 0  # half of all is lost
    slow: int = 0  # answers come late
    doubled: int = 0  # answers come twice, and in another order
    mute: int = 0  # it does not answer
    deaf: int = 0  # it does not hear
    stalled: int = 0  # the first axis does not move
    lying: int = 0  # it says that it stands elsewhere
    mad: int = 0  # it says what no rig can


@dataclass
class FarRig:
    """An output, and the rig behind it.

    `sent` is what was handed to the link, `played` what of that became due without being withdrawn, whether or not it
    got through. `now_ns` is set by whoever runs it. `heard_ns` is when an answer of it reached the engine last, and
    `told` what it said then. `ahead_ns` 0: it keeps no buffer. What is due within `committed_ns` it can no
    longer withdraw. Shape: `told` A.
    """

    rig: Rig
    chance: np.random.Generator
    now_ns: int
    answers: bool = True
    ahead_ns: int = 0
    committed_ns: int = 0
    ills: Ills = field(default_factory=Ills)
    sent: list[Setpoint] = field(default_factory=list)
    played: list[Setpoint] = field(default_factory=list)
    fired: list[Trigger] = field(default_factory=list)
    stops_ns: list[int] = field(default_factory=list)  # when it was told to stop
    heard_ns: int = 0
    position: Floats = field(init=False)
    speed: Floats = field(init=False)
    count_off: Floats = field(init=False)  # what its counters are off by, since it was reset
    told: Floats = field(init=False)
    _meant: deque[Setpoint] = field(default_factory=deque)  # still to be due, as the engine knows it
    _buffer: deque[Setpoint] = field(default_factory=deque)  # as the rig has it
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
        self._at_ns = self._asked_ns = self.heard_ns = self.now_ns
        self.told = self.position

    # what can be done to it

    def reset(self) -> None:
        """Its power fails for a moment: it stands, counts from zero, and listens to nothing before it is asked."""
        self.count_off = -self.position
        self.speed = np.zeros_like(self.speed)
        self._forget()

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
        self._meant.append(setpoint)
        if self._through():
            self._asked_ns = self.now_ns
            if not self._stopped:
                self._buffer.append(setpoint)
        self._play()

    def replace(self, from_ns: int) -> None:
        from_ns = max(from_ns, self.now_ns + self.committed_ns + 1)
        for queue in (self._meant, self._buffer) if self._through() else (self._meant,):
            while queue and queue[-1].due_ns >= from_ns:
                queue.pop()

    def fire(self, trigger: Trigger) -> bool:
        self.fired.append(trigger)
        return self._through()

    def read(self, heard_ns: int) -> tuple[Feedback, ...]:
        self.move()
        ills, now = self.ills, self.now_ns
        if now < ills.vanished:
            raise LinkError("the port is gone; plug it in again")
        speaks = self.answers and now - self._asked_ns <= SPEAKS_NS and now >= ills.mute and now >= ills.cut
        if speaks and not (now < ills.lossy and self.chance.random() < 0.5):
            late_ns = int(self.chance.integers(_LONGEST_NS)) if now < ills.slow else 0
            said = Feedback(now, self._says(), now + late_ns)
            self._waiting += [said, said] if now < ills.doubled else [said]
        due = [one for one in self._waiting if one.heard_ns <= heard_ns]
        self._waiting = [one for one in self._waiting if one.heard_ns > heard_ns]
        if now < ills.doubled:
            due.reverse()
        if due:
            self.heard_ns = heard_ns
            # what no axis can be at is not taken for a place
            for one in due:
                self.told = np.where(np.abs(one.position) < FARTHEST, one.position, self.told)
        return tuple(Feedback(one.at_ns, one.position, heard_ns) for one in due)

    def ask(self) -> None:
        if self._through():
            self._asked_ns = self.now_ns
            if not self.speed.any():
                self._stopped = False

    def stop(self) -> None:
        self.stops_ns.append(self.now_ns)
        self._meant.clear()
        if self._through():
            self._forget()

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

    def move(self) -> None:
        """Let it come to where it is now."""
        step_s = (self.now_ns - self._at_ns) * 1e-9
        self._at_ns = self.now_ns
        if step_s > 0:
            self._turn(step_s)
        self._play()

    def _turn(self, step_s: float) -> None:
        """Have the motors run for a moment, towards what was due before it."""
        if self._target is None or self.now_ns - self._target_ns > LOST_NS:
            wanted = np.zeros_like(self.speed)
        else:
            most = self._most * _ROOM
            wanted = np.clip((self._target - self.position) / step_s, -most, most)
        change = self._most_change * step_s * _ROOM
        self.speed = np.clip(wanted, self.speed - change, self.speed + change)
        if self.now_ns < self.ills.stalled:
            self.speed[0] = 0.0
        self.position = self.position + self.speed * step_s

    def _play(self) -> None:
        """Have what is due by now be due: at once where nothing is kept."""
        until_ns = self.now_ns if self.ahead_ns else None
        while self._meant and (until_ns is None or self._meant[0].due_ns <= until_ns):
            self.played.append(self._meant.popleft())
        while self._buffer and (until_ns is None or self._buffer[0].due_ns <= until_ns):
            self._target, self._target_ns = self._buffer.popleft().position - self.count_off, self.now_ns

    def _forget(self) -> None:
        self._buffer.clear()
        self._target, self._stopped = None, True

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
