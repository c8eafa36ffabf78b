"""Copies the project with all it needs, for another machine or another person: whole, or not there."""

from pathlib import Path

from PyQt6.QtWidgets import QProgressBar, QVBoxLayout, QWidget

from sequencer.project.copying import WHICH, Copied
from sequencer.project.copying import copy as copy_project
from sequencer.project.library import size_words
from ui.acts.asking import Pick
from ui.acts.files import Files
from ui.acts.options import in_sight
from ui.desk import Desk
from ui.language import translate
from ui.panels.fields import Pull, Told
from ui.panels.hand_over_parts import Outcome, Picking, button, columns
from ui.panels.job import Job


class CopyForm(QWidget):
    """`files` saves what is not saved yet: the copy is made of the files."""

    def __init__(self, desk: Desk, files: Files, pick: Picking) -> None:
        super().__init__()
        self._desk, self._files, self._pick = desk, files, pick
        self._job: Job | None = None
        title = translate("hand over", "Copy of the project")
        self.setAccessibleName(title)
        words = translate(
            "hand over",
            "The project, its rig and its playback go into a new folder, with the takes that you say and their notes. "
            "Each file is read back and compared; nothing is left half.",
        )
        takes = (
            translate("hand over", "circled ones"),
            translate("hand over", "all"),
            translate("hand over", "none"),
        )
        assert len(takes) == len(WHICH)
        self.takes = Pull(desk, translate("hand over", "Takes"), takes, lambda _: None, "")
        self.choose = button("", self.ask_folder)
        self.cancel = button(translate("hand over", "Cancel"), self.give_up)
        self.progress = QProgressBar()
        self.progress.setRange(0, 100)
        self.progress.setAccessibleName(translate("hand over", "How far the copy is"))
        self.outcome = Outcome(desk, title, self.choose, self.cancel, self.progress)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(columns(title, (Told(desk, words), self.takes), self.outcome))
        desk.changed.connect(self._enable)
        desk.opened.connect(self._begin)
        self._begin()

    @property
    def busy(self) -> bool:
        """Whether it is being copied."""
        return self._job is not None

    def _begin(self) -> None:
        self.give_up()
        self.outcome.say("")
        self.outcome.tell(())

    def ask_folder(self) -> None:
        """Have a folder chosen, and copy the project there; what is not saved is saved first."""
        if self._desk.dirty or self._desk.folder is None:
            self._files.save(self._choose)
        else:
            self._choose()

    def _choose(self) -> None:
        folder = self._desk.folder
        if folder is None:
            return
        title = translate("hand over", "Copy the project into a folder (a new one, or an empty one)")
        self._pick(Pick(title, "folder", self.copy, folder.resolve().parent))

    def copy(self, to: Path) -> None:
        """Copy the project, beside the window."""
        folder, laws = self._desk.folder, self._desk.laws
        if folder is None or self._job is not None:
            return
        which = WHICH[max(0, self.takes.box.currentIndex())]
        job = Job(lambda tell: copy_project(folder, to, which, laws, tell), self)
        job.done.connect(self._copied)
        job.failed.connect(self._failed)
        job.told.connect(lambda share: self.progress.setValue(round(100 * share)))
        self.outcome.refuse("")
        self.outcome.tell(())
        self.outcome.say(translate("hand over", "Copying to {folder}…").format(folder=to))
        self.progress.setValue(0)
        self._job = job.start()
        self._enable()

    def _copied(self, done: object) -> None:
        assert isinstance(done, Copied)
        self._job = None
        words = translate("hand over", "Copied to {folder}: {files} files, {size}, {takes} takes among them.")
        words = words.format(
            folder=done.folder, files=len(done.files), size=size_words(done.bytes), takes=len(done.takes)
        )
        self.outcome.say(words)
        left = translate("hand over", "Not in it, since the project does not need it: {names}.")
        told = [left.format(names=translate("hand over", ", ").join(done.left))] if done.left else []
        self.outcome.tell((*done.remarks, *told))
        self._desk.note(words, "done")
        self._enable()

    def _failed(self, words: str) -> None:
        self._job = None
        self.outcome.say("")
        self.outcome.refuse(in_sight(words))
        self._enable()

    def give_up(self) -> None:
        """Want no copy any more: nothing of it is there then."""
        if self._job is not None:
            self._job.cancel()
            self._job = None
            self.outcome.say(translate("hand over", "Cancelled; there is no copy."))
        self._enable()

    def _enable(self) -> None:
        saved = not self._desk.dirty and self._desk.folder is not None
        words = translate("hand over", "Copy to a folder…") if saved else translate("hand over", "Save, and copy to…")
        self.choose.setText(words)
        self.choose.setAccessibleName(words)
        self.choose.setEnabled(self._job is None)
        self.cancel.setVisible(self._job is not None)
        self.progress.setVisible(self._job is not None)
