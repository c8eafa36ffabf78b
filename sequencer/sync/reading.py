"""What a follower says about the master's clock."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol


class Lock(StrEnum):
    """How well the master's time is known, in the trade's words."""

    WAITING = "waiting"  # nothing heard yet
    LOCATED = "located"  # a full frame gave the address; the master stands still
    LOCKING = "locking"  # time code is running, not yet trusted for motion
    LOCKED = "locked"
    FREEWHEEL = "freewheel"  # time code stopped; coasting on at the last speed
    LOST = "lost"  # coasted for as long as the operator allows


@dataclass(frozen=True, slots=True)
class Clock:
    """Where the master's time is at one instant of the monotonic clock.

    Unit: `at_ns` monotonic nanoseconds; `position_s` seconds from the project's start; `speed` timeline seconds a
    second (negative backward); `uncertainty_s` one standard deviation of the position. `position_s` means something
    in every state but WAITING, and may move the rig only in LOCKED and FREEWHEEL. `jumps` counts the times that the
    position was set anew instead of flowing on.
    """

    lock: Lock
    at_ns: int
    position_s: float = 0.0
    speed: float = 0.0
    uncertainty_s: float = float("inf")
    jumps: int = 0

    @property
    def steers(self) -> bool:
        """Whether a rig may be moved by this."""
        return self.lock in (Lock.LOCKED, Lock.FREEWHEEL)


@dataclass(frozen=True, slots=True)
class Follow:
    """How the operator wants a master to be followed.

    Unit: seconds. `freewheel_s` is how long to coast when time code ends, and so the over-run when the master stops;
    `delay_s` is how late its messages arrive on this cable, as measured or dialled in; `offset_s` is added to
    what the master says, at any speed, so that above zero the move comes earlier.
    """

    freewheel_s: float = 2.0
    delay_s: float = 0.0
    offset_s: float = 0.0

    def __post_init__(self) -> None:
        if not 0 <= self.freewheel_s < float("inf"):
            raise ValueError(f"freewheel_s is {self.freewheel_s}; it must be zero or more")
        if not -1 <= self.delay_s <= 1:
            raise ValueError(f"delay_s is {self.delay_s}; it must lie within a second either way")
        if not -86_400 < self.offset_s < 86_400:
            raise ValueError(f"offset_s is {self.offset_s}; it must lie within a day either way")


@dataclass(slots=True)
class Counts:
    """What a follower has heard since it began."""

    garbage_bytes: int = 0
    other_messages: int = 0
    quarter_frames: int = 0
    full_frames: int = 0
    words: int = 0  # of linear timecode
    clocks: int = 0  # of MIDI clock
    lost: int = 0  # messages of running time that must have been sent and did not come
    mixed: int = 0  # quarter frames that came while two masters sent on one port
    doubled: int = 0
    misread: int = 0  # quarter frames and full frames that say something else than the master's time
    set_aside: int = 0  # quarter frames held back on the way, or far off for another reason
    wrong_rate: int = 0
    jumps: int = 0
    turns: int = 0


class Follower(Protocol):
    """Somebody who knows where the master is. It reads no clock: all instants are arguments, in rising order."""

    @property
    def counts(self) -> Counts:
        """What has been heard so far."""
        ...

    @property
    def told(self) -> str:
        """What is followed, for the operator: `MTC, 25 frames a second`."""
        ...

    def feed(self, stamp_ns: int, data: bytes) -> None:
        """Take what arrived at `stamp_ns`; a byte stream may be split in any way."""
        ...

    def at(self, now_ns: int) -> Clock:
        """Return where the master is at `now_ns`; called each tick."""
        ...

    def sightings(self) -> tuple[tuple[int, float], ...]:
        """Return what has been accepted as running time since the last call: stamp in ns, position in s."""
        ...

    def troubles(self) -> tuple[str, ...]:
        """Return what the operator should know since the last call, in plain words."""
        ...
