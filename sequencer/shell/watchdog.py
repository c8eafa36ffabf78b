"""The watchdog process: when the engine's heart stands still, it ends the engine and tells the rig to stop.

It is no safety device: it is software on the same machine. See docs/safety.md.
"""

import contextlib
import os
import signal
import sys
import time
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from functools import partial
from pathlib import Path

from sequencer.adapters.contract import Output
from sequencer.errors import LinkError, ProjectError
from sequencer.shell.child import Child, join
from sequencer.shell.memory import Page
from sequencer.shell.messages import Failed, Quit
from sequencer.shell.outlets import parts
from sequencer.shell.several import opened

Opener = Callable[[], AbstractContextManager[Output]]
PERIOD_S = 0.01
LIMIT_S = 0.1
RESTING = -1  # the beat of an engine that ended in order
UNWATCHED = 0  # of one that does not tick yet, or works something out while nothing moves


class Pulse:
    """Counts how long a beat has stood still, by wakes that were themselves on time.

    A machine that pauses as a whole (a lid that closes, a busy host) stops the watchdog too; its long sleep then counts
    as one period, so that a healthy engine gets the chance to beat again.
    """

    def __init__(self) -> None:
        self._beat = UNWATCHED
        self._wakes = 0

    def still_s(self, beat: int) -> float:
        """Return for how long `beat` has not changed, when asked once a period."""
        self._wakes = self._wakes + 1 if beat == self._beat and beat > UNWATCHED else 0
        self._beat = beat
        return self._wakes * PERIOD_S


def main(folder: Path) -> None:
    child = join(folder, "watchdog")

    try:
        driving = [part for part in parts(child.setup.output, child.rig) if part.kind.drives]
        shared = [part for part in driving if part.kind.shared]
        axes = len(child.rig.axes)
        with opened(shared, axes) as output:
            # one by one: what cannot be opened keeps none of the others from being stopped
            again, freed = (
                [partial(opened, [part], axes) for part in driving if part.kind.shared is may] for may in (True, False)
            )
            watch(child, Page(folder / "page"), output, again, freed)
    except ProjectError as fault:
        child.control.say(Failed(str(fault), 2))
    except LinkError as fault:
        child.control.say(Failed(str(fault), 3))


def watch(child: Child, page: Page, output: Output, again: Sequence[Opener], freed: Sequence[Opener]) -> None:
    """Watch until the engine rests, also when the command has gone: then the engine still brakes.

    `output` is all links that could be opened beside the engine's own, and `again` opens each of them anew; `freed`
    opens the others.
    """
    pulse = Pulse()
    beat, quitting = UNWATCHED, False
    while beat != RESTING and not (quitting and beat == UNWATCHED):
        time.sleep(PERIOD_S)
        page.set_word(Page.WATCHDOG_BEAT, time.monotonic_ns())
        quitting = quitting or Quit() in child.control.read() or child.control.gone
        beat = page.word(Page.ENGINE_BEAT)
        if pulse.still_s(beat) < LIMIT_S:
            continue
        # the engine must not wake up again and overrule the stop
        with contextlib.suppress(OSError):
            os.kill(page.word(Page.ENGINE_PID), getattr(signal, "SIGKILL", signal.SIGTERM))
        _stop(output, again, freed)
        page.ask_stop()
        text = (
            f"the engine stood still for {LIMIT_S:g} s; the watchdog ended it and told the rig to stop. "
            "Look at the rig before you start again"
        )
        child.control.say(Failed(text, 3))
        return


def _stop(output: Output, again: Sequence[Opener], freed: Sequence[Opener]) -> None:
    """Tell the rig to stop, by new links where an old one is gone: the network may have been away and back.

    A link that only one process can have open is free now that the engine is gone.
    """
    anew = list(freed)
    try:
        output.stop()
    except LinkError:
        anew += again
    for opener in anew:
        with contextlib.suppress(LinkError), opener() as link:
            link.stop()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
