"""The game controllers of this machine, watched while a page shows them, and which operator has which.

It drives nothing: an engine reads the pads by itself.
"""

from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import Any

from PyQt6.QtCore import QObject, pyqtSignal

from sequencer.errors import LinkError
from sequencer.live.handling import Handling
from sequencer.live.hands import begin, feel
from sequencer.live.pads import lacking
from sequencer.rig.axis import Rig
from sequencer.shell.companion import companion
from sequencer.shell.pad_watch import Watched, watched
from ui.acts.talking import Heard, Talking
from ui.language import translate
from ui.link.company import Aside

LOOK_MS = 50
_NOTICES = 3  # that are shown


Start = Callable[[], AbstractContextManager[Heard]]


def start() -> AbstractContextManager[Heard]:
    """Start the process that watches the pads of this machine."""
    return companion("watch of game controllers", "sequencer.shell.pad_watch")


class PadWatch(QObject):
    """Which pads are here and what they say, between `begin` and `end`.

    `seen`: pads said something, came or went: `here`, by their numbers. `trouble` says why none can be watched, and
    `notices` what was said of pads; `looking` whether it is not known yet which are here.
    """

    seen = pyqtSignal()

    def __init__(self, parent: QObject | None = None, *, start: Start = start, aside: Aside | None = None) -> None:
        super().__init__(parent)
        self.here: dict[int, Watched] = {}
        self.trouble = ""
        self.notices: tuple[str, ...] = ()
        self.looking = False
        self._start = start
        self._talking = Talking[Heard](LOOK_MS, self, aside=aside)
        self._talking.heard.connect(self._take_all)
        self._talking.failed.connect(self._fail)
        self.look = self._talking.look

    def begin(self) -> None:
        """Watch from now on."""
        if self._talking.begun:
            return
        self.trouble, self.notices, self.looking = "", (), True
        self._talking.begin(self._start)

    def end(self) -> None:
        """Watch no more; no pad is known to be here then."""
        self._talking.end()
        self.here, self.looking = {}, False

    def _take_all(self, lines: list[dict[str, Any]]) -> None:
        try:
            for line in lines:
                self._take(line)
        except LinkError as fault:
            self._talking.end()
            self._fail(str(fault))
        else:
            self.seen.emit()

    def _take(self, line: dict[str, Any]) -> None:
        if "pad" in line:
            self.looking = False
            seen = watched(line)
            if seen.row.here:
                self.here[seen.row.pad] = seen
            else:
                self.here.pop(seen.row.pad, None)
        elif "notice" in line:
            self.notices = (*self.notices, str(line["notice"]))[-_NOTICES:]
        elif "watching" in line:
            self.looking = False

    def _fail(self, words: str) -> None:
        self.trouble, self.here, self.looking = words, {}, False
        self.seen.emit()


@dataclass(frozen=True, slots=True)
class Assigned:
    """A pad and whose it is: the number of the handling it has, None where it only stops. `lacks`: what is missing."""

    pad: Watched
    place: int | None
    handling: Handling
    lacks: tuple[str, ...]


def assigned(rig: Rig, handlings: tuple[Handling, ...], here: Mapping[int, Watched]) -> tuple[Assigned, ...]:
    """Return whose each pad is, in the order in which they came, as an engine would give them out."""
    hands = begin(rig, handlings)
    left = list(enumerate(handlings))
    found = []
    for number in sorted(here):
        one = here[number]
        hands, _ = feel(hands, one.row, 0)
        handling = hands.pads[-1].handling
        place = next((place for place, each in left if each == handling), None)
        left = [each for each in left if each[0] != place]
        found.append(Assigned(one, place, handling, lacking(rig, handling, one.row)))
    return tuple(found)


def operator(place: int | None) -> str:
    """Return what the operator with this handling is called."""
    if place is None:
        return translate("pads", "nobody's: it only stops the rig")
    named = (translate("pads", "first operator"), translate("pads", "second operator"))
    return named[place] if place < len(named) else translate("pads", "operator {number}").format(number=place + 1)
