"""What playback is told, and what it has done: the events that go into `step`, and the actions that come out.

They decide nothing; the rules stand at the top of the state file.
"""

from collections.abc import Container
from dataclasses import dataclass

from sequencer.live.wish import Wish
from sequencer.playback.cued import Cued
from sequencer.playback.guard import Stray
from sequencer.score.marks import Mark
from sequencer.sync.reading import Clock


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Arm:
    """The operator, at this machine, lets the rig move to the start of `cued` and then follow timecode.

    Unit: `cap` the part of each axis's speed on the way to the start; `freewheel_s` for how long the follower coasts
    when timecode stops, for the words. `joins`: timecode that is or jumps in mid-move is joined there, not refused.
    `remote`: triggers may choose another cue or mark, for as long as nothing stops it. `by_hand`: the axes that hands
    perform while the others play, one truth for each axis, or none; from the start, where `punched`.
    Error: ValueError for a cap that is no such part, and for a performance that joins, which it cannot.
    """

    cued: Cued
    cap: float = 0.5
    freewheel_s: float = 2.0
    joins: bool = False
    remote: bool = False
    by_hand: tuple[bool, ...] = ()
    punched: bool = True

    def __post_init__(self) -> None:
        if not 0 < self.cap <= 1:
            raise ValueError(f"cap is {self.cap}; it must be above 0 and at most 1")
        if self.joins and any(self.by_hand):
            raise ValueError("axes cannot be performed by hand where timecode may be joined; choose one of them")


@dataclass(frozen=True, slots=True, eq=False)
class Recue:
    """A trigger wants what is armed to be played from the start of `cued`; `by` says who, as in `OSC /cue/take`."""

    cued: Cued
    by: str


@dataclass(frozen=True, slots=True)
class ClockHalted:
    """The program's own clock was halted or set anew; `how` is a clause with who did it: `stopped by MMC stop`."""

    how: str


@dataclass(frozen=True, slots=True)
class Drive:
    """The operator, at this machine, holds the control by which axes are driven, at `at_ns`.

    Shape: `wanted` A. Unit: each axis's own a second.
    """

    wanted: tuple[Wish, ...]
    at_ns: int


@dataclass(frozen=True, slots=True)
class Go:
    """The operator, at this machine, or a trigger that is let choose (`by` says which), sends the rig to a mark."""

    mark: Mark
    by: str = ""


@dataclass(frozen=True, slots=True)
class Punch:
    """The operator wants the hands to have their axes from now on, or no longer."""

    within: bool


@dataclass(frozen=True, slots=True)
class Stop:
    """Somebody or something asks for a stop; `cause` is a clause in plain words, with its mend.

    `within`: the phases in which it counts, where these are not all.
    """

    cause: str
    within: Container[str] | None = None


@dataclass(frozen=True, slots=True)
class Reset:
    """The operator has seen why it stopped, and that it is safe to go on."""


@dataclass(frozen=True, slots=True)
class EngineLate:
    """This machine came to a tick `late_s` after its time."""

    late_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    """What is known at one tick.

    `arrived`: what was planned has ended, and the rig is there as far as it says. `standing`: the setpoints stand
    still, those that are due as those that are made already. `joined`: every axis is on the timeline that was being
    joined. `silent_s`: how long the rig has not answered, 0 for one that never does. `held_back`: an axis that the
    guard keeps from where it is wanted; `astray`: one that is not where it was sent. `dropped`: why the rig is away, in
    words with the mend, empty while it is not; `outside`: an axis that was away and is back, outside its travel.
    """

    now_ns: int
    clock: Clock
    arrived: bool
    standing: bool
    joined: bool = False
    silent_s: float = 0.0
    held_back: Stray | None = None
    astray: Stray | None = None
    dropped: str = ""
    outside: Stray | None = None


Event = Arm | Recue | Drive | Go | Punch | ClockHalted | Stop | Reset | EngineLate | Tick


@dataclass(frozen=True, slots=True, eq=False)
class GoTo:
    """Go to the start of the cue, at no more than the part `cap` of each axis's speed."""

    cued: Cued
    cap: float


@dataclass(frozen=True, slots=True, eq=False)
class Follow:
    """Follow the clock along the cue."""

    cued: Cued


@dataclass(frozen=True, slots=True, eq=False)
class Join:
    """Come to rest, and before that or from there onto the cue, wherever the clock, now at `clock`, is by then."""

    cued: Cued
    clock: Clock


@dataclass(frozen=True, slots=True)
class Steer:
    """Have the axes in hand come to what it wishes for; nothing is a wish for rest. Shape: `wanted` A, or 0."""

    wanted: tuple[Wish, ...]


@dataclass(frozen=True, slots=True)
class HandOver:
    """From here on hands have these axes, while the others follow the clock. Shape: `by_hand` A."""

    by_hand: tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class ToMark:
    """Go to a mark, from wherever the rig stands or moves."""

    mark: Mark


@dataclass(frozen=True, slots=True)
class Brake:
    """Come to rest as fast as the motors' limits allow."""


@dataclass(frozen=True, slots=True)
class Hold:
    """Stay where the last setpoint is."""


@dataclass(frozen=True, slots=True)
class Begin:
    """Begin anew, at rest, from where the rig stands as far as it says."""


@dataclass(frozen=True, slots=True)
class Say:
    """Tell the operator, and keep it in the take's log: a short code for programs, and words."""

    code: str
    text: str


Action = GoTo | ToMark | Follow | HandOver | Join | Steer | Brake | Hold | Begin | Say
