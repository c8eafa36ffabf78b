"""What playback is told, and what it has done: the events that go into `step`, and the actions that come out.

They decide nothing; the rules stand at the top of the state file.
"""

from dataclasses import dataclass

from sequencer.playback.cued import Cued
from sequencer.playback.guard import Stray
from sequencer.sync.reading import Clock


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Arm:
    """The operator, at this machine, lets the rig move to the start of `cued` and then follow timecode.

    Unit: `cap` the part of each axis's speed on the way to the start; `freewheel_s` for how long the follower coasts
    when timecode stops, for the words. `joins`: timecode that is or jumps in mid-move is joined there, not refused.
    `remote`: triggers may choose another cue or mark, for as long as nothing stops it.
    Error: ValueError for a cap that is no such part.
    """

    cued: Cued
    cap: float = 0.5
    freewheel_s: float = 2.0
    joins: bool = False
    remote: bool = False

    def __post_init__(self) -> None:
        if not 0 < self.cap <= 1:
            raise ValueError(f"cap is {self.cap}; it must be above 0 and at most 1")


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

    wanted: tuple[float, ...]
    at_ns: int


@dataclass(frozen=True, slots=True)
class Stop:
    """Somebody or something asks for a stop; `cause` is a clause in plain words, with its mend."""

    cause: str


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
    still. `joined`: every axis is on the timeline that was being joined. `silent_s`: how long the rig has not answered,
    0 for one that never does. `held_back`: an axis that the guard keeps from where it is wanted; `astray`: one that is
    not where it was sent.
    """

    now_ns: int
    clock: Clock
    arrived: bool
    standing: bool
    joined: bool = False
    silent_s: float = 0.0
    held_back: Stray | None = None
    astray: Stray | None = None


Event = Arm | Recue | Drive | ClockHalted | Stop | Reset | EngineLate | Tick


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
    """Have every axis come to the speeds that the hand asks for. Shape: `wanted` A."""

    wanted: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Brake:
    """Come to rest as fast as the motors' limits allow."""


@dataclass(frozen=True, slots=True)
class Hold:
    """Stay where the last setpoint is."""


@dataclass(frozen=True, slots=True)
class Say:
    """Tell the operator, and keep it in the take's log: a short code for programs, and words."""

    code: str
    text: str


Action = GoTo | Follow | Join | Steer | Brake | Hold | Say
