"""`twintake play --remote` stays until Ctrl-C: after a stop it asks before it goes on, as `drive` does."""

import math
import time
from typing import NoReturn

import typer
from rich.prompt import Confirm
from rich.text import Text

from sequencer.cli.exits import LINK, console
from sequencer.playback.state import Phase
from sequencer.shell.crew import CrewFailed
from sequencer.shell.messages import Arm, Reset, Status
from sequencer.shell.shoot import Watch

_RESET_S = 2.0  # for the engine's next tick, with room


def stay(watch: Watch, order: Arm, patience_s: float, caution: str) -> NoReturn:
    """Arm and let triggers choose, for as long as the operator wants it.

    A stop stays latched until somebody at this terminal resets it; then the rig is armed anew, by the same question.
    Error: CrewFailed where the order is refused or not answered, and where nobody can be asked.
    """
    while True:
        watch.arm(order)
        _until_stopped(watch, patience_s)
        _ask_on(watch, caution)


def _until_stopped(watch: Watch, patience_s: float) -> None:
    """Look on until the rig is stopped. Error: CrewFailed where it does not even set out."""
    deadline_s = time.monotonic() + patience_s
    while (status := watch.look()) is None or status.phase != Phase.STOPPED:
        if watch.been_ready or (status is not None and status.phase != Phase.IDLE):
            deadline_s = math.inf
        if time.monotonic() > deadline_s:
            raise CrewFailed(f"the engine has not armed within {patience_s:.0f} s; is the machine very busy?")


def _ask_on(watch: Watch, caution: str) -> None:
    """Return once the operator has reset; asked again where it stops, or the rig is away, by then.

    While the rig is away nothing is asked: it could not be reset.
    """
    while (status := watch.look()) is None or status.phase != Phase.IDLE:
        if status is None or status.link == "down":
            continue
        console.print(caution, style="bold")
        if not _yes(status):
            raise typer.Exit(LINK)
        watch.been_ready = True  # a reset that is refused ends nothing: it is asked again
        watch.crew.tell(Reset())
        until_s = time.monotonic() + _RESET_S
        while time.monotonic() < until_s and ((now := watch.look()) is None or now.phase != Phase.IDLE):
            pass


def _yes(status: Status) -> bool:
    try:
        question = f"Stopped: {status.cause}. Reset, arm again and move to the start?"
        # as plain text: a cause may name a port, which may have brackets in its name
        return Confirm.ask(Text(question), console=console, default=False)
    except EOFError:
        why = "nobody can be asked here, and only an operator may reset it; start it again in a terminal"
        raise CrewFailed(f"stopped: {status.cause}. It stays stopped: {why}") from None
