"""What playback does when hands are on the rig."""

from dataclasses import replace

from sequencer.playback.events import Hold, Say, Steer, Tick
from sequencer.playback.state import DRIVEN_S, UNARMED, Phase, State, Step


def drive(state: State, wanted: tuple[float, ...], at_ns: int) -> Step:
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


def driven(state: State, tick: Tick) -> Step:
    silent_ns = tick.now_ns - (state.since_ns or tick.now_ns)
    if silent_ns <= DRIVEN_S * 1e9:
        return state, ()
    if tick.standing:
        return replace(state, phase=Phase.IDLE), (Hold(), Say("driven", "let go of; the rig stands"))
    return state, (Steer(()),)
