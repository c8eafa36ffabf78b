"""From a chase, which knows where its master was last heard, to a clock that flows: the same for every kind of master.

It reads no clock and no bytes; the same chase and instants give the same answers.
"""

from math import hypot
from typing import NamedTuple, Protocol

from sequencer.sync.playout import Playout
from sequencer.sync.reading import Clock, Counts, Follow, Lock
from sequencer.sync.troubles import Troubles

_AS_USUAL = Follow()
_SLIP_S = 0.02  # about half a frame; jitter and changes of speed stay far below


class Place(NamedTuple):
    """Where the master is. Unit: `position_s` from the project's start; `speed` of the timeline; `sigma_s` seconds."""

    position_s: float
    speed: float
    sigma_s: float


class Chase(Protocol):
    """What knows one kind of master. Unit: seconds since the first instant that its follower saw, never going back.

    `accepted` holds stamp and position of what was used as running time; whoever reads it empties it.
    """

    @property
    def lock(self) -> Lock: ...
    @property
    def jumps(self) -> int: ...
    @property
    def counts(self) -> Counts: ...
    @property
    def accepted(self) -> list[tuple[float, float]]: ...
    @property
    def told(self) -> str:
        """What is followed, for the operator: `MTC, 25 frames a second`."""
        ...

    def feed(self, t_s: float, data: bytes) -> None:
        """Take what arrived at `t_s`."""
        ...

    def age(self, t_s: float) -> None:
        """Let time pass to `t_s`: what is no longer heard freewheels, and is lost."""
        ...

    def place(self, t_s: float) -> Place:
        """Return where the master is at `t_s`; only asked where it was heard."""
        ...


class Followed:
    """A master that is followed: the Follower of whatever `chase` knows it.

    The uncertainty is one standard deviation: that of the fitted line at the instant asked for (jitter times the
    Cramér-Rao spread of the memory in use, which grows while coasting), together with what the playout clock, which is
    the position told, still has to make up for. It takes jitter for independent from message to message; the beat of a
    driver's period is not, and its error is two to three times what is told. It foresees nothing: until a jump is
    proved, the position is that of a master that went on.
    """

    def __init__(self, chase: Chase, troubles: Troubles, how: Follow = _AS_USUAL) -> None:
        self._chase = chase
        self._troubles = troubles
        self._how = how
        self._playout = Playout()
        self._begin_ns: int | None = None
        self._jumps = -1  # jumps of the chase when it was last asked

    @property
    def counts(self) -> Counts:
        """What has been heard so far."""
        return self._chase.counts

    @property
    def told(self) -> str:
        """What is followed, for the operator: `MTC, 25 frames a second`."""
        return self._chase.told

    def feed(self, stamp_ns: int, data: bytes) -> None:
        """Take what arrived at `stamp_ns`."""
        self._chase.feed(self._seconds(stamp_ns), data)

    def at(self, now_ns: int) -> Clock:
        """Return where the master is at `now_ns`, and let the playout clock flow to there."""
        t_s = self._seconds(now_ns)
        chase = self._chase
        chase.age(t_s)
        lock = chase.lock
        if lock is Lock.WAITING:
            return Clock(lock, now_ns, jumps=chase.jumps)
        place = chase.place(t_s)
        speed = place.speed
        measured = place.position_s + speed * self._how.delay_s + self._how.offset_s
        if chase.jumps == self._jumps and lock in (Lock.LOCKED, Lock.FREEWHEEL):
            self._playout.advance(t_s, measured, speed)
        else:
            self._playout.set(t_s, measured, speed)
        self._jumps = chase.jumps
        position = self._playout.position
        behind_s = measured - position
        if abs(behind_s) > _SLIP_S:
            words = f"the master slipped by more than {_SLIP_S * 1e3:.0f} ms; the rig is catching up"
            self._troubles.tell("slip", words, t_s)
        sigma_s = place.sigma_s * (abs(speed) or 1.0)
        return Clock(lock, now_ns, position, self._playout.speed, hypot(sigma_s, behind_s), chase.jumps)

    def sightings(self) -> tuple[tuple[int, float], ...]:
        """Return what has been used as running time since the last call: stamp in ns, position in s.

        The stamp is that of the master, with the delay of the cable taken off.
        """
        begin_ns = self._begin_ns or 0
        delay_s, offset_s = self._how.delay_s, self._how.offset_s
        seen = tuple(
            (begin_ns + round((t_s - delay_s) * 1e9), position_s + offset_s) for t_s, position_s in self._chase.accepted
        )
        self._chase.accepted.clear()
        return seen

    def troubles(self) -> tuple[str, ...]:
        """Return what the operator should know since the last call, in plain words."""
        return self._troubles.take()

    def _seconds(self, stamp_ns: int) -> float:
        """Return seconds since the first instant seen: small enough for a float to hold them to the nanosecond."""
        if self._begin_ns is None:
            self._begin_ns = stamp_ns
        return (stamp_ns - self._begin_ns) * 1e-9
