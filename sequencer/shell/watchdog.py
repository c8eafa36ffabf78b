"""The watchdog process: when the engine's heart stands still, it ends the engine and tells the rig to stop.

It is no safety device: it is software on the same machine. See docs/safety.md.
"""

import contextlib
import os
import signal
import sys
import time
from pathlib import Path

from sequencer.errors import LinkError
from sequencer.shell.child import join
from sequencer.shell.kinds import open_output
from sequencer.shell.memory import Page
from sequencer.shell.messages import Failed

PERIOD_S = 0.01
LIMIT_S = 0.1
RESTING = -1  # the beat of an engine that ended in order


class Pulse:
    """Counts how long a beat has stood still, by wakes that were themselves on time.

    A machine that pauses as a whole (a lid that closes, a busy host) stops the watchdog too; its long sleep then counts
    as one period, so that a healthy engine gets the chance to beat again.
    """

    def __init__(self) -> None:
        self._beat = 0
        self._wakes = 0

    def still_s(self, beat: int) -> float:
        """Return for how long `beat` has not changed, when asked once a period."""
        self._wakes = self._wakes + 1 if beat == self._beat and beat > 0 else 0
        self._beat = beat
        return self._wakes * PERIOD_S


def main(folder: Path) -> None:
    child = join(folder, "watchdog")
    page = Page(folder / "page")
    pulse = Pulse()
    with open_output(child.setup.output, child.rig) as output:
        while not child.control.gone:
            time.sleep(PERIOD_S)
            child.control.read()
            beat = page.word(Page.ENGINE_BEAT)
            page.set_word(Page.WATCHDOG_BEAT, time.monotonic_ns())
            if beat == RESTING:
                return
            if pulse.still_s(beat) < LIMIT_S:
                continue
            # the engine must not wake up again and overrule the stop
            with contextlib.suppress(OSError):
                os.kill(page.word(Page.ENGINE_PID), getattr(signal, "SIGKILL", signal.SIGTERM))
            with contextlib.suppress(LinkError):
                output.stop()
            page.ask_stop()
            text = "the engine stood still for 0.1 s; the watchdog ended it and told the rig to stop"
            child.control.say(Failed(text, 3))
            return


if __name__ == "__main__":
    main(Path(sys.argv[1]))
