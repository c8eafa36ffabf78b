"""Repairs of a move that asks too much: tried in a thread, shown before and after, taken or left by the operator.

It refuses to change the document by itself, and to show an answer to a question that is no longer asked.
"""

from collections.abc import Callable
from fractions import Fraction

from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import (
    QAbstractItemView,
    QCheckBox,
    QComboBox,
    QGridLayout,
    QHBoxLayout,
    QPlainTextEdit,
    QProgressBar,
    QPushButton,
    QSplitter,
    QVBoxLayout,
    QWidget,
)

from sequencer.motion.repair.choices import CHOICES
from sequencer.score.move import Move
from sequencer.timebase.instants import labelled
from ui.acts.written import written
from ui.desk import Desk
from ui.label import Label
from ui.language import translate
from ui.panels.job import Job
from ui.panels.mending import Asking, Mended, Tried, keys_moved, lasts_s, lines, mend, peaks_beside, verdict
from ui.panels.tables import plain_table, put_row
from ui.theme import GAP_PX

_MOST_LINES = 200  # of what changes


class RepairsPanel(QWidget):
    """Choose a repair or try all; choose one of the answers; take it or leave it."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._job: Job | None = None
        self._left: list[str] = []
        self._tries = 0
        self._asked: tuple[Move, object, Fraction] | None = None
        self._rows: list[tuple[Tried, Mended | None]] = []
        self._shown: Mended | None = None
        self.setAccessibleName(translate("repairs", "Repairs"))
        self._build_choice()
        self._build_answers()
        self._lay_out()
        desk.changed.connect(self._follow)
        desk.proposed.connect(self._follow_proposal)
        self._busy(False)
        self._say("")
        self._follow_proposal()

    # parts

    def _build_choice(self) -> None:
        self.how = QComboBox()
        self.how.setAccessibleName(translate("repairs", "Repair to try"))
        for choice in CHOICES.values():
            self.how.addItem(f"{choice.name}: {translate('repairs', choice.changes)}", choice.name)
        self.how.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.how.setMinimumContentsLength(20)
        self.overshoot = QCheckBox(translate("repairs", "smoothing may overshoot keys"))
        self.overshoot.setAccessibleName(self.overshoot.text())
        self.one = self._button(translate("repairs", "Try it"), self.try_one)
        self.all = self._button(translate("repairs", "Try all"), self.offer)
        self.cancel = self._button(translate("repairs", "Cancel"), self.cancel_try)
        self.progress = QProgressBar()
        self.progress.setRange(0, 100)
        self.progress.setAccessibleName(translate("repairs", "How far the repair is"))
        self.said = Label()
        self.said.setWordWrap(True)

    def _build_answers(self) -> None:
        self.answers = plain_table(
            translate("repairs", "Answers; the chosen one is shown dashed on the timeline"),
            (translate("repairs", "repair"), translate("repairs", "lasts"), translate("repairs", "then")),
        )
        self.answers.currentCellChanged.connect(lambda row, *_: self._choose(row))
        self.peaks = plain_table(
            translate("repairs", "Peaks in percent of the limits, before and after"),
            (
                translate("repairs", "axis"),
                translate("repairs", "speed"),
                translate("repairs", "acceleration"),
                translate("repairs", "jerk"),
            ),
        )
        self.peaks.setSelectionMode(QAbstractItemView.SelectionMode.NoSelection)
        self.changes = QPlainTextEdit()
        self.changes.setReadOnly(True)
        self.changes.setTabChangesFocus(True)
        self.changes.setAccessibleName(translate("repairs", "What changes"))
        self.take = self._button(translate("repairs", "Take it"), self._desk.take_proposal)
        self.leave = self._button(translate("repairs", "Leave it"), self._desk.leave_proposal)

    def _button(self, words: str, do: Callable[[], None]) -> QPushButton:
        button = QPushButton(words)
        button.setAccessibleName(words)
        button.setAutoDefault(False)
        button.clicked.connect(do)
        return button

    def _lay_out(self) -> None:
        top = QGridLayout()
        top.addWidget(self.how, 0, 0, 1, 4)
        for place, widget in enumerate((self.one, self.all, self.cancel)):
            top.addWidget(widget, 1, place)
        top.addWidget(self.overshoot, 2, 0, 1, 4)
        top.addWidget(self.progress, 1, 3)
        top.setColumnStretch(3, 1)
        details = QSplitter(Qt.Orientation.Horizontal)
        details.addWidget(self.peaks)
        details.addWidget(self.changes)
        details.setStretchFactor(0, 3)
        details.setStretchFactor(1, 2)
        details.setChildrenCollapsible(False)
        end = QHBoxLayout()
        end.addWidget(self.said, 1)
        end.addWidget(self.take)
        end.addWidget(self.leave)
        column = QVBoxLayout(self)
        column.setContentsMargins(GAP_PX, GAP_PX, GAP_PX, GAP_PX)
        column.addLayout(top)
        column.addWidget(self.answers, 1)
        column.addWidget(details, 1)
        column.addLayout(end)

    # trying

    @property
    def running(self) -> bool:
        """Whether a repair is being tried."""
        return self._job is not None

    @property
    def rows(self) -> list[tuple[Tried, Mended | None]]:
        """The answers, as the table has them; None for a repair that is not possible."""
        return self._rows

    def try_one(self) -> None:
        """Try the repair that is chosen."""
        self._try([str(self.how.currentData())])

    def offer(self) -> None:
        """Try all repairs, one after the other."""
        self._try(list(CHOICES))

    def cancel_try(self) -> None:
        """Try no further; what is there already stays."""
        self._drop()
        self._say(translate("repairs", "Cancelled. The move is as it was."))

    def _try(self, names: list[str]) -> None:
        self._drop()
        self._desk.leave_proposal()
        self._clear()
        if self._desk.drafting:
            self._say(translate("repairs", "End what you are dragging first."))
            return
        self._left, self._tries = names, len(names)
        self._asked = self._question()
        self._next()

    def _question(self) -> tuple[Move, object, Fraction]:
        project = self._desk.project
        return project.move, project.rig, project.run(self._desk.run_name).speed

    def _next(self) -> None:
        if not self._left:
            self._busy(False)
            return
        name = self._left[0]
        desk, overshoot = self._desk, self.overshoot.isChecked()
        asking = Asking(project=desk.project, laws=desk.laws, speed=self._question()[2], overshoot=overshoot)
        job = Job(lambda tell: mend(asking, name, tell), self)
        job.done.connect(self._answer)
        job.failed.connect(self._fail)
        job.told.connect(self._progress)
        self._job = job
        self._busy(True)
        self._progress(0.0)
        self._say(translate("repairs", "Trying {name}…").format(name=name))
        job.start()

    def _progress(self, share: float) -> None:
        if self.sender() is self._job or self.sender() is None or share == 0.0:
            done = self._tries - len(self._left)
            self.progress.setValue(round(100 * (done + min(share, 1.0)) / max(1, self._tries)))

    def _answer(self, tried: object) -> None:
        assert isinstance(tried, Tried)
        self._job = None
        self._left = self._left[1:]
        moves = [one for one in tried.moves if not one.offer]
        self._rows += (
            [(tried, one) for one in moves] if moves else [(tried, None), *((tried, one) for one in tried.moves)]
        )
        self._fill()
        self._next()
        if self._left:
            return
        if self._tries == 1:
            self.answers.setCurrentCell(0, 0)
        else:
            fits = sum(1 for _, one in self._rows if one is not None and one.after.ok)
            self._say(translate("repairs", "{n} ways to mend it; choose one to see it.").format(n=fits))

    def _fail(self, words: str) -> None:
        self._drop()
        self._say(words)

    def _drop(self) -> None:
        if self._job is not None:
            self._job.cancel()
        self._job, self._left = None, []
        self._busy(False)

    def _busy(self, busy: bool) -> None:
        self.progress.setVisible(busy)
        self.cancel.setEnabled(busy)
        self.one.setEnabled(not busy)
        self.all.setEnabled(not busy)

    # answers

    def _clear(self) -> None:
        self._rows, self._shown = [], None
        self._fill()
        self.peaks.setRowCount(0)
        self.changes.clear()

    def _fill(self) -> None:
        self.answers.blockSignals(True)
        self.answers.setRowCount(len(self._rows))
        for row, (tried, mended) in enumerate(self._rows):
            if mended is None:
                none = translate("repairs", "not possible; offers: {n}").format(n=len(tried.moves))
                cells = (tried.how, "", none)
            else:
                name = tried.how
                if mended.offer:
                    name = translate("repairs", "{how}, offer {n}").format(how=tried.how, n=mended.offer)
                cells = (name, f"{lasts_s(mended.after):.2f} s", verdict(mended.after))
            put_row(self.answers, row, cells)
        self.answers.blockSignals(False)

    def _choose(self, row: int) -> None:
        """Show an answer: what it changes, before and after, and itself on the timeline."""
        if not 0 <= row < len(self._rows):
            return
        tried, mended = self._rows[row]
        if mended is None:
            self._shown = None
            self._desk.leave_proposal()
            self.peaks.setRowCount(0)
            self.changes.setPlainText("\n".join(self._label(words) for words in tried.reasons))
            more = translate("repairs", "{how} is not possible; choose an offer, or another repair.")
            none = translate("repairs", "{how} is not possible; choose another repair.")
            self._say((more if tried.moves else none).format(how=tried.how))
            return
        self._detail(tried, mended)
        self._shown = mended
        words = translate("repairs", "repair by {how}").format(how=tried.how)
        self._desk.propose(mended.move, words, lines(mended, self._at))
        told = translate("repairs", "{before:.2f} s before, {after:.2f} s after: {verdict}.")
        before, after = lasts_s(tried.before), lasts_s(mended.after)
        self._say(told.format(before=before, after=after, verdict=verdict(mended.after)))

    def _detail(self, tried: Tried, mended: Mended) -> None:
        rows = peaks_beside(tried.before, mended.after)
        self.peaks.setRowCount(len(rows))
        for number, cells in enumerate(rows):
            put_row(self.peaks, number, cells)
        project = self._desk.project
        told = [*lines(mended, self._at)]
        told += keys_moved(project.move, mended.move, project.timebase.rate.fraction, self._at)
        hidden = len(told) - _MOST_LINES
        if hidden > 0:
            told[_MOST_LINES:] = [translate("repairs", "and {n} more").format(n=hidden)]
        self.changes.setPlainText("\n".join(told))

    def _at(self, at: Fraction) -> str:
        project = self._desk.project
        return written(at, self._desk.counted, project.timebase, project.tempo, 2)

    def _label(self, words: str) -> str:
        return labelled(words, self._at)

    # what the desk says

    def _follow(self) -> None:
        """A question that is asked anew has none of the old answers."""
        if self._asked is None:
            return
        same = all(one is other or one == other for one, other in zip(self._asked, self._question(), strict=True))
        if same:
            return
        taken = self._shown is not None and self._desk.project.move is self._shown.move
        was_running = self.running
        self._drop()
        self._asked = None
        self._clear()
        if taken:
            self._say(translate("repairs", "Taken: one step, which undo takes back."))
        elif was_running:
            self._say(translate("repairs", "The move was changed meanwhile, so that answer was dropped. Try again."))
        else:
            self._say(translate("repairs", "The move was changed: the answers were for another one. Try again."))

    def _follow_proposal(self) -> None:
        proposal = self._desk.proposal
        mine = proposal is not None and self._shown is not None and proposal.move is self._shown.move
        self.take.setEnabled(mine)
        self.leave.setEnabled(mine)

    def _say(self, words: str) -> None:
        self.said.setText(words)
