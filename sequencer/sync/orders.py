"""What a trigger may ask for, and when it is due. It is asked for here, and decided elsewhere.

A remote trigger can start, place and choose only what an operator armed at this machine; a stop is always obeyed.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, NamedTuple, Protocol


@dataclass(frozen=True, slots=True)
class StartClock:
    """Let the program's own clock (or its playback) run from where it stands."""


@dataclass(frozen=True, slots=True)
class StopClock:
    """Let the program's own clock (or its playback) stand."""


@dataclass(frozen=True, slots=True)
class Locate:
    """Set the program's own clock. Unit: `position_s` from the project's start."""

    position_s: float


@dataclass(frozen=True, slots=True)
class GoToMark:
    """Go to where the move has the rig at the marker `name`, and be ready to start from there."""

    name: str


@dataclass(frozen=True, slots=True)
class TakeCue:
    """Go to the start of the cue `name`, and be ready to start there."""

    name: str


@dataclass(frozen=True, slots=True)
class StopRig:
    """Stop the rig, latched."""


Order = StartClock | StopClock | Locate | GoToMark | TakeCue | StopRig


@dataclass(frozen=True, slots=True, kw_only=True)
class Mapped:
    """A MIDI message that the project maps to an order: a note on, or a program change.

    Unit: `channel` 1 to 16, None for any; `number` 0 to 127, as on the wire.
    """

    message: Literal["note", "program"]
    number: int
    channel: int | None = None
    order: Order

    def __post_init__(self) -> None:
        if not 0 <= self.number <= 127:
            raise ValueError(f"{self.message} {self.number} is no number of MIDI; it must be from 0 to 127")
        if self.channel is not None and not 1 <= self.channel <= 16:
            raise ValueError(f"channel {self.channel} is no channel of MIDI; it must be from 1 to 16")


class Due(NamedTuple):
    """An order, when it is due (monotonic ns), and who gave it, in words for the operator: `OSC /run/start`."""

    at_ns: int
    order: Order
    by: str


@dataclass(slots=True)
class OrderCounts:
    """What a reader of triggers has heard since it began."""

    orders: int = 0
    others: int = 0  # messages about something else
    wrong: int = 0  # messages meant for us that cannot be understood
    elsewhere: int = 0  # messages for another device
    left_aside: int = 0  # bytes that came too fast to be read


class Reader(Protocol):
    """Reads orders from what one port hears. It reads no clock; troubles are told as a follower's are."""

    @property
    def counts(self) -> OrderCounts: ...

    def feed(self, stamp_ns: int, data: bytes) -> Iterable[Due]:
        """Return the orders in what arrived at `stamp_ns`."""
        ...

    def troubles(self) -> tuple[str, ...]:
        """Return what the operator should know since the last call, in plain words."""
        ...
