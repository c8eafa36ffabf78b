"""What the playback core does next: one function from state and event to state and actions, with words for people.

It reads no clock and no port, plans no motion, and never starts anything that was not armed here.

Rules. A row is a phase; what is not in it leaves the phase as it is.

    phase         motion          leaves by                                                     to
    idle          none            Arm, where nothing speaks against it                          locating
                                  Drive, where nothing speaks against it                        driving
    driving       as the hand is  no Drive for DRIVEN_S, and the setpoints stand still          idle
    locating      to the start    at the start, and the setpoints stand still                   ready
    ready         none            timecode locked, forward, near normal speed, at the start     running
                                  the same in mid-move, where the operator lets it join         joining
                                  Recue, where triggers may choose and nothing speaks against   locating
    joining       to the timeline every axis is on the timeline                                 running
    running       the timeline    timecode stops coming                                         freewheeling
                                  past the end, and the setpoints stand still                   finished
    freewheeling  the timeline    timecode is back                                              running
                                  past the end, and the setpoints stand still                   finished
    stopping      braking         the setpoints stand still                                     stopped
    stopped       none            Reset                                                         idle
    finished      none            Arm, where nothing speaks against it                          locating
                                  Drive, where nothing speaks against it                        driving
                                  Recue, where triggers may choose and nothing speaks against   locating

    Where the operator lets it join, timecode that jumps within the cue leads from joining, running and freewheeling to
    joining, anew: the rig brakes until the way is planned, and comes to the timeline as soon as its limits allow. Where
    the master stands after the jump, the rig brakes and waits, still joining, until it runs.

    A stop (asked for; the rig silent or astray; an axis held back; the engine late; on or to the timeline also:
    timecode lost, backward, off its speed, or jumped and not to be joined) leads from locating, driving, joining,
    running and freewheeling to stopping, and from idle, ready and finished to stopped. In idle and finished only a
    stop that was asked for counts: nothing moves, so the others speak against arming, driving and recueing instead. A
    stop is latched: its first cause stays until Reset, and after Reset nothing moves before the next Arm or Drive.

    The program's own clock, halted or set anew, is a master like any other: it stops a move, or is waited for where
    the operator lets it join. ClockHalted moves nothing; it is remembered for the words, until timecode runs again.

Standing still is said of the setpoints. Whether the rig itself stands is for the person who watches it.
"""

from dataclasses import dataclass, replace
from enum import StrEnum

from sequencer.playback.cued import Cued
from sequencer.playback.events import (
    Action,
    Arm,
    Brake,
    ClockHalted,
    Drive,
    EngineLate,
    Event,
    Follow,
    GoTo,
    Hold,
    Join,
    Recue,
    Reset,
    Say,
    Steer,
    Stop,
    Tick,
)
from sequencer.playback.guard import LONGEST_STEP_S
from sequencer.sync.reading import Clock, Lock

GRACE_S = 0.04  # how far past the start of the cue a move may still begin; the guard takes up the difference
PREROLL_S = 1.0
SILENT_S = 0.5
DRIVEN_S = 0.15  # for how long a hand that says nothing more is taken to hold on
SLOWEST, FASTEST = 0.85, 1.15


class Phase(StrEnum):
    IDLE = "idle"
    LOCATING = "locating"
    DRIVING = "driving"
    READY = "ready"
    JOINING = "joining"
    RUNNING = "running"
    FREEWHEELING = "freewheeling"
    STOPPING = "stopping"
    STOPPED = "stopped"
    FINISHED = "finished"


ON_THE_CLOCK = frozenset({Phase.JOINING, Phase.RUNNING, Phase.FREEWHEELING})
MOVING = ON_THE_CLOCK | {Phase.LOCATING, Phase.DRIVING}
UNARMED = frozenset({Phase.IDLE, Phase.FINISHED})
RECUED_FROM = frozenset({Phase.READY, Phase.FINISHED})
STOPS = frozenset({Phase.STOPPING, Phase.STOPPED})


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """Where playback is.

    `cause`: why it stops or stopped, else empty. `armed`: what was armed last. `jumps`: the clock's count when the move
    began or was joined, None while a master that stands is awaited. `since_ns`: when locating, joining or freewheeling
    began, None before its first tick; while driving, when the hand was last heard of. `hindrance`: what spoke against
    arming at the last tick. `told`: what was last said of the timecode while ready, or to a hand that may not drive.
    `halted`: how the program's own clock came to stand, while it does.
    """

    phase: Phase = Phase.IDLE
    cause: str = ""
    armed: Arm | None = None
    jumps: int | None = 0
    since_ns: int | None = None
    hindrance: str = ""
    told: str = ""
    halted: str = ""

    @property
    def cue(self) -> Arm:
        """What is armed. Error: ValueError where nothing is."""
        if self.armed is None:
            raise ValueError(f"nothing is armed in {self.phase}")
        return self.armed


Step = tuple[State, tuple[Action, ...]]


def step(state: State, event: Event) -> Step:
    """Return the state after `event`, and what is to be done now. The rules stand at the top of this file."""
    match event:
        case Tick():
            return _tick(state, event)
        case Arm():
            return _arm(state, event)
        case Recue(cued, by):
            return _recue(state, cued, by)
        case Drive(wanted, at_ns):
            return _drive(state, wanted, at_ns)
        case ClockHalted(how):
            return replace(state, halted=how), ()
        case Stop(cause):
            return _stop(state, cause)
        case Reset():
            return _reset(state)
        case EngineLate(late_s):
            return _late(state, late_s)


def _tick(state: State, tick: Tick) -> Step:
    fault = _fault(tick)
    if fault != state.hindrance:
        state = replace(state, hindrance=fault)
    if fault and state.phase in MOVING | {Phase.READY}:
        return _stop(state, fault)
    match state.phase:
        case Phase.LOCATING if state.since_ns is None:
            # this tick may have been looked at before the rig was sent off: what arrived then was an earlier way
            return replace(state, since_ns=tick.now_ns), ()
        case Phase.LOCATING if tick.arrived and tick.standing:
            words = "at the start of the cue, waiting for timecode"
            return replace(state, phase=Phase.READY, told=""), (Hold(), Say("ready", words))
        case Phase.READY:
            return _wait(state, tick)
        case Phase.DRIVING:
            return _driven(state, tick)
        case Phase.JOINING | Phase.RUNNING | Phase.FREEWHEELING:
            return _run(state, tick)
        case Phase.STOPPING if tick.standing:
            words = f"stopped: {state.cause}. Reset when the rig stands still and it is safe"
            return replace(state, phase=Phase.STOPPED), (Hold(), Say("stopped", words))
    return state, ()


def _fault(tick: Tick) -> str:
    """Return what is wrong with the rig, in words with the mend, or nothing."""
    if tick.silent_s > SILENT_S:
        return f"the rig has not answered for {SILENT_S:g} s; check its power and its cable"
    if tick.held_back is not None:
        return (
            f"the rig cannot do what is asked ({tick.held_back} from its place on the timeline); "
            "check the move against the limits and the travel"
        )
    if tick.astray is not None:
        return (
            f"the rig is not where it was sent ({tick.astray}); look for what holds the axis, a slipping drive or a "
            "motor that is off"
        )
    return ""


def _arm(state: State, event: Arm) -> Step:
    refusal = _refusal(state, event.cued)
    if refusal:
        return state, (Say("refused", f"not armed: {refusal}"),)
    return _locate(state, event, "armed")


def _recue(state: State, cued: Cued, by: str) -> Step:
    refusal = _recue_refusal(state, cued)
    if refusal:
        return state, (Say("refused", f"{by} is not obeyed: {refusal}"),)
    return _locate(state, replace(state.cue, cued=cued), f"chosen by {by}")


def _locate(state: State, armed: Arm, why: str) -> Step:
    then = ", then at once to wherever timecode runs in it" if armed.joins else ""
    words = f"{why}; moving to the start of the cue at up to {armed.cap:.0%} of full speed{then}. Keep clear of the rig"
    return (
        replace(state, phase=Phase.LOCATING, armed=armed, told="", since_ns=None),
        (GoTo(armed.cued, armed.cap), Say("locating", words)),
    )


def _refusal(state: State, cued: Cued) -> str:
    """Return what speaks against arming, in words with the mend, or nothing."""
    if state.phase in STOPS:
        return f"it is {state.phase} because {state.cause}. Reset first"
    if state.phase not in UNARMED:
        return f"it is armed already, and {state.phase}. Stop and reset first"
    return _hindrance(state, cued)


def _recue_refusal(state: State, cued: Cued) -> str:
    """Return what speaks against going to another cue or mark without an operator, in words with the mend."""
    if state.phase in STOPS:
        return f"it is {state.phase} because {state.cause}. Reset and arm at this machine first"
    if state.armed is None:
        return "nothing is armed. Arm at this machine first"
    if not state.armed.remote:
        return "triggers were not let choose the cue when it was armed. Arm it so at this machine"
    if state.phase not in RECUED_FROM:
        return f"it is {state.phase}. Send it again when the rig waits at the start of a cue, or a cue is done"
    return _hindrance(state, cued)


def _hindrance(state: State, cued: Cued) -> str:
    """Return why the rig cannot go to the start of this cue, in words with the mend, or nothing."""
    if state.hindrance:
        return state.hindrance
    if cued.beyond:
        return f"the cue starts outside the travel of {', '.join(cued.beyond)}; move its first key, or set the travel"
    if cued.moving:
        return f"at the start of the cue the move is already under way ({', '.join(cued.moving)}); start where it rests"
    return ""


def _drive(state: State, wanted: tuple[float, ...], at_ns: int) -> Step:
    """Return what to do when the hand speaks: it does so many times a second, and is answered once."""
    if state.phase is Phase.DRIVING:
        return replace(state, since_ns=at_ns), (Steer(wanted),)
    if state.phase not in UNARMED:
        return state, ()
    if state.hindrance:
        told, words = state.hindrance, f"not driven: {state.hindrance}"
        return replace(state, told=told), () if told == state.told else (Say("refused", words),)
    driving = replace(state, phase=Phase.DRIVING, armed=None, told="", since_ns=at_ns)
    return driving, (Steer(wanted), Say("driving", "driven by hand. Keep clear of the rig"))


def _driven(state: State, tick: Tick) -> Step:
    silent_ns = tick.now_ns - (state.since_ns or tick.now_ns)
    if silent_ns <= DRIVEN_S * 1e9:
        return state, ()
    if tick.standing:
        return replace(state, phase=Phase.IDLE), (Hold(), Say("driven", "let go of; the rig stands"))
    return state, (Steer(()),)


def _stop(state: State, cause: str) -> Step:
    cause = cause or "a stop was asked for without a reason; ask who is at the controls"
    if state.phase in STOPS:
        return state, (Say("stop", f"already {state.phase}: {state.cause}. Now also: {cause}"),)
    if state.phase in MOVING:
        return replace(state, phase=Phase.STOPPING, cause=cause), (Brake(), Say("stopping", f"braking: {cause}"))
    words = f"stopped: {cause}. Reset when it is safe"
    return replace(state, phase=Phase.STOPPED, cause=cause), (Hold(), Say("stopped", words))


def _reset(state: State) -> Step:
    match state.phase:
        case Phase.STOPPED:
            words = "reset; nothing moves before it is armed again"
            return replace(state, phase=Phase.IDLE, cause="", armed=None), (Say("reset", words),)
        case Phase.STOPPING:
            return state, (Say("refused", "not reset: still braking. Wait until it stands still, then reset"),)
    return state, (Say("refused", f"nothing to reset: it is {state.phase}, not stopped. To end a cue, stop it first"),)


def _late(state: State, late_s: float) -> Step:
    if late_s <= LONGEST_STEP_S or state.phase in UNARMED:
        return state, ()
    words = f"this machine was {late_s * 1000:.0f} ms late with a setpoint"
    return _stop(state, f"{words}; close other programs and keep it from sleeping")


def _wait(state: State, tick: Tick) -> Step:
    """Return what to do in ready: begin, join, wait, or say once why the timecode that runs cannot begin the move."""
    cued, clock = state.cue.cued, tick.clock
    if clock.lock is not Lock.LOCKED:
        return state, ()
    past_s = clock.position_s - cued.start_s
    code, words = "", ""
    if clock.speed < 0:
        code, words = "backward", "timecode runs backward; waiting for it to run forward"
    elif not SLOWEST <= clock.speed <= FASTEST:
        code, words = "speed", f"timecode runs at {clock.speed:.0%} of its speed; waiting for normal speed"
    elif past_s > GRACE_S and _joins(state, clock):
        return _join(state, tick, f"timecode is {past_s:.2f} s past the start of the cue")
    elif past_s > GRACE_S:
        code = "past"
        words = (
            f"timecode is already {past_s:.2f} s past the start of the cue; roll back further "
            f"(preroll at least {PREROLL_S:g} s)"
        )
    elif past_s >= -cued.lead_s * clock.speed:
        begun = replace(state, phase=Phase.RUNNING, jumps=clock.jumps, halted="")
        return begun, (Follow(cued), Say("running", "following timecode"))
    if code == state.told:
        return state, ()
    return replace(state, told=code), (Say("waiting", words),) if words else ()


def _joins(state: State, clock: Clock) -> bool:
    """Whether the move is to be joined where the clock is."""
    cued = state.cue.cued
    return state.cue.joins and cued.start_s <= clock.position_s < cued.rest_s


def _join(state: State, tick: Tick, why: str) -> Step:
    joining = replace(state, phase=Phase.JOINING, jumps=tick.clock.jumps, since_ns=tick.now_ns, halted="")
    words = f"{why}; joining the move there. Keep clear of the rig"
    return joining, (Join(state.cue.cued, tick.clock), Say("joining", words))


def _await(state: State, tick: Tick) -> Step:
    """Return what to do while the master stands at another place of the cue, or is not yet trusted there."""
    if state.jumps is None:
        return state, ()
    waiting = replace(state, phase=Phase.JOINING, jumps=None, since_ns=tick.now_ns)
    how = f"the clock was {state.halted}" if state.halted else "timecode stands or was set anew"
    words = f"{how}; braking, and joining the move when it runs. Keep clear of the rig"
    return waiting, (Brake(), Say("joining", words))


def _run(state: State, tick: Tick) -> Step:
    clock = tick.clock
    if clock.lock in (Lock.LOCATED, Lock.LOCKING) and _joins(state, clock):
        return _await(state, tick)
    fault = _clock_fault(state, clock)
    if fault:
        return _stop(state, fault)
    gone_s = (tick.now_ns - (state.since_ns or tick.now_ns)) * 1e-9
    if clock.jumps != state.jumps:
        return _join(state, tick, "timecode runs again" if state.jumps is None else "timecode jumped")
    if state.phase is Phase.JOINING:
        if not tick.joined:
            return state, ()
        words = f"on the timeline after {gone_s:.2f} s; following timecode"
        return replace(state, phase=Phase.RUNNING), (Follow(state.cue.cued), Say("joined", words))
    if tick.standing and clock.position_s >= state.cue.cued.rest_s:
        return replace(state, phase=Phase.FINISHED), (Hold(), Say("finished", "the cue is done"))
    if state.phase is Phase.RUNNING and clock.lock is Lock.FREEWHEEL:
        words = f"timecode stopped coming; going on at its last speed for at most {state.cue.freewheel_s:g} s"
        return replace(state, phase=Phase.FREEWHEELING, since_ns=tick.now_ns), (Say("freewheel", words),)
    if state.phase is Phase.FREEWHEELING and clock.lock is Lock.LOCKED:
        return replace(state, phase=Phase.RUNNING), (Say("locked", f"timecode is back after {gone_s:.2f} s"),)
    return state, ()


def _clock_fault(state: State, clock: Clock) -> str:
    """Return why the move cannot follow this clock, in words with the mend, or nothing."""
    if clock.lock is Lock.LOST:
        return (
            f"timecode lost for longer than the freewheel time of {state.cue.freewheel_s:g} s; "
            "check the sender and the cable"
        )
    anew = clock.jumps != state.jumps and not _joins(state, clock)
    if state.halted and (anew or not clock.steers):
        where = ", out of the cue" if state.cue.joins else ""
        return f"the clock was {state.halted}{where}; let it run on during a move"
    if not clock.steers:
        return f"timecode is {clock.lock}, no longer locked; let the sender run on without a new position during a move"
    if clock.speed <= 0:
        return "timecode runs backward or stands still; let the sender run forward during a move"
    if anew:
        where = " out of the cue" if state.cue.joins else ""
        return f"timecode jumped{where}; let the sender run on without a new position during a move"
    if not SLOWEST <= clock.speed <= FASTEST:
        return (
            f"timecode runs at {clock.speed:.0%} of its speed, outside {SLOWEST:.0%} to {FASTEST:.0%}; "
            "set the sender to normal speed"
        )
    return ""
