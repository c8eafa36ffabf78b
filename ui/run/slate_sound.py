"""The slate's beep: a process that plays it, between `begin` and `end`. Without sound the slate only flashes."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from functools import partial
from typing import Any, Protocol

from PyQt6.QtCore import QObject, pyqtSignal

from sequencer.errors import LinkError
from sequencer.shell.companion import companion
from ui.acts.talking import Heard, Talking
from ui.link.company import Aside

_LOOK_MS = 30


class Talk(Heard, Protocol):
    """What is needed of the process that beeps."""

    def say(self, message: dict[str, Any]) -> None: ...


StartSound = Callable[[str, float], AbstractContextManager[Talk]]


def start(device: str, length_s: float) -> AbstractContextManager[Talk]:
    """Start the process that beeps through a sound card; the system's own choice for an empty name."""
    return companion(
        "slate's sound", "sequencer.shell.slate_sound", "--device", device, "--length-s", f"{length_s:.6f}"
    )


class SlateSound(QObject):
    """It can beep at an instant.

    `sounded`: an instant at which a beep began, or None where it did not. `changed`: `device` says through which card,
    empty while it is not known; or `trouble` says why there is none.
    """

    sounded = pyqtSignal(object)
    changed = pyqtSignal()

    def __init__(self, parent: QObject | None = None, *, start: StartSound = start, aside: Aside | None = None) -> None:
        super().__init__(parent)
        self.device = self.trouble = ""
        self._start = start
        self._talking = Talking[Talk](_LOOK_MS, self, aside=aside)
        self._talking.heard.connect(self._take)
        self._talking.failed.connect(self._fail)
        self.look = self._talking.look

    def begin(self, device: str, length_s: float) -> None:
        """Open the card."""
        self.end()
        self._talking.begin(partial(self._start, device, length_s))

    def end(self) -> None:
        """Close it; no beep sounds any more."""
        self._talking.end()
        self.device = self.trouble = ""

    def clap(self, at_ns: int) -> bool:
        """Beep at `at_ns`; return whether that can be."""
        talk = self._talking.talk
        if talk is None or not self.device:
            return False
        try:
            talk.say({"clap": at_ns})
        except LinkError as fault:
            self._talking.fail(str(fault))
            return False
        return True

    def _take(self, lines: list[dict[str, Any]]) -> None:
        for line in lines:
            if "device" in line:
                self.device = str(line["device"])
                self.changed.emit()
            elif "sounded" in line:
                self.sounded.emit(line["sounded"])

    def _fail(self, words: str) -> None:
        self.device, self.trouble = "", words
        self.changed.emit()
