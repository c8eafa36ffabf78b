"""What playback does when hands are on the rig: they drive it, send it to marks, and perform axes while others play."""

from dataclasses import replace

from sequencer.live.wish import Wish
from sequencer.playback.events import Go, HandOver, Hold, Say, Steer, Tick, ToMark
from sequencer.playback.state import DRIVEN_S, PLAYING, RECUED_FROM, STOPS, UNARMED, Phase, State, Step


def drive(state: State, wanted: tuple[Wish, ...], at_ns: int) -> Step:
    """Return what to do when the hand speaks: it does so many times a second, and is answered once."""
    if state.phase is Phase.DRIVING:
        return replace(state, since_ns=at_ns), (Steer(wanted),)
    if state.phase in PLAYING and state.punched:
        return replace(state, hand_ns=at_ns), (Steer(wanted),)
    if state.phase is Phase.GOING:
        # a hand that merely lies on the stick leaves the rig on its way
        return _taken(state, wanted, at_ns, "taken over by hand") if any(wanted) else (state, ())
    if state.phase not in UNARMED or not any(wanted):
        return state, ()
    if state.hindrance:
        told, words = state.hindrance, f"not driven: {state.hindrance}"
        return replace(state, told=told), () if told == state.told else (Say("refused", words),)
    return _taken(state, wanted, at_ns, "driven by hand")


def _taken(state: State, wanted: tuple[Wish, ...], at_ns: int, how: str) -> Step:
    driving = replace(state, phase=Phase.DRIVING, armed=None, told="", since_ns=at_ns)
    return driving, (Steer(wanted), Say("driving", f"{how}. Keep clear of the rig"))


def driven(state: State, tick: Tick) -> Step:
    """Return what to do at a tick while hands drive: nothing, or what becomes of a hand that let go."""
    if not _silent(state.since_ns, tick):
        return state, ()
    if tick.standing:
        return replace(state, phase=Phase.IDLE), (Hold(), Say("driven", "let go of; the rig stands"))
    return state, (Steer(()),)


def go(state: State, event: Go) -> Step:
    """Return what to do when the rig is sent to a mark: what is armed is forgotten, but where a trigger sends it."""
    refusal = _refusal(state, event)
    if refusal:
        return state, (Say("trigger" if event.by else "refused", f"not sent to {event.mark.name}: {refusal}"),)
    why = f"chosen by {event.by}; " if event.by else ""
    armed = state.armed if event.by else None
    words = f"{why}going to {event.mark.name}. Keep clear of the rig"
    going = replace(state, phase=Phase.GOING, armed=armed, mark=event.mark, told="", since_ns=None)
    return going, (ToMark(event.mark), Say("going", words))


def _refusal(state: State, event: Go) -> str:
    """Return what speaks against going to a mark, in words with the mend, or nothing."""
    if state.phase in STOPS:
        return f"it is {state.phase} because {state.cause}. Reset first"
    if event.by and (state.armed is None or not state.armed.remote):
        return "triggers were not let choose when it was armed. Arm it so at this machine"
    here = RECUED_FROM if event.by else UNARMED | {Phase.DRIVING, Phase.GOING}
    if state.phase not in here:
        return f"it is {state.phase}. Send it when nothing is armed and nothing plays"
    return state.hindrance


def gone(state: State, tick: Tick) -> Step:
    """Return what to do at a tick on the way to a mark."""
    if state.since_ns is None:
        # this tick may have been looked at before the rig was sent off: what arrived then was an earlier way
        return replace(state, since_ns=tick.now_ns), ()
    if not (tick.arrived and tick.standing) or state.mark is None:
        return state, ()
    there = Phase.IDLE if state.armed is None else Phase.FINISHED
    return replace(state, phase=there), (Hold(), Say("at mark", f"at {state.mark.name}"))


def punch(state: State, within: bool) -> Step:
    """Return what to do when the hands are to have their axes, or to have them no longer."""
    by_hand = () if state.armed is None else state.armed.by_hand
    if not any(by_hand):
        return state, (Say("refused", "no axis was armed to be performed by hand. Name the axes when arming"),)
    if within == state.punched:
        return state, ()
    if state.phase not in PLAYING:
        if state.phase not in (Phase.LOCATING, Phase.READY):
            return state, (Say("refused", f"nothing is performed: it is {state.phase}"),)
        words = "from the start on hands have their axes" if within else "hands have their axes from the punch in on"
        return replace(state, punched=within), (Say("hands", words),)
    return punched(state) if within else released(state)


def punched(state: State) -> Step:
    """Return what to do when hands begin to perform."""
    return replace(state, punched=True), (HandOver(state.cue.by_hand), Say("punch", "in"))


def released(state: State) -> Step:
    """Return what to do when hands perform no longer: their axes come to rest, and stay."""
    return replace(state, punched=False, hand_ns=None), (Steer(()), Say("punch", "out"))


def performed(state: State, tick: Tick) -> Step:
    """Return what becomes of the axes that a hand has while others play, where it let go."""
    if state.hand_ns is None or not _silent(state.hand_ns, tick):
        return state, ()
    return replace(state, hand_ns=None), (Steer(()),)


def _silent(heard_ns: int | None, tick: Tick) -> bool:
    return tick.now_ns - (heard_ns or tick.now_ns) > DRIVEN_S * 1e9
