"""Writes the shoot report and the prep sheet, each with what it is asked for. The files open nowhere by themselves."""

from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

from PyQt6.QtGui import QShowEvent
from PyQt6.QtWidgets import QVBoxLayout, QWidget

from ui.acts.handing import Sheet, Source, Tell, prep_sheet, shoot_report
from ui.acts.options import in_sight, labels
from ui.desk import Desk
from ui.language import translate
from ui.panels.fields import Field, Pull, Tick
from ui.panels.hand_over_export import Chosen
from ui.panels.hand_over_parts import Outcome, Picking, Where, button, columns
from ui.panels.job import Job
from ui.panels.typed import typed_number

Names = tuple[str | None, str | None]
Work = Callable[[Source, Names, Path, bool], Callable[[Tell], tuple[str, ...]]]


class DocumentForm(QWidget):
    """What both documents have: a cue and a pass, where they go, a button, and what came of it.

    `rows` are what only this one asks. `work` returns what writes it and tells what must be known, by where the project
    is, the cue and the pass, the file, and whether one that is there may go; it raises ValueError in words.
    """

    def __init__(
        self, desk: Desk, pick: Picking, words: tuple[str, str, str], rows: Iterable[QWidget], work: Work
    ) -> None:
        super().__init__()
        title, do, usual = words
        self._desk, self._usual, self._work = desk, usual, work
        self._job: Job | None = None
        self.setAccessibleName(title)
        self.cue = Pull(desk, labels()["--cue"], (), lambda _: None, "")
        self.run = Pull(desk, labels()["--pass"], (), lambda _: None, "")
        means = translate("hand over", "NAME.pdf to print or to file, NAME.html to read.")
        self.where = Where(desk, pick, title, means)
        self.write = button(do, self.hand)
        self.cancel = button(translate("hand over", "Cancel"), self.give_up)
        self.cancel.hide()
        self.outcome = Outcome(desk, title, self.write, self.cancel)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(columns(title, (*rows, self.cue, self.run, self.where), self.outcome))
        desk.opened.connect(self._begin)
        self._begin()

    @property
    def busy(self) -> bool:
        """Whether it is being written."""
        return self._job is not None

    def showEvent(self, event: QShowEvent | None) -> None:
        super().showEvent(event)
        self.follow()

    def _begin(self) -> None:
        """Another project is on the desk."""
        self.give_up()
        self.outcome.say("")
        self.outcome.tell(())
        self.follow()

    def follow(self) -> None:
        """Offer the cues and passes that there are, and a usual name."""
        project = self._desk.project
        for pull, names in ((self.cue, project.move.cues), (self.run, project.move.passes)):
            texts = [translate("hand over", "all"), *(one.name for one in names)]
            before = pull.box.currentText()
            pull.show_texts(texts)
            pull.box.setCurrentIndex(texts.index(before) if before in texts else 0)
        plain = "-".join(project.name.replace("/", " ").split())
        self.where.show_usual(f"{plain}_{self._usual}.pdf")

    @property
    def names(self) -> Names:
        """The cue and the pass that are chosen, None for all."""
        first, second = (
            pull.box.currentText() if pull.box.currentIndex() > 0 else None for pull in (self.cue, self.run)
        )
        return first, second

    def hand(self) -> None:
        """Write it, beside the window."""
        desk = self._desk
        whose = desk.history.now if desk.dirty or desk.folder is None else desk.folder
        self.outcome.refuse("")
        self.outcome.tell(())
        try:
            source, file = Source(folder=desk.folder, whose=whose), self.where.file
            work = self._work(source, self.names, file, self.where.replaces)
        except ValueError as fault:
            self.outcome.refuse(str(fault))
            return
        job = Job(work, self)
        job.done.connect(lambda told: self._written(file, told))
        job.failed.connect(self._failed)
        job.told.connect(lambda share: self.outcome.say(translate("hand over", "{n} %").format(n=round(100 * share))))
        self.outcome.say(translate("hand over", "Writing {file}…").format(file=file.name))
        self._job = job.start()
        self._enable()

    def _written(self, file: Path, told: tuple[str, ...]) -> None:
        self._job = None
        words = translate("hand over", "Written: {file}").format(file=file)
        self.outcome.say(words)
        self.outcome.tell(f"– {in_sight(one)}" for one in told)
        self._desk.note(words, "done")
        self._enable()

    def _failed(self, words: str) -> None:
        self._job = None
        self.outcome.say("")
        self.outcome.refuse(in_sight(words))
        self._enable()

    def give_up(self) -> None:
        """Want it no longer; nothing is written."""
        if self._job is not None:
            self._job.cancel()
            self._job = None
            self.outcome.say(translate("hand over", "Cancelled; nothing was written."))
        self._enable()

    def _enable(self) -> None:
        self.write.setEnabled(self._job is None)
        self.cancel.setVisible(self._job is not None)


class ReportForm(QWidget):
    """The shoot report: of all takes, or of those that are chosen on the page Takes."""

    def __init__(self, desk: Desk, pick: Picking, chosen: Chosen) -> None:
        super().__init__()
        self._chosen = chosen
        words = translate("hand over", "those chosen on the page Takes")
        texts = (translate("hand over", "all of them"), words)
        means = translate("hand over", "Settings, limits used, faults, and how well takes match, with plots.")
        self.which = Pull(desk, translate("hand over", "Takes"), texts, lambda _: None, means, is_long=True)
        title, do = translate("hand over", "Shoot report"), translate("hand over", "Write the report")
        self.document = DocumentForm(desk, pick, (title, do, "shoot-report"), (self.which,), self._work)
        _fill(self, self.document)

    def _work(self, source: Source, names: Names, out: Path, force: bool) -> Callable[[Tell], tuple[str, ...]]:
        takes = [one.path for one in self._chosen()] if self.which.box.currentIndex() else []
        if self.which.box.currentIndex() and not takes:
            raise ValueError(translate("hand over", "no take is chosen on the page Takes; choose some, or report all"))
        return lambda tell: shoot_report(source, takes, names, out, force, tell)


class PrepForm(QWidget):
    """The prep sheet for the crew."""

    def __init__(self, desk: Desk, pick: Picking) -> None:
        super().__init__()
        self._sheet = Sheet()
        means = translate(
            "hand over",
            "From where pan, tilt and roll meet to the furthest part that moves with them: measure it, with the lens "
            "of the day. Empty: no keep-clear area is drawn.",
        )
        self.reach = Field(desk, labels()["--reach-m"], self._take_reach, means, "m")
        means = translate("hand over", "More around that, as who is responsible decides.")
        self.margin = Field(desk, translate("hand over", "Margin"), self._take_margin, means, "m")
        words = translate("hand over", "all axes can do")
        means = translate("hand over", "Wherever the axes can go, not where the move takes them.")
        self.travel = Tick(desk, translate("hand over", "Whole travel"), self._take_travel, means, words)
        title, do = translate("hand over", "Prep sheet"), translate("hand over", "Write the prep sheet")
        rows = (self.reach, self.margin, self.travel)
        self.document = DocumentForm(desk, pick, (title, do, "prep-sheet"), rows, self._work)
        desk.opened.connect(self._forget)
        _fill(self, self.document)

    def _forget(self) -> None:
        """Another rig has another reach."""
        self._sheet = Sheet()
        self.reach.show_anew("")
        self.margin.show_anew("")
        self.travel.show_tick(False)

    def _take_reach(self, text: str) -> None:
        self._put(reach_m=_metres(text) if text.strip() else None)

    def _take_margin(self, text: str) -> None:
        self._put(margin_m=_metres(text) if text.strip() else 0.0)

    def _take_travel(self, ticked: bool) -> None:
        self._put(whole_travel=ticked)

    def _put(self, **values: Any) -> None:
        self._sheet = replace(self._sheet, **values)

    def _work(self, source: Source, names: Names, out: Path, force: bool) -> Callable[[Tell], tuple[str, ...]]:
        sheet = replace(self._sheet, cue=names[0], run=names[1])
        return lambda _: prep_sheet(source, sheet, out, force)


def _metres(text: str) -> float:
    return typed_number(text, "m")


def _fill(whole: QWidget, part: QWidget) -> None:
    lines = QVBoxLayout(whole)
    lines.setContentsMargins(0, 0, 0, 0)
    lines.addWidget(part)
