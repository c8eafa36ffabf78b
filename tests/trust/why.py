"""Which causes of a stop are true: for each that the engine gives, what must have happened before.

Words that are not in the table have no reason that anybody here gave, and are a fault of the engine's.
"""

from tests.trust.masters import FREEWHEEL_S

_LINK = frozenset({"link cut", "link lossy", "link slow", "rig mute", "rig deaf", "rig mad", "port vanished"})
_MACHINE = frozenset({"machine sleeps", "engine late"})
_RIG = _LINK | {"axis stalled", "rig lying", "rig reset", "rig pushed", "answers doubled"}
_TIME = frozenset({
    "timecode lost", "timecode garbled", "timecode doubled", "timecode ends", "timecode jumps",
    "timecode of another speed", "timecode backward", "music stops",
})  # fmt: skip

REASONS: dict[str, frozenset[str]] = {
    "the operator pressed stop": frozenset({"stop"}),
    "OSC /stop asked for it": frozenset({"stop by a stranger", "flood"}),
    "stop was pressed on a game controller": frozenset({"hands", "stop on a pad"}),
    "the operator's program has ended": frozenset({"program ends", "writer killed"}),
    "the operator's program has not answered": frozenset({"program hangs"}),
    "the operator's program quits": frozenset({"quit"}),
    "ms late with a setpoint": _MACHINE,
    "this machine stood still": _MACHINE,
    "the rig has not answered": _LINK | _MACHINE,
    "the port is": frozenset({"port vanished"}),
    "the link to": _LINK | _MACHINE,
    "the rig is not where it was sent": _RIG | _MACHINE,
    "the rig cannot do what is asked": _TIME | _MACHINE,
    "timecode is": _TIME | {"order", "clock halted", "flood"},
    "timecode jumped": _TIME,
    "timecode runs": _TIME,
    "the clock was": frozenset({"order", "clock halted", "flood"}),
    "OSC /run/stop asked for it": frozenset({"order", "clock halted", "flood"}),
}
# somebody asks for these, and is obeyed at once: each has its own deed, just before
ASKED = frozenset({
    "the operator pressed stop", "OSC /stop asked for it", "stop was pressed on a game controller",
    "the operator's program has ended",
})  # fmt: skip
# by which somebody else chooses where the rig goes
TRIGGERS = frozenset({"order", "trigger chooses", "flood"})
# not counted on in any number of takes: a master must be followed, and still ask for more than the axes can do for long
SELDOM = frozenset({"the rig cannot do what is asked"})
_LOST = "timecode lost for longer"
CAUSES = (_LOST, *REASONS)


def kind(cause: str) -> str:
    """Return which of the causes it is that are known here, or the words themselves."""
    return next((words for words in CAUSES if words in cause), cause)


def reason(cause: str, thrown: set[str], quiet_ns: int) -> bool:
    """Whether what must have happened before this cause did happen; `quiet_ns`: for how long no timecode came."""
    if _LOST in cause:
        return quiet_ns > 0.8 * FREEWHEEL_S * 1e9 or bool(thrown & (_TIME | _MACHINE))
    needed = [known for words, known in REASONS.items() if words in cause]
    return bool(needed) and all(known & thrown for known in needed)
