"""Why the rig cannot be armed or driven, and why what is armed must not stay so; and how a take was kept: in words.

It arms and stops nothing.
"""

from typing import Protocol

from sequencer.shell.messages import Kept, Status
from ui.language import translate
from ui.link.choice import Choice
from ui.link.standing import Standing

_PLAYING = ("running", "freewheeling")
_ARMED = ("locating", "ready", *_PLAYING)
DROPPED_NS = 30_000_000_000
_LAPSED_NS = 15_000_000_000  # an order to arm that nobody has answered


class Run(Protocol):
    """What is known of a run: how the rig stands, the engine's newest status, and what was chosen."""

    now: Standing
    newest: Status | None
    choice: Choice


def refusal(now: Standing, *, connected: bool, cleared: bool, drafting: bool) -> str:
    """Return why the rig cannot be armed now; empty where it can. `cleared`: the operator says that people are."""
    why = _unready(now, connected=connected, cleared=cleared)
    if why:
        return why
    if not now.can_arm:
        return translate("run", "it is armed already; stop it first")
    return translate("run", "end the edit that goes on first") if drafting else ""


def undriven(now: Standing, *, connected: bool, cleared: bool, same_rig: bool) -> str:
    """Return why axes cannot be driven by hand now; empty where they can. `same_rig`: the engine has the desk's rig."""
    why = _unready(now, connected=connected, cleared=cleared)
    if why:
        return why
    if not now.can_drive:
        return translate("run", "it is armed, or moves; stop it first")
    return "" if same_rig else translate("run", "the rig was changed in the setup; disconnect, and connect again")


def performed(run: Run) -> tuple[str, ...]:
    """Return the axes that hands perform in what is armed or plays; none where no such thing is, or is not sure."""
    sure = run.now.state in ("armed", "moving") and not run.now.stale
    return run.choice.by_hand if sure and run.newest is not None and run.newest.phase in _ARMED else ()


def punched(status: Status | None) -> bool:
    """Whether hands have, at this moment, the axes that they perform."""
    return status is not None and status.phase in _PLAYING and status.punched


def _unready(now: Standing, *, connected: bool, cleared: bool) -> str:
    if not connected:
        return translate("run", "connect a rig first")
    if now.errand:
        return translate("run", "an axis is being homed; wait, or stop it")
    if now.real and not cleared:
        return translate("run", "tick first, on the page Run, that people are clear")
    if now.stale:
        return translate("run", "the engine does not report; wait, or connect again")
    return translate("run", "reset first") if now.state == "stopped" else ""


def dropped(
    now: Standing, phase: str, *, pending: bool, homing: bool, attended: bool, counting: bool, waited_ns: int
) -> str:
    """Return why what is armed and does not move yet must not stay armed, or what is homed go on; or nothing.

    `pending`: the order to arm is on its way. `homing`: an axis is homed from here. `attended`: the editor has the
    keyboard. `waited_ns`: for so long.
    """
    if homing and not attended:
        return translate("run", "the window was left while an axis was homed")
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


def kept_words(kept: Kept) -> str:
    """Return that a take was kept, or what is wrong with it."""
    if kept.trouble:
        return translate("run", "the take {path} is not whole: {why}").format(path=kept.path, why=kept.trouble)
    return translate("run", "kept {path}").format(path=kept.path)
