"""The words for states, for how they are so, and for how well a clock is known. It decides nothing."""

from ui.language import translate
from ui.link.choice import ClockChoice
from ui.link.standing import How, State


def word(state: State) -> str:
    """Return the one word for a state."""
    return {
        "offline": translate("run", "OFFLINE"),
        "opening": translate("run", "OPENING"),
        "idle": translate("run", "IDLE"),
        "armed": translate("run", "ARMED"),
        "moving": translate("run", "MOVING"),
        "holding": translate("run", "HOLDING"),
        "fault": translate("run", "FAULT"),
        "stopped": translate("run", "STOPPED"),
    }[state]


def clause(how: How) -> str:
    """Return how a state is so, in a few words."""
    return {
        "not connected": translate("run", "not connected"),
        "connecting": translate("run", "connecting"),
        "disconnecting": translate("run", "disconnecting"),
        "nothing is armed": translate("run", "nothing is armed"),
        "the cue is done": translate("run", "the cue is done"),
        "about to move to the start": translate("run", "about to move to the start"),
        "moving to the start": translate("run", "to the start of the cue"),
        "driven by hand": translate("run", "driven by hand"),
        "going to a mark": translate("run", "going to a mark"),
        "about to home an axis": translate("run", "about to home an axis"),
        "homing an axis": translate("run", "homing an axis"),
        "being told where it stands": translate("run", "being told where it stands"),
        "hold or count down to start": translate("run", "at the start, waiting for you"),
        "waiting for timecode": translate("run", "waiting for timecode"),
        "starts by itself": translate("run", "starts by itself"),
        "the start is missed": translate("run", "timecode is past the start"),
        "coming to the timeline": translate("run", "coming to the timeline"),
        "on the timeline": translate("run", "on the timeline"),
        "timecode is missing, going on": translate("run", "timecode missing, going on"),
        "waits in the move, moves by itself": translate("run", "will move by itself"),
        "braking": translate("run", "braking to a stop"),
        "reset when it is safe": translate("run", "reset when it is safe"),
        "lost the engine": translate("run", "the run is broken"),
        "an unknown state": translate("run", "a state unknown here"),
    }[how]


def next_line(how: How) -> str:
    """Return what happens next, and by what act, in one sentence."""
    return {
        "not connected": translate("run", "Connect a rig: the simulated one needs nothing."),
        "connecting": translate("run", "Connecting; nothing moves by it."),
        "disconnecting": translate("run", "Ending in order; what moves is stopped before."),
        "nothing is armed": translate("run", "Hold ARM: the rig then moves to the start of the cue."),
        "the cue is done": translate("run", "Hold ARM: the rig moves back to the start of the cue."),
        "about to move to the start": translate("run", "The rig is about to move. Escape, space or STOP ends it."),
        "moving to the start": translate("run", "The rig moves to the start. Escape, space or STOP ends it."),
        "driven by hand": translate("run", "The rig moves while the hand holds on. Let go to brake."),
        "going to a mark": translate("run", "The rig goes by itself. A touch of the stick takes over; stop brakes."),
        "about to home an axis": translate("run", "An axis is about to move. Escape, space or STOP ends it."),
        "homing an axis": translate("run", "It moves by itself to its switch. Escape, space or STOP stops it."),
        "being told where it stands": translate("run", "Nothing moves. It is connected again by itself."),
        "hold or count down to start": translate("run", "Hold START, or count down. Escape, space or STOP disarms."),
        "waiting for timecode": translate("run", "It starts by itself when timecode comes. Stop disarms."),
        "starts by itself": translate("run", "It starts by itself when its time comes. Stop disarms."),
        "the start is missed": translate("run", "Roll timecode back to before the start of the cue."),
        "coming to the timeline": translate("run", "The rig moves. Escape, space or STOP stops it."),
        "on the timeline": translate("run", "The rig moves. Escape, space or STOP stops it."),
        "timecode is missing, going on": translate("run", "It stops if timecode does not come back."),
        "waits in the move, moves by itself": translate("run", "It moves by itself when timecode runs. Keep clear."),
        "braking": translate("run", "It brakes. Reset when it stands still and it is safe."),
        "reset when it is safe": translate("run", "Look for the cause; reset when it is safe. Nothing moves by it."),
        "lost the engine": translate("run", "Look at the rig first. Then reset and connect again."),
        "an unknown state": translate("run", "Stop, and connect again."),
    }[how]


def lock_words(lock: str) -> str:
    """Return how well the master's time is known."""
    return {
        "waiting": translate("run", "no timecode yet"),
        "located": translate("run", "standing"),
        "locking": translate("run", "locking"),
        "locked": translate("run", "locked"),
        "freewheel": translate("run", "missing, going on"),
        "lost": translate("run", "lost"),
    }.get(lock, lock)


def clock_name(clock: ClockChoice) -> str:
    """Return what a clock is called."""
    return {
        "own": translate("run", "own clock"),
        "music": translate("run", "the project's music"),
        "mtc": translate("run", "MIDI timecode (MTC)"),
        "ltc": translate("run", "linear timecode (LTC)"),
        "clock": translate("run", "MIDI clock"),
        "osc": translate("run", "own clock, started by OSC"),
    }[clock]
