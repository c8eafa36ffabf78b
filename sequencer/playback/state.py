"""Where playback is, and the rules by which `step` leads from one state to the next.

Rules. A row is a phase; what is not in it leaves the phase as it is.

    phase         motion          leaves by                                                     to
    idle          none            Arm, where nothing speaks against it                          locating
                                  Drive that wants motion, where nothing speaks against it      driving
                                  Go, where nothing speaks against it                           going
    driving       as the hand is  no Drive for DRIVEN_S, and the setpoints stand still          idle
                                  Go                                                            going
    going         to the mark     at the mark, and the setpoints stand still                    idle
                                  Drive that wants motion                                       driving
    locating      to the start    at the start, and the setpoints stand still                   ready
    ready         none            timecode locked, forward, near normal speed, at the start     running
                                  the same in mid-move, where the operator lets it join         joining
                                  Recue, where triggers may choose and nothing speaks against   locating
                                  Go by such a trigger                                          going
    joining       to the timeline every axis is on the timeline                                 running
    running       the timeline    timecode stops coming                                         freewheeling
                                  past the end, and the setpoints stand still                   finished
    freewheeling  the timeline    timecode is back                                              running
                                  past the end, and the setpoints stand still                   finished
    stopping      braking         the setpoints stand still                                     stopped
    stopped       none            Reset, where the rig has not dropped, or is back              idle
    finished      none            Arm, where nothing speaks against it                          locating
                                  Drive that wants motion, where nothing speaks against it      driving
                                  Go, where nothing speaks against it, also by such a trigger   going
                                  Recue, where triggers may choose and nothing speaks against   locating

    Where the operator lets it join, timecode that jumps within the cue leads from joining, running and freewheeling to
    joining, anew: the rig brakes until the way is planned, and comes to the timeline as soon as its limits allow. Where
    the master stands after the jump, the rig brakes and waits, still joining, until it runs.

    A trigger's Go keeps what is armed, and leads to finished. Another Go on the way to a mark changes the way. Where
    axes are performed by hand, Drive steers these while running and freewheeling, between Punch in and Punch out; past
    the end they come to rest.

    A stop (asked for; the rig silent or astray; an axis held back; the engine late; on or to the timeline also:
    timecode lost, backward, off its speed, or jumped and not to be joined) leads from locating, driving, going,
    joining, running and freewheeling to stopping, and from idle, ready and finished to stopped. In idle and finished
    only a stop that was asked for counts, and the rig's dropping or being astray: nothing moves, so the others speak
    against arming, driving, going and recueing instead. A stop is latched: its first cause stays until Reset, and after
    Reset nothing moves before the next Arm, Drive or Go.

    A rig that is stopped and astray is sent nothing more, for it would come after its setpoints as soon as it can.
    A rig drops when it falls silent after it had answered, or the link is gone. Whatever becomes of it meanwhile, it is
    refused to reset before it answers again; then playback begins from where the rig stands.

    The program's own clock, halted or set anew, is a master like any other: it stops a move, or is waited for where
    the operator lets it join. ClockHalted moves nothing; it is remembered for the words, until timecode runs again.

Standing still is said of the setpoints. Whether the rig itself stands is for the person who watches it.
"""

from dataclasses import dataclass
from enum import StrEnum

from sequencer.playback.events import Action, Arm
from sequencer.score.marks import Mark

GRACE_S = 0.04  # how far past the start of the cue a move may still begin; the guard takes up the difference
PREROLL_S = 1.0
SILENT_S = 0.5
NO_ANSWER = f"the rig has not answered for {SILENT_S:g} s; check its power and its cable"
DRIVEN_S = 0.15  # for how long a hand that says nothing more is taken to hold on
SLOWEST, FASTEST = 0.85, 1.15


class Phase(StrEnum):
    IDLE = "idle"
    LOCATING = "locating"
    DRIVING = "driving"
    GOING = "going"
    READY = "ready"
    JOINING = "joining"
    RUNNING = "running"
    FREEWHEELING = "freewheeling"
    STOPPING = "stopping"
    STOPPED = "stopped"
    FINISHED = "finished"


ON_THE_CLOCK = frozenset({Phase.JOINING, Phase.RUNNING, Phase.FREEWHEELING})
PLAYING = frozenset({Phase.RUNNING, Phase.FREEWHEELING})
MOVING = ON_THE_CLOCK | {Phase.LOCATING, Phase.DRIVING, Phase.GOING}
UNARMED = frozenset({Phase.IDLE, Phase.FINISHED})
RECUED_FROM = frozenset({Phase.READY, Phase.FINISHED})
STOPS = frozenset({Phase.STOPPING, Phase.STOPPED})


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """Where playback is.

    `cause`: why it stops or stopped, else empty. `armed`: what was armed last. `jumps`: the clock's count when the move
    began or was joined, None while a master that stands is awaited. `since_ns`: when locating, joining or freewheeling
    began, None before its first tick; while driving, when the hand was last heard of. `hindrance`: what spoke against
    arming at the last tick, `barred` what speaks against a reset, `dropped` why the rig is away. `told`: what was last
    said of the timecode while ready, or to a hand that may not drive. `halted`: how the program's own clock came to
    stand, while it does. `mark`: the one that the rig was sent to last. `punched`: whether hands have their axes;
    `hand_ns`: when such a hand was heard of last, None when it let go.
    """

    phase: Phase = Phase.IDLE
    cause: str = ""
    armed: Arm | None = None
    jumps: int | None = 0
    since_ns: int | None = None
    hindrance: str = ""
    barred: str = ""
    dropped: str = ""
    told: str = ""
    halted: str = ""
    mark: Mark | None = None
    punched: bool = False
    hand_ns: int | None = None

    @property
    def cue(self) -> Arm:
        """What is armed. Error: ValueError where nothing is."""
        if self.armed is None:
            raise ValueError(f"nothing is armed in {self.phase}")
        return self.armed


Step = tuple[State, tuple[Action, ...]]
