"""The words for states, for how they are so, and for how well a clock is known. It decides nothing."""

from ui.language import translate
from ui.link.choice import ClockChoice
from ui.link.standing import How, State


def word(state: State) -> str:
    """Return the one word for a state."""
    match state:
        case "offline":
            return translate("run", "OFFLINE")
        case "opening":
            return translate("run", "OPENING")
        case "idle":
            return translate("run", "IDLE")
        case "armed":
            return translate("run", "ARMED")
        case "moving":
            return translate("run", "MOVING")
        case "holding":
            return translate("run", "HOLDING")
        case "fault":
            return translate("run", "FAULT")
        case "stopped":
            return translate("run", "STOPPED")


def clause(how: How) -> str:  # noqa: PLR0912  # a table in which only what is chosen is made
    """Return how a state is so, in a few words."""
    match how:
        case "not connected":
            return translate("run", "not connected")
        case "connecting":
            return translate("run", "connecting")
        case "disconnecting":
            return translate("run", "disconnecting")
        case "nothing is armed":
            return translate("run", "nothing is armed")
        case "the cue is done":
            return translate("run", "the cue is done")
        case "about to move to the start":
            return translate("run", "about to move to the start")
        case "moving to the start":
            return translate("run", "to the start of the cue")
        case "driven by hand":
            return translate("run", "driven by hand")
        case "going to a mark":
            return translate("run", "going to a mark")
        case "about to home an axis":
            return translate("run", "about to home an axis")
        case "homing an axis":
            return translate("run", "homing an axis")
        case "being told where it stands":
            return translate("run", "being told where it stands")
        case "hold or count down to start":
            return translate("run", "at the start, waiting for you")
        case "waiting for timecode":
            return translate("run", "waiting for timecode")
        case "starts by itself":
            return translate("run", "starts by itself")
        case "the start is missed":
            return translate("run", "timecode is past the start")
        case "coming to the timeline":
            return translate("run", "coming to the timeline")
        case "on the timeline":
            return translate("run", "on the timeline")
        case "timecode is missing, going on":
            return translate("run", "timecode missing, going on")
        case "waits in the move, moves by itself":
            return translate("run", "will move by itself")
        case "braking":
            return translate("run", "braking to a stop")
        case "reset when it is safe":
            return translate("run", "reset when it is safe")
        case "lost the engine":
            return translate("run", "the run is broken")
        case "an unknown state":
            return translate("run", "a state unknown here")


def next_line(how: How) -> str:  # noqa: PLR0912  # the same
    """Return what happens next, and by what act, in one sentence."""
    match how:
        case "not connected":
            return translate("run", "Connect a rig: the simulated one needs nothing.")
        case "connecting":
            return translate("run", "Connecting; nothing moves by it.")
        case "disconnecting":
            return translate("run", "Ending in order; what moves is stopped before.")
        case "nothing is armed":
            return translate("run", "Hold ARM: the rig then moves to the start of the cue.")
        case "the cue is done":
            return translate("run", "Hold ARM: the rig moves back to the start of the cue.")
        case "about to move to the start":
            return translate("run", "The rig is about to move. Escape, space or STOP ends it.")
        case "moving to the start":
            return translate("run", "The rig moves to the start. Escape, space or STOP ends it.")
        case "driven by hand":
            return translate("run", "The rig moves while the hand holds on. Let go to brake.")
        case "going to a mark":
            return translate("run", "The rig goes by itself. A touch of the stick takes over; stop brakes.")
        case "about to home an axis":
            return translate("run", "An axis is about to move. Escape, space or STOP ends it.")
        case "homing an axis":
            return translate("run", "It moves by itself to its switch. Escape, space or STOP stops it.")
        case "being told where it stands":
            return translate("run", "Nothing moves. It is connected again by itself.")
        case "hold or count down to start":
            return translate("run", "Hold START, or count down. Escape, space or STOP disarms.")
        case "waiting for timecode":
            return translate("run", "It starts by itself when timecode comes. Stop disarms.")
        case "starts by itself":
            return translate("run", "It starts by itself when its time comes. Stop disarms.")
        case "the start is missed":
            return translate("run", "Roll timecode back to before the start of the cue.")
        case "coming to the timeline":
            return translate("run", "The rig moves. Escape, space or STOP stops it.")
        case "on the timeline":
            return translate("run", "The rig moves. Escape, space or STOP stops it.")
        case "timecode is missing, going on":
            return translate("run", "It stops if timecode does not come back.")
        case "waits in the move, moves by itself":
            return translate("run", "It moves by itself when timecode runs. Keep clear.")
        case "braking":
            return translate("run", "It brakes. Reset when it stands still and it is safe.")
        case "reset when it is safe":
            return translate("run", "Look for the cause; reset when it is safe. Nothing moves by it.")
        case "lost the engine":
            return translate("run", "Look at the rig first. Then reset and connect again.")
        case "an unknown state":
            return translate("run", "Stop, and connect again.")


def lock_words(lock: str) -> str:
    """Return how well the master's time is known."""
    match lock:
        case "waiting":
            return translate("run", "no timecode yet")
        case "located":
            return translate("run", "standing")
        case "locking":
            return translate("run", "locking")
        case "locked":
            return translate("run", "locked")
        case "freewheel":
            return translate("run", "missing, going on")
        case "lost":
            return translate("run", "lost")
        case _:
            return lock


def clock_name(clock: ClockChoice) -> str:
    """Return what a clock is called."""
    match clock:
        case "own":
            return translate("run", "own clock")
        case "music":
            return translate("run", "the project's music")
        case "mtc":
            return translate("run", "MIDI timecode (MTC)")
        case "ltc":
            return translate("run", "linear timecode (LTC)")
        case "clock":
            return translate("run", "MIDI clock")
        case "osc":
            return translate("run", "own clock, started by OSC")
