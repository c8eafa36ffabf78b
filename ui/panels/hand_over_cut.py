"""What would come of a cut, a song or a recording, as a table; then it is taken as one step, or not.

It refuses to take a file of another frame rate before the operator has said how.
"""

from fractions import Fraction

from PyQt6.QtGui import QShowEvent
from PyQt6.QtWidgets import QAbstractItemView, QVBoxLayout, QWidget

from sequencer.export.placed import Asked
from sequencer.shell.cut_in import CutIn, Taken, label, rows
from ui.acts.bringing import Brought, other_counting, placed
from ui.acts.judging import Judging
from ui.acts.options import fault_words, in_sight, labels
from ui.desk import Desk
from ui.language import translate
from ui.panels.fields import Field, Tick
from ui.panels.hand_over_parts import Outcome, button, columns
from ui.panels.tables import plain_table, put_row
from ui.panels.typed import Times, typed_instant, typed_length

_MOST_ROWS = 500  # that are shown; all are taken
_TABLE_PX = 140


class CutForm(QWidget):
    """For one file at a time."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._of: Brought | None = None
        self._at: Fraction | None = None
        self._offset = Fraction(0)
        self.done: CutIn | None = None
        self.judging: Judging[CutIn] = Judging(self._tell, self._untold, self)
        title = translate("hand over", "What comes of the file")
        self.setAccessibleName(title)
        self._build()
        titles = [translate("hand over", one) for one in ("what", "name", "at", "to", "becomes")]
        self.table = plain_table(title, titles)
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.NoSelection)
        self.table.setMinimumHeight(_TABLE_PX)
        self.take = button(
            translate("hand over", "Take it"), self.take_it, translate("hand over", "Take what is shown")
        )
        self.outcome = Outcome(desk, title, self.take, between=(self.table,))
        rows_asked = (self.other, self.markers, self.cues, self.tempo, self.place, self.begins, self.later)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(columns(title, rows_asked, self.outcome, 46))
        desk.changed.connect(self._follow)
        desk.faced.connect(self._enable)

    def _build(self) -> None:
        desk, named = self._desk, labels()

        def tick(option: str, words: str, means: str) -> Tick:
            return Tick(desk, named.get(option, option), lambda _: self._anew(), means, words)

        self.other = tick(
            "--convert",
            translate("hand over", "keep real time"),
            translate("hand over", "It counts otherwise than the project: each instant keeps its real time."),
        )
        self.markers = tick(translate("hand over", "Markers"), translate("hand over", "take them"), "")
        self.cues = tick("--cues", translate("hand over", "make them"), translate("hand over", "A cue of each shot."))
        self.tempo = tick(
            "--tempo", translate("hand over", "take it"), translate("hand over", "Keys stay where they are.")
        )
        means = translate("hand over", "The project's playback begins where this recording says.")
        self.place = tick("--place", translate("hand over", "set it"), means)
        means = translate("hand over", "Where its beginning falls; empty for where it says, or the project's start.")
        self.begins = Field(desk, named["--at"], self._take_at, means)
        means = translate("hand over", "Everything, such as 2 f or 1 s; below zero earlier.")
        self.later = Field(desk, named["--offset"], self._take_offset, means)

    @property
    def busy(self) -> bool:
        """Whether it is being placed."""
        return self.judging.worker.at_work

    def show_cut(self, of: Brought) -> None:
        """Look at another file, or the same at another rate."""
        another = self._of is None or self._of.file != of.file
        self._of, cut = of, of.cut
        assert cut is not None
        self.other.setVisible(other_counting(of, self._desk.project))
        for row, there in (
            (self.markers, bool(cut.markers)),
            (self.cues, bool(cut.shots)),
            (self.tempo, cut.tempo is not None),
            (self.place, cut.start is not None and self._playback(of)),
        ):
            row.setVisible(there)
            if another or not there:
                row.show_tick(there and row is self.markers)
        if another:
            self.other.show_tick(False)
            self._at, self._offset = None, Fraction(0)
            self.begins.show_anew("")
            self.later.show_anew("")
        self.outcome.say("")
        self.look()

    def _playback(self, of: Brought) -> bool:
        """Whether the file is the project's playback: only that is placed by its own timecode."""
        folder, playback = self._desk.folder, self._desk.project.playback
        return folder is not None and playback is not None and (folder / playback.file).resolve() == of.file.resolve()

    @property
    def _times(self) -> Times:
        project = self._desk.project
        return Times(timebase=project.timebase, tempo=project.tempo, counted=self._desk.counted)

    def _take_at(self, text: str) -> None:
        self._at = typed_instant(text, self._times) if text.strip() else None
        self._anew()

    def _take_offset(self, text: str) -> None:
        self._offset = typed_length(text, self._times) if text.strip() else Fraction(0)
        self._anew()

    @property
    def asked(self) -> Asked:
        """Where it is to be placed: another rate is shown converted, and only taken so when that is ticked."""
        return Asked(at=self._at, offset=self._offset, convert=True)

    @property
    def taken(self) -> Taken:
        return Taken(
            markers=self.markers.box.isChecked(),
            cues=self.cues.box.isChecked(),
            tempo=self.tempo.box.isChecked(),
            place=self.place.box.isChecked(),
        )

    def _anew(self) -> None:
        self.outcome.say("")
        self.look()

    def look(self) -> None:
        """Place it anew, beside the window."""
        of, desk = self._of, self._desk
        if of is None:
            return
        folder, project, asked, taken = desk.folder, desk.history.now, self.asked, self.taken
        self.judging.ask(lambda: placed(of, folder, project, asked, taken))

    def showEvent(self, event: QShowEvent | None) -> None:
        super().showEvent(event)
        self.look()

    def _follow(self) -> None:
        if self.isVisible() and not self._desk.drafting:
            self.look()

    def _tell(self, done: CutIn) -> None:
        of = self._of
        assert of is not None
        self.done = done
        found = rows(done)
        self.table.setRowCount(min(len(found), _MOST_ROWS))
        for row, cells in enumerate(found[:_MOST_ROWS]):
            put_row(self.table, row, cells)
        words = translate("hand over", "{file} begins at {at}.")
        lines = [words.format(file=of.file.name, at=label(done.new.timebase, done.placed.start))]
        if len(found) > _MOST_ROWS:
            more = translate("hand over", "{more} more are not shown, and taken as well.")
            lines.append(more.format(more=len(found) - _MOST_ROWS))
        if done.new == done.old:
            lines.append(translate("hand over", "There is nothing to change."))
        lines += [f"– {in_sight(word)}" for word in done.remarks]
        self.outcome.tell(lines)
        self.outcome.refuse(self._undecided() if not self.outcome.done.text() else "")
        self._enable()

    def _undecided(self) -> str:
        """Say what must be chosen before it can be taken; empty where nothing must."""
        of = self._of
        if of is None or self.other.box.isChecked() or not other_counting(of, self._desk.project):
            return ""
        words = translate(
            "hand over", "It counts otherwise than the project. Tick “{other}” to take it so, or choose “{rate}”."
        )
        return words.format(other=labels()["--convert"], rate=labels()["--rate"])

    def _untold(self, fault: Exception) -> None:
        self.done = None
        self.table.setRowCount(0)
        self.outcome.tell(())
        self.outcome.refuse(fault_words(fault))
        self._enable()

    def _enable(self) -> None:
        done = self.done
        changes = done is not None and done.new != done.old
        self.take.setEnabled(changes and not self._undecided() and not self._desk.locked)

    def take_it(self) -> None:
        """Make what is shown the document, as one step."""
        of, desk = self._of, self._desk
        if of is None or self._undecided():
            return
        words = translate("hand over", "taken from {file}").format(file=of.file.name)
        folder, asked, taken = desk.folder, self.asked, self.taken
        if desk.attempt(words, lambda now: placed(of, folder, now, asked, taken).new):
            self.outcome.say(translate("hand over", "Taken: one step, which undo takes back."))
