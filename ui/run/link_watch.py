"""Has a drop of the link to the rig, and its return, heard: one sound for each, and a sentence for the log."""

from collections.abc import Callable

from PyQt6.QtCore import QObject, pyqtSignal
from PyQt6.QtWidgets import QApplication

from sequencer.shell.messages import Status
from ui.language import translate
from ui.link.link import Link
from ui.link.standing import Standing
from ui.run.link_state import NOTHING, LinkSeen, gone, link_words, see


class LinkWatch(QObject):
    """`told`: a sentence on the link; `changed`: it is up, down or back. `seen` is how it is now."""

    told = pyqtSignal(str)
    changed = pyqtSignal()

    def __init__(self, link: Link, parent: QObject | None = None, *, sound: Callable[[], None] = QApplication.beep):
        super().__init__(parent)
        self._link, self._sound = link, sound
        self._loud = True
        self.seen: LinkSeen = NOTHING
        link.status.connect(self._look)
        link.standing.connect(self._stand)

    def be_loud(self, yes: bool) -> None:
        """Make a sound, or only say it."""
        self._loud = yes

    def _stand(self, standing: Standing) -> None:
        if gone(self._link.newest, standing):
            self._look(None)

    def _look(self, status: Status | None) -> None:
        before, self.seen = self.seen, see(self.seen, status)
        if (before.word, before.dropped) == (self.seen.word, self.seen.dropped):
            return
        if before.word != self.seen.word and "none" not in (before.word, self.seen.word):
            self._tell("down" in (before.word, self.seen.word))
        self.changed.emit()

    def _tell(self, heard: bool) -> None:
        if heard and self._loud:
            self._sound()
        match self.seen.word:
            case "down":
                words = translate("run", "the link to the rig is down; nothing is sent before it is back, and reset")
            case "up":
                words = translate("run", "the link to the rig: {how}").format(how=link_words(self.seen))
            case _:
                words = translate("run", "the rig never answers, so how the link to it is cannot be known")
        self.told.emit(words)
