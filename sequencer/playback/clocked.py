"""What playback does while a master clocks it: it waits for it, follows it, joins it, or says why it cannot."""

from dataclasses import replace

from sequencer.playback.events import Brake, Follow, Hold, Join, Say, Tick
from sequencer.playback.handled import performed, punched, released
from sequencer.playback.state import FASTEST, GRACE_S, PREROLL_S, SLOWEST, Phase, State, Step
from sequencer.playback.stopping import stop
from sequencer.sync.reading import Clock, Lock


def wait(state: State, tick: Tick) -> Step:
    """Return what to do in ready: begin, join, wait, or say once why the timecode that runs cannot begin the move."""
    cued, clock = state.cue.cued, tick.clock
    if clock.lock is not Lock.LOCKED:
        return state, ()
    past_s = clock.position_s - cued.start_s
    code, words = "", ""
    if clock.speed < 0:
        code, words = "backward", "timecode runs backward; waiting for it to run forward"
    elif not SLOWEST <= clock.speed <= FASTEST:
        code, words = "speed", f"timecode runs at {clock.speed:.1%} of its speed; waiting for normal speed"
    elif past_s > GRACE_S and _joins(state, clock):
        return _join(state, tick, f"timecode is {past_s:.2f} s past the start of the cue")
    elif past_s > GRACE_S:
        code = "past"
        words = (
            f"timecode is already {past_s:.2f} s past the start of the cue; roll back further "
            f"(preroll at least {PREROLL_S:g} s)"
        )
    elif past_s >= -cued.lead_s * clock.speed:
        return _begin(state, clock)
    if code == state.told:
        return state, ()
    return replace(state, told=code), (Say("waiting", words),) if words else ()


def _begin(state: State, clock: Clock) -> Step:
    begun = replace(state, phase=Phase.RUNNING, jumps=clock.jumps, halted="", hand_ns=None)
    follows = (Follow(state.cue.cued), Say("running", "following timecode"))
    if not state.punched:
        return begun, follows
    performing, actions = punched(begun)
    return performing, (*follows, *actions)


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


def run(state: State, tick: Tick) -> Step:
    """Return what to do at a tick on the clock: go on, join, coast, end, or stop with the reason."""
    clock = tick.clock
    if clock.lock in (Lock.LOCATED, Lock.LOCKING) and _joins(state, clock):
        return _await(state, tick)
    fault = _clock_fault(state, clock)
    if fault:
        return stop(state, fault)
    gone_s = (tick.now_ns - (state.since_ns or tick.now_ns)) * 1e-9
    if clock.jumps != state.jumps:
        return _join(state, tick, "timecode runs again" if state.jumps is None else "timecode jumped")
    if state.phase is Phase.JOINING:
        if not tick.joined:
            return state, ()
        words = f"on the timeline after {gone_s:.2f} s; following timecode"
        return replace(state, phase=Phase.RUNNING), (Follow(state.cue.cued), Say("joined", words))
    over = clock.position_s >= state.cue.cued.rest_s
    if over and state.punched:
        return released(state)
    if over and tick.standing:
        return replace(state, phase=Phase.FINISHED), (Hold(), Say("finished", "the cue is done"))
    if state.phase is Phase.RUNNING and clock.lock is Lock.FREEWHEEL:
        words = f"timecode stopped coming; going on at its last speed for at most {state.cue.freewheel_s:g} s"
        return replace(state, phase=Phase.FREEWHEELING, since_ns=tick.now_ns), (Say("freewheel", words),)
    if state.phase is Phase.FREEWHEELING and clock.lock is Lock.LOCKED:
        return replace(state, phase=Phase.RUNNING), (Say("locked", f"timecode is back after {gone_s:.2f} s"),)
    return performed(state, tick)


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
            f"timecode runs at {clock.speed:.1%} of its speed, outside {SLOWEST:.0%} to {FASTEST:.0%}; "
            "set the sender to normal speed"
        )
    return ""
