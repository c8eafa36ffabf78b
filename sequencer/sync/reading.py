"""What a follower says about the master's clock."""

from dataclasses import dataclass
from enum import StrEnum


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
