"""How playback stops: latched, with the cause that came first, until the operator has reset it."""

from dataclasses import replace

from sequencer.playback.events import Begin, Brake, Hold, Say
from sequencer.playback.guard import LONGEST_STEP_S
from sequencer.playback.state import MOVING, STOPS, UNARMED, Phase, State, Step


def stop(state: State, cause: str) -> Step:
    """Return what to do when somebody or something asks for a stop: it is latched, whatever comes later."""
    cause = cause or "a stop was asked for without a reason; ask who is at the controls"
    if state.phase in STOPS:
        return state, (Say("stop", f"already {state.phase}: {state.cause}. Now also: {cause}"),)
    state = replace(state, punched=False)
    if state.phase in MOVING:
        return replace(state, phase=Phase.STOPPING, cause=cause), (Brake(), Say("stopping", f"braking: {cause}"))
    words = f"stopped: {cause}. Reset when it is safe"
    return replace(state, phase=Phase.STOPPED, cause=cause), (Hold(), Say("stopped", words))


def reset(state: State) -> Step:
    """Return what to do when the operator resets: a stop is cleared where everything stands still."""
    match state.phase:
        case Phase.STOPPED if state.barred:
            return state, (Say("refused", f"not reset: {state.barred}"),)
        case Phase.STOPPED:
            words = "reset; nothing moves before it is armed, driven or sent again"
            return replace(state, phase=Phase.IDLE, cause="", armed=None), (Begin(), Say("reset", words))
        case Phase.STOPPING:
            return state, (Say("refused", "not reset: still braking. Wait until it stands still, then reset"),)
    return state, (Say("refused", f"nothing to reset: it is {state.phase}, not stopped. To end a cue, stop it first"),)


def late(state: State, late_s: float) -> Step:
    """Return what to do when this machine was late: too late, where something is armed, is a stop."""
    if late_s <= LONGEST_STEP_S or state.phase in UNARMED:
        return state, ()
    words = f"this machine was {late_s * 1000:.0f} ms late with a setpoint"
    return stop(state, f"{words}; close other programs and keep it from sleeping")
