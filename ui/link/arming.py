"""Why the rig cannot be armed, and why what is armed must not stay so; in words with the mend.

It arms and stops nothing.
"""

from ui.language import translate
from ui.link.standing import Standing

DROPPED_NS = 30_000_000_000
_LAPSED_NS = 15_000_000_000  # an order to arm that nobody has answered


def refusal(now: Standing, *, connected: bool, cleared: bool, drafting: bool) -> str:
    """Return why the rig cannot be armed now; empty where it can. `cleared`: the operator says that people are."""
    if not connected:
        return translate("run", "connect a rig first")
    if now.real and not cleared:
        return translate("run", "say first that people are clear and the hard-wired stop is in reach")
    if now.stale:
        return translate("run", "the engine does not report; wait, or connect again")
    if now.state == "stopped":
        return translate("run", "reset first")
    if not now.can_arm:
        return translate("run", "it is armed already; stop it first")
    return translate("run", "end the edit that goes on first") if drafting else ""


def dropped(now: Standing, phase: str, *, pending: bool, attended: bool, counting: bool, waited_ns: int) -> str:
    """Return why what is armed and does not move yet must not stay armed, or nothing.

    `pending`: the order to arm is on its way. `attended`: the editor has the keyboard. `waited_ns`: for so long.
    """
    ready = phase == "ready"
    if pending and waited_ns > _LAPSED_NS:
        return translate("run", "disarmed: the engine has not answered to the order")
    if not (ready or pending):
        return ""
    if not attended:
        return translate("run", "disarmed: the window was left before the move began")
    if ready and now.stale:
        return translate("run", "disarmed: the engine does not report")
    if ready and now.can_start and not counting and waited_ns > DROPPED_NS:
        return translate("run", "disarmed: not started within 30 seconds")
    return ""
