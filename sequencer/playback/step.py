"""What the playback core does next: one function from state and event to state and actions, with words for people.

It reads no clock and no port, plans no motion, and never starts anything that was not armed here. The rules stand at
the top of the state file.
"""

from dataclasses import replace

from sequencer.playback.clocked import run, wait
from sequencer.playback.cued import Cued
from sequencer.playback.events import (
    Arm,
    ClockHalted,
    Drive,
    EngineLate,
    Event,
    Go,
    GoTo,
    Hold,
    Punch,
    Recue,
    Reset,
    Say,
    Stop,
    Tick,
)
from sequencer.playback.handled import drive, driven, go, gone, punch
from sequencer.playback.state import MOVING, NO_ANSWER, RECUED_FROM, SILENT_S, STOPS, UNARMED, Phase, State, Step
from sequencer.playback.stopping import late, reset, stop


def step(state: State, event: Event) -> Step:
    """Return the state after `event`, and what is to be done now."""
    match event:
        case Tick():
            return _tick(state, event)
        case Arm():
            return _arm(state, event)
        case Recue(cued, by):
            return _recue(state, cued, by)
        case Drive(wanted, at_ns):
            return drive(state, wanted, at_ns)
        case Go():
            return go(state, event)
        case Punch(within):
            return punch(state, within)
        case ClockHalted(how):
            return replace(state, halted=how), ()
        case Stop(_, within) if within is not None and state.phase not in within:
            return state, ()
        case Stop(cause):
            return stop(state, cause)
        case Reset():
            return reset(state)
        case EngineLate(late_s):
            return late(state, late_s)


def _tick(state: State, tick: Tick) -> Step:
    barred = tick.dropped or _barred(tick)
    if barred != state.barred:
        drops = bool(tick.dropped) and not state.dropped
        state = replace(state, barred=barred, dropped=tick.dropped)
        if drops:
            return stop(state, tick.dropped)
    fault = _fault(tick)
    if fault != state.hindrance:
        state = replace(state, hindrance=fault)
    # where nothing is to move, what is astray would come back by itself
    adrift = tick.astray is not None and state.phase in UNARMED
    if fault and (adrift or state.phase in MOVING | {Phase.READY}):
        return stop(state, fault)
    match state.phase:
        case Phase.LOCATING if state.since_ns is None:
            # this tick may have been looked at before the rig was sent off: what arrived then was an earlier way
            return replace(state, since_ns=tick.now_ns), ()
        case Phase.LOCATING if tick.arrived and tick.standing:
            words = "at the start of the cue, waiting for timecode"
            return replace(state, phase=Phase.READY, told=""), (Hold(), Say("ready", words))
        case Phase.READY:
            return wait(state, tick)
        case Phase.DRIVING:
            return driven(state, tick)
        case Phase.GOING:
            return gone(state, tick)
        case Phase.JOINING | Phase.RUNNING | Phase.FREEWHEELING:
            return run(state, tick)
        case Phase.STOPPING if tick.standing:
            words = f"stopped: {state.cause}. Reset when the rig stands still and it is safe"
            return replace(state, phase=Phase.STOPPED), (Hold(), Say("stopped", words))
    return state, ()


def _barred(tick: Tick) -> str:
    """Return what speaks against a reset of a rig that is back, in words with the mend, or nothing."""
    if tick.outside is None:
        return ""
    return (
        f"{tick.outside.axis} stands outside its travel ({tick.outside}) and would move back by itself; bring it back "
        "by hand with its motor off, or correct the travel in the rig file"
    )


def _fault(tick: Tick) -> str:
    """Return what is wrong with the rig, in words with the mend, or nothing."""
    if tick.silent_s > SILENT_S:
        return NO_ANSWER
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
    punched = armed.punched and any(armed.by_hand)
    locating = replace(state, phase=Phase.LOCATING, armed=armed, told="", since_ns=None, punched=punched)
    return locating, (GoTo(armed.cued, armed.cap), Say("locating", words))


def _refusal(state: State, cued: Cued) -> str:
    """Return what speaks against arming, in words with the mend, or nothing."""
    if state.phase in STOPS:
        return f"it is {state.phase} because {state.cause}. Reset first"
    if state.phase not in UNARMED:
        return f"it is {state.phase}. {before_arming(state.phase)}"
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


def before_arming(phase: Phase) -> str:
    """Return what to do before arming, in a phase from which it cannot be."""
    if phase in (Phase.DRIVING, Phase.GOING):
        return "Let the rig come to rest first"
    return "Stop and reset first"


def _hindrance(state: State, cued: Cued) -> str:
    """Return why the rig cannot go to the start of this cue, in words with the mend, or nothing."""
    if state.hindrance:
        return state.hindrance
    if cued.beyond:
        return f"the cue starts outside the travel of {', '.join(cued.beyond)}; move its first key, or set the travel"
    if cued.moving:
        return f"at the start of the cue the move is already under way ({', '.join(cued.moving)}); start where it rests"
    return ""
