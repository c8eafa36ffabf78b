"""Makes keys of what hands performed in a take, shown beside the move before they are taken.

It refuses to change the document by itself, and to show keys for a project that has changed since.
"""

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

from PyQt6.QtCore import Qt, pyqtSignal
from PyQt6.QtWidgets import (
    QAbstractItemView,
    QCheckBox,
    QComboBox,
    QGridLayout,
    QHBoxLayout,
    QProgressBar,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from sequencer.project.document import Project
from sequencer.timebase.instants import labelled
from ui.acts.written import written
from ui.desk import Desk
from ui.label import Label
from ui.language import translate
from ui.panels.capture_axes import CaptureAxes
from ui.panels.capture_plan import Keyed, Performance, Span, Wanted, keyed, opened
from ui.panels.capture_words import cells, lines, notes, titles
from ui.panels.entry import Entry
from ui.panels.fields import Told
from ui.panels.job import Job
from ui.panels.tables import plain_table, put_row
from ui.panels.typed import Mistyped, Times, typed_instant
from ui.theme import GAP_PX

_MOST_GAPS = 4  # that are told one by one
_LEAST_PX = 330  # across: the axes at the left, the answers at the right
_TABLE_PX = 110  # the title and two axes


def _scrolled(part: QWidget) -> QScrollArea:
    """Return the part where it may be lower than it likes."""
    area = QScrollArea()
    area.setWidget(part)
    area.setWidgetResizable(True)
    area.setFrameShape(QScrollArea.Shape.NoFrame)
    area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    area.setMinimumWidth(_LEAST_PX)
    return area


class CapturePanel(QWidget):
    """For one take at a time: axes, how near, which stretch; then a proposal. `left`: back to the takes."""

    left = pyqtSignal()

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._job: Job | None = None
        self._path: Path | None = None
        self._of: Performance | None = None
        self._asked: Project | None = None  # what the keys that are being made, or shown, are for
        self._done: Keyed | None = None
        self._gone = ""  # which axes the rig has no more, in words
        self.setAccessibleName(translate("capture", "Make keys of a performance"))
        self._build()
        self._lay_out()
        desk.changed.connect(self._follow)
        desk.proposed.connect(self._follow_proposal)
        desk.faced.connect(self._enable)
        self._enable()

    # parts

    def _build(self) -> None:
        self.which = Label()
        self.which.setWordWrap(True)
        self.axes = CaptureAxes()
        self.spans = QComboBox()
        self.spans.setAccessibleName(translate("capture", "What hands did in one piece"))
        self.spans.activated.connect(self._show_span)
        self.start = Entry(translate("capture", "From"), translate("capture", "where the keys begin"))
        self.end = Entry(translate("capture", "To"), translate("capture", "where the keys end"))
        self.coasts = QCheckBox(translate("capture", "also where timecode was missing"))
        self.coasts.setAccessibleName(self.coasts.text())
        self.coasts.clicked.connect(self._read_again)
        self.gaps = Told(self._desk)
        self.show_it = self._button(translate("capture", "Show the keys"), self.make)
        self.cancel = self._button(translate("capture", "Cancel"), self.give_up)
        self.take = self._button(translate("capture", "Take it"), self._desk.take_proposal)
        self.leave = self._button(translate("capture", "Leave it"), self._desk.leave_proposal)
        self.back = self._button(translate("capture", "Back to the takes"), self._go_back)
        self.progress = QProgressBar()
        self.progress.setRange(0, 100)
        self.progress.setAccessibleName(translate("capture", "How far the keys are"))
        self.said = Label()
        self.said.setWordWrap(True)
        self.refused = Told(self._desk, fault=True)
        self.refused.hide()
        self.table = plain_table(translate("capture", "How near the keys come, axis by axis"), titles())
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.NoSelection)

    def _button(self, words: str, do: Callable[[], None]) -> QPushButton:
        button = QPushButton(words)
        button.setAccessibleName(words)
        button.setAutoDefault(False)
        button.clicked.connect(do)
        return button

    def _lay_out(self) -> None:
        asked = QWidget()
        left = QGridLayout(asked)
        left.setContentsMargins(0, 0, GAP_PX, 0)
        left.setSpacing(GAP_PX // 2)
        left.addWidget(self.axes, 0, 0, 1, 2)
        left.addWidget(self.spans, 1, 0, 1, 2)
        left.addWidget(self.start, 2, 0)
        left.addWidget(self.end, 2, 1)
        left.addWidget(self.coasts, 3, 0, 1, 2)
        left.addWidget(self.gaps, 4, 0, 1, 2)
        left.setRowStretch(5, 1)
        answered = QWidget()
        right = QVBoxLayout(answered)
        right.setContentsMargins(0, 0, 0, 0)
        self.table.setMinimumHeight(_TABLE_PX)
        for part in (self.refused, self.table, self.said):
            right.addWidget(part, 1 if part is self.table else 0)
        body = QHBoxLayout()
        for side, share in ((asked, 2), (answered, 3)):
            body.addWidget(_scrolled(side), share)
        top = QHBoxLayout()
        top.addWidget(self.which, 1)
        top.addWidget(self.back)
        end = QHBoxLayout()
        for button in (self.show_it, self.cancel):
            end.addWidget(button)
        end.addWidget(self.progress, 1)
        end.addStretch(1)
        for button in (self.take, self.leave):
            end.addWidget(button)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.setSpacing(GAP_PX // 2)
        whole.addLayout(top)
        whole.addLayout(body, 1)
        whole.addLayout(end)

    # the take

    @property
    def busy(self) -> bool:
        """Whether the take is being read, or keys are being made."""
        return self._job is not None

    def begin(self, path: Path) -> None:
        """Look at another take."""
        self.give_up()
        self._path, self._of = path, None
        self.coasts.setChecked(False)
        self._clear()
        self.which.setText(translate("capture", "{take} is being read…").format(take=path.stem))
        self._read_again()

    def _read_again(self) -> None:
        path, project, coasts = self._path, self._desk.history.now, self.coasts.isChecked()
        if path is None:
            return
        self.give_up()
        self._start(Job(lambda _: opened(path, project, coasts), self), self._opened)

    def _opened(self, found: object) -> None:
        assert isinstance(found, Performance)
        first, self._job, self._of = self._of is None, None, found
        take = found.take
        axes = translate("capture", ", ").join(take.by_hand)
        words = translate("capture", "{take}: hands performed {axes}. Make the fewest keys that come as near as this:")
        self.which.setText(words.format(take=take.name, axes=axes))
        if first:
            gone = self.axes.show_axes(self._desk.history.now, take.by_hand)
            words = translate("capture", "The rig has no {axes} any more; it gets no keys.")
            self._gone = words.format(axes=translate("capture", " and ").join(gone)) if gone else ""
        self.spans.clear()
        for one in found.spans:
            lasts_s = float(self._desk.project.timebase.rate.seconds(one.end - one.start))
            words = translate("capture", "{start} to {end}, {lasts:.1f} s")
            self.spans.addItem(words.format(start=self._at(one.start), end=self._at(one.end), lasts=lasts_s), one)
        self._show_span()
        self.gaps.tell(self._gap_words(found))
        self.gaps.setVisible(bool(self.gaps.text()))
        nothing = translate("capture", "Nothing in it was performed while the clock ran; record it again.")
        self.refused.tell(self._gone if found.spans else nothing)
        self._enable()

    def _gap_words(self, found: Performance) -> str:
        rate = self._desk.project.timebase.rate
        told = [labelled(gap.words(rate), self._at) for gap in found.gaps[:_MOST_GAPS]]
        more = len(found.gaps) - len(told)
        told += [translate("capture", "and {n} gaps more").format(n=more)] if more > 0 else []
        return translate("capture", "Gaps: {gaps}.").format(gaps="; ".join(told)) if told else ""

    def _show_span(self) -> None:
        one = self.spans.currentData()
        if isinstance(one, Span):
            self.start.line.setText(self._at(one.start))
            self.end.line.setText(self._at(one.end))

    # the keys

    def make(self) -> None:
        """Make the keys, aside, and propose them."""
        self.give_up()
        self._desk.leave_proposal()
        self._clear()
        desk, of = self._desk, self._of
        if of is None:
            return
        if desk.drafting:
            self.refused.tell(translate("capture", "End what you are dragging first."))
            return
        try:
            wanted = self._wanted()
        except Mistyped as fault:
            self.refused.tell(translate("typed", fault.words).format(**fault.values))
            return
        except ValueError as fault:
            self.refused.tell(str(fault))
            return
        project, laws, take, speed = desk.history.now, desk.laws, of.take, desk.project.run(desk.run_name).speed
        self._asked = project
        job = Job(lambda tell: keyed(project, laws, take, wanted, speed, tell), self)
        job.told.connect(self._progress)
        self.said.setText(translate("capture", "Making keys…"))
        self._start(job, self._made)

    def _wanted(self) -> Wanted:
        """Return what the fields say. Error: ValueError in words."""
        within = self.axes.within()
        project = self._desk.project
        times = Times(timebase=project.timebase, tempo=project.tempo, counted=self._desk.counted)
        start, end = (typed_instant(entry.text, times) for entry in (self.start, self.end))
        if not start < end:
            raise ValueError(translate("capture", "the keys end before they begin; write a later instant after To"))
        return Wanted(within=within, span=Span(start, end), coasts=self.coasts.isChecked())

    def _start(self, job: Job, done: Callable[[object], None]) -> None:
        job.done.connect(done)
        job.failed.connect(self._failed)
        self._job = job
        self._progress(0.0)
        self._enable()
        job.start()

    def _progress(self, share: float) -> None:
        self.progress.setValue(round(100 * share))

    def _made(self, done: object) -> None:
        assert isinstance(done, Keyed)
        self._job = None
        desk, project = self._desk, self._desk.history.now
        if project is not self._asked or self._of is None:
            self._stale()
            return
        self._done = done
        self.table.setRowCount(len(done.captured))
        for row, one in enumerate(done.captured):
            put_row(self.table, row, cells(project, done, one, self._at))
        told = lines(project, done, self._at)
        self.said.setText("\n".join((told[0], *notes(done, self._at))))
        axes = translate("capture", ", ").join(one.axis for one in done.captured)
        words = translate("capture", "keys of {axes} performed in {take}").format(axes=axes, take=self._of.take.name)
        desk.propose(done.move, words, told)
        self._enable()

    def _failed(self, words: str) -> None:
        self._job = None
        self.said.setText("")
        self.refused.tell(labelled(words, self._at))
        if self._of is None and self._path is not None:
            self.which.setText(self._path.stem)
        self._enable()

    def give_up(self) -> None:
        """Want no answer any more; the move is as it was."""
        if self._job is not None:
            self._job.cancel()
            self._job = None
            self.said.setText(translate("capture", "Cancelled. The move is as it was."))
        self._enable()

    def _clear(self) -> None:
        self._done = self._asked = None
        self.table.setRowCount(0)
        self.said.setText("")
        self.refused.tell("")

    def _go_back(self) -> None:
        self.give_up()
        self._desk.leave_proposal()
        self.left.emit()

    # what the desk says

    def _follow(self) -> None:
        """Let keys go that were made for another project than is on the desk now."""
        self.axes.judge(self._desk.history.now)
        if self._asked is None or self._desk.history.now is self._asked:
            return
        taken = self._done is not None and self._desk.history.now.move is self._done.move
        if self._job is not None:
            self._job.cancel()
            self._job = None
        if taken:
            self._asked = self._done = None
            self.said.setText(translate("capture", "Taken: one step, which undo takes back."))
        else:
            self._stale()
        self._enable()

    def _stale(self) -> None:
        self._clear()
        self.said.setText(translate("capture", "The project was changed meanwhile; show the keys again."))
        self._enable()

    def _follow_proposal(self) -> None:
        proposal = self._desk.proposal
        mine = proposal is not None and self._done is not None and proposal.move is self._done.move
        self.take.setEnabled(mine and not self._desk.locked)
        self.leave.setEnabled(mine)

    def _enable(self) -> None:
        busy = self.busy
        self.show_it.setEnabled(not busy and self._of is not None and bool(self._of.spans))
        self.cancel.setVisible(busy)
        self.progress.setVisible(busy)
        for widget in (self.axes, self.spans, self.start, self.end, self.coasts):
            widget.setEnabled(not busy and self._of is not None)
        self._follow_proposal()

    def _at(self, at: Fraction) -> str:
        project = self._desk.project
        return written(at, self._desk.counted, project.timebase, project.tempo, 2)
