"""The outputs of the run that is connected: what its engine said of them before arming, and says of their links.

It opens nothing. Where the rig's own outputs are the run's and become others, the rig is another one: it is left, and
people must be clear of it anew.
"""

from datetime import datetime
from typing import TYPE_CHECKING

from PyQt6.QtCore import QObject, pyqtSignal

from sequencer.rig.outlet import AtEnd
from sequencer.shell.messages import Said, Status
from sequencer.shell.outlets import Part
from ui.language import translate
from ui.link.choice import rig_words
from ui.link.company import Company
from ui.link.standing import Standing

if TYPE_CHECKING:
    from ui.link.link import Link

_STOPS = ("stopping", "stopped")
_WORST_FIRST: tuple[AtEnd, ...] = ("drop power", "unknown", "decelerate", "hold")


class Outputs(QObject):
    """`whole` has the engine's sentences, `brief` a few words, `trouble` the newest that it said of an output
    whose loss the run outlives.

    `changed` comes after any of them did.
    """

    changed = pyqtSignal()

    def __init__(self, link: "Link") -> None:
        super().__init__(link)
        self._link = link
        self._served: tuple[Part, ...] = ()
        self._reached = link.desk.project.rig.outlets
        self.whole: tuple[str, ...] = ()
        self.trouble = ""
        self._stopped = False
        link.said.connect(self._heard)
        link.standing.connect(self._stand)
        link.status.connect(self._reset)
        link.desk.changed.connect(self._look)
        link.desk.opened.connect(self._look)

    @property
    def rig_name(self) -> str:
        """Where the chosen rig is, short enough for a line."""
        return rig_words(self._link.choice.rig, self._link.desk.project.rig)

    @property
    def number(self) -> str:
        """How many outputs there are, in words."""
        n = len(self._served)
        return translate("run", "1 output") if n == 1 else translate("run", "{n} outputs").format(n=n)

    @property
    def worst(self) -> AtEnd | None:
        """The most harmful that a device does when setpoints end; None before an engine has told of its outputs."""
        found = self._found
        return next((one for one in _WORST_FIRST if one in found), None) if self.whole else None

    @property
    def brief(self) -> str:
        """What the devices do when setpoints end, and how many outputs may be lost without a stop."""
        if not self.whole:
            return ""
        words, ends = [], ", ".join(end_words(one) for one in _WORST_FIRST if one in self._found)
        if ends:
            words.append(translate("run", "When setpoints end: {ends}.").format(ends=ends))
        lost = sum(part.on_loss == "go on" for part in self._driving)
        if lost:
            words.append(translate("run", "Lost without a stop: {number}.").format(number=lost))
        return " ".join(words)

    @property
    def _found(self) -> set[AtEnd]:
        """What the devices do when setpoints end: as their builder found out, else as their kind says."""
        ends = ((part.outlet.at_end, part.kind.at_end) for part in self._driving)
        return {own if own != "unknown" else usual for own, usual in ends}

    @property
    def _let_go(self) -> list[str]:
        """The addresses of the outputs whose loss the run outlives."""
        return [part.outlet.address for part in self._served if part.on_loss == "go on"]

    @property
    def _driving(self) -> list[Part]:
        return [part for part in self._served if part.kind.drives]

    def begin(self, company: Company) -> None:
        """Take in which outputs another run has; what is told of them comes from its engine."""
        self._served, self.whole, self.trouble = company.served, (), ""
        self.changed.emit()

    def _heard(self, said: Said) -> None:
        if said.code == "output":
            self.whole = (*self.whole, said.text)
        elif said.code == "link" and any(address in said.text for address in self._let_go):
            # that it is over may not be told before a reset: so it is said when it was
            self.trouble = f"{datetime.now():%H:%M:%S}  {said.text}"
        else:
            return
        self.changed.emit()

    def _stand(self, standing: Standing) -> None:
        if standing.state == "offline" and self._served:
            self._served, self.whole, self.trouble = (), (), ""
            self.changed.emit()

    def _reset(self, status: Status) -> None:
        """Forget what was told of an output at a reset: what is still wrong with it holds the whole rig now."""
        before, self._stopped = self._stopped, status.phase in _STOPS
        if before and not self._stopped and self.trouble:
            self.trouble = ""
            self.changed.emit()

    def _look(self) -> None:
        before, self._reached = self._reached, self._link.desk.project.rig.outlets
        if before == self._reached or self._link.choice.rig:
            return
        if self._link.connected:
            self._link.leave()
        self._link.clear(False)


def end_words(at_end: AtEnd) -> str:
    """Return in a word or two what a device does when setpoints end."""
    return {
        "hold": translate("run", "holds"),
        "decelerate": translate("run", "slows down"),
        "drop power": translate("run", "POWER OFF"),
        "unknown": translate("run", "not known"),
    }[at_end]
