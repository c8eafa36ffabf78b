"""How the rig stands, in one word that is true: from what the engine reported last, and how long ago.

It reads no clock and draws nothing. What it is not sure of it calls stale, or a fault; never idle.
"""

from dataclasses import dataclass
from typing import Literal, get_args

from sequencer.shell.messages import Status
from ui.link.ahead import Stretches, to_motion_s

State = Literal["offline", "opening", "idle", "armed", "moving", "holding", "fault", "stopped"]
Stage = Literal["off", "opening", "open", "closing", "failed"]
# what the rig is lent for: to drive an axis to its switch, to be told where it stands, or to come back as it was
Errand = Literal["", "home", "tell", "back"]
How = Literal[
    "not connected",
    "connecting",
    "disconnecting",
    "nothing is armed",
    "the cue is done",
    "about to move to the start",
    "moving to the start",
    "driven by hand",
    "going to a mark",
    "about to home an axis",
    "homing an axis",
    "being told where it stands",
    "hold or count down to start",
    "waiting for timecode",
    "starts by itself",
    "the start is missed",
    "coming to the timeline",
    "on the timeline",
    "timecode is missing, going on",
    "waits in the move, moves by itself",
    "braking",
    "reset when it is safe",
    "lost the engine",
    "an unknown state",
]
STATES: tuple[State, ...] = get_args(State)
STALE_NS = 250_000_000
_HAND_NS = 250_000_000  # by then the engine has let go of a hand that says nothing more
QUIET = frozenset({"idle", "finished", "stopped"})  # phases in which nothing moves, and nothing may begin to
PHASES: dict[str, tuple[State, How]] = {
    "idle": ("idle", "nothing is armed"),
    "locating": ("moving", "moving to the start"),
    "driving": ("moving", "driven by hand"),
    "going": ("moving", "going to a mark"),
    "ready": ("armed", "hold or count down to start"),
    "joining": ("moving", "coming to the timeline"),
    "running": ("moving", "on the timeline"),
    "freewheeling": ("moving", "timecode is missing, going on"),
    "stopping": ("moving", "braking"),
    "stopped": ("stopped", "reset when it is safe"),
    "finished": ("idle", "the cue is done"),
}
_STAGES: dict[Stage, tuple[State, How]] = {
    "off": ("offline", "not connected"),
    "opening": ("opening", "connecting"),
    "closing": ("opening", "disconnecting"),
    "failed": ("fault", "lost the engine"),
    "open": ("opening", "connecting"),  # before its first report
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What the editor knows at one instant.

    `errand`: what the rig is lent for. `asked_to_arm`: an order to arm is on its way. `hand_ns`: when a hand that
    drives was passed on last. `ending`: processes of a broken run are being ended. `still`: the setpoints stand.
    `ours`: the clock is started here. `start_s`: where the armed part begins on the timeline, and `ahead` the stretches
    of it with motion. `trouble`: why the link broke.
    """

    stage: Stage
    status: Status | None
    now_ns: int
    asked_to_arm: bool = False
    errand: Errand = ""
    hand_ns: int | None = None
    ending: bool = False
    still: bool = True
    ours: bool = True
    start_s: float | None = None
    ahead: Stretches = ()
    trouble: str = ""
    real: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """The state in one word, how it is so, and what follows from it.

    `dangerous`: something is armed, moves, or might. `age_s` of the newest report; zero while it is fresh.
    `to_motion_s` until something moves next, zero while it does, None where that is not known or nothing comes any
    more. `cause` of a stop or a fault.
    """

    state: State
    how: How
    real: bool = False
    stale: bool = False
    age_s: float = 0.0
    dangerous: bool = False
    can_arm: bool = False
    can_drive: bool = False
    can_start: bool = False
    can_reset: bool = False
    errand: Errand = ""
    to_motion_s: float | None = None
    cause: str = ""


OFFLINE = Standing(state="offline", how="not connected")


def stand(seen: Seen) -> Standing:
    """Return how the rig stands."""
    status = seen.status if seen.stage in ("open", "closing") else None
    age_ns = 0 if status is None else max(0, seen.now_ns - status.at_ns)
    stale = seen.stage == "open" and age_ns > STALE_NS
    state, how = _word(seen, status)
    phase = None if status is None else status.phase
    free = seen.stage == "open" and not stale and not seen.asked_to_arm and not seen.errand
    driven = seen.hand_ns is not None and seen.now_ns - seen.hand_ns < _HAND_NS
    return Standing(
        state=state,
        how=how,
        real=seen.real,
        stale=stale,
        age_s=round(age_ns * 1e-9, 1) if stale else 0.0,
        dangerous=_dangerous(seen, phase, stale, driven),
        can_arm=free and not driven and phase in ("idle", "finished"),
        can_drive=free and phase in ("idle", "finished", "driving", "going"),
        can_start=seen.stage == "open" and phase == "ready" and seen.ours and not stale and not _runs(status),
        # what is being ended may still brake: a fault is not cleared before
        can_reset=(seen.stage == "failed" and not seen.ending) or (seen.stage == "open" and phase == "stopped"),
        errand=seen.errand,
        to_motion_s=_to_motion_s(seen, status),
        cause=seen.trouble or ("" if status is None else status.cause),
    )


def _dangerous(seen: Seen, phase: str | None, stale: bool, driven: bool) -> bool:
    if seen.asked_to_arm or (seen.errand == "home" and phase != "stopped"):
        return True
    match seen.stage:
        case "open":
            return phase is None or phase not in QUIET or stale or (driven and phase != "stopped")
        case "closing":
            return phase is not None and phase not in QUIET
        case "failed":
            return seen.ending
    return False


def _word(seen: Seen, status: Status | None) -> tuple[State, How]:
    phase = None if status is None else status.phase
    if seen.errand == "home" and phase in (None, "idle", "finished", "driving"):
        return ("moving", "homing an axis") if phase == "driving" else ("armed", "about to home an axis")
    if seen.errand in ("tell", "back"):
        return "opening", "being told where it stands" if seen.errand == "tell" else "connecting"
    if status is None or (seen.stage == "closing" and status.phase in QUIET):
        return ("armed", "about to move to the start") if seen.asked_to_arm else _STAGES[seen.stage]
    if seen.asked_to_arm and status.phase in ("idle", "finished"):
        return "armed", "about to move to the start"
    if status.phase == "ready":
        return "armed", _waiting(seen, status)
    if status.phase == "joining" and status.lock not in ("locked", "freewheel") and seen.still:
        return "holding", "waits in the move, moves by itself"
    return PHASES.get(status.phase, ("fault", "an unknown state"))


def _waiting(seen: Seen, status: Status) -> How:
    if _runs(status):
        past = seen.start_s is not None and status.timeline_s > seen.start_s
        return "the start is missed" if past else "starts by itself"
    return "hold or count down to start" if seen.ours else "waiting for timecode"


def _runs(status: Status | None) -> bool:
    """Whether the clock that is followed runs."""
    return status is not None and status.lock in ("locked", "locking", "freewheel")


def _to_motion_s(seen: Seen, status: Status | None) -> float | None:
    if status is None or status.lock not in ("locked", "freewheel") or status.speed <= 0:
        return None
    before = status.phase == "ready" and seen.start_s is not None and status.timeline_s < seen.start_s
    if not before and status.phase not in ("running", "freewheeling"):
        return None
    left_s = to_motion_s(seen.ahead, status.timeline_s)
    return None if left_s is None else round(left_s / status.speed, 1)
