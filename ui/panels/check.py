"""What the move asks too much, leg by leg, the worst first, and in one sentence whether it can be done.

It refuses to hold up the hand: what takes long to judge is judged a moment after the last change, in a thread.
"""

from fractions import Fraction

from PyQt6.QtCore import QAbstractTableModel, QModelIndex, QObject, Qt, QTimer, pyqtSignal
from PyQt6.QtGui import QShowEvent
from PyQt6.QtWidgets import QTableView, QVBoxLayout, QWidget

from sequencer.motion.check import Check, check
from sequencer.motion.look import mixed_references
from sequencer.motion.peaks import Asked, against, worst
from ui.acts.written import written
from ui.desk import Desk
from ui.label import Label
from ui.language import translate
from ui.panels.faults import (
    Broken,
    Leg,
    Together,
    asked_words,
    legs_over,
    percent,
    quantity,
    sentence,
    together_over,
)
from ui.panels.job import Job
from ui.panels.tables import dress
from ui.theme import GAP_PX

SETTLE_MS = 300  # after the last change
_PARTS = 100  # of a frame
_ROOM_S = 0.5  # beside a leg that is brought in sight, at least
_SMALL = 0.03  # of the stretch in sight: a leg shorter than that is brought nearer


class _Table(QAbstractTableModel):
    """The rows: legs first, combined limits after."""

    def __init__(self, desk: Desk, parent: QObject) -> None:
        super().__init__(parent)
        self._desk = desk
        self._legs = legs_over({})
        self._together: list[Together] = []

    def show(self, legs: Broken, together: list[Together]) -> None:
        if len(legs) or together or self.rowCount():
            self.beginResetModel()
            self._legs, self._together = legs, together
            self.endResetModel()

    def row(self, number: int) -> Leg | Together:
        legs = len(self._legs)
        return self._legs.leg(number) if number < legs else self._together[number - legs]

    def rowCount(self, parent: QModelIndex | None = None) -> int:
        return len(self._legs) + len(self._together)

    def columnCount(self, parent: QModelIndex | None = None) -> int:
        return len(self._titles())

    def _titles(self) -> tuple[str, ...]:
        return (
            translate("check", "axis"),
            translate("check", "what"),
            translate("check", "over"),
            translate("check", "asked"),
            translate("check", "limit"),
            translate("check", "from"),
            translate("check", "to"),
        )

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        if role == Qt.ItemDataRole.DisplayRole and orientation == Qt.Orientation.Horizontal:
            return self._titles()[section]
        return None

    def data(self, index: QModelIndex, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        if role == Qt.ItemDataRole.DisplayRole:
            return self._cells(self.row(index.row()))[index.column()]
        if role == Qt.ItemDataRole.TextAlignmentRole and index.column() in (2, 3, 4):
            return Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
        return None

    def _cells(self, row: Leg | Together) -> tuple[str, ...]:
        jumps = row.jumps if isinstance(row, Leg) else ""
        asked, limit = asked_words(row.asked, row.unit, jumps)
        told = (quantity(row.asked.of), percent(row.asked.excess), asked, limit)
        if isinstance(row, Leg):
            return (row.axis, *told, self._label(row.from_s), self._label(row.to_s))
        who = translate("check", "{name} ({axes})").format(name=row.name, axes=row.who)
        return (who, *told, self._label(row.asked.at_s), "")

    def _label(self, at_s: float) -> str:
        project = self._desk.project
        at = Fraction(round(at_s * float(project.timebase.rate.fraction) * _PARTS), _PARTS)
        return written(at, self._desk.counted, project.timebase, project.tempo, 2)


class CheckPanel(QWidget):
    """One sentence, and the table of what is over. `judged`: another sentence holds."""

    judged = pyqtSignal()

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._job: Job | None = None
        self._done: Check | None = None
        self._waiting = False
        self.setAccessibleName(translate("check", "What the move asks too much"))
        self.sentence = Label()
        self.sentence.setWordWrap(True)
        self.warning = Label()
        self.warning.setWordWrap(True)
        self.warning.setAccessibleName(translate("check", "What no limit knows"))
        self.table = QTableView()
        self._model = _Table(desk, self.table)
        self._dress_table()
        column = QVBoxLayout(self)
        column.setContentsMargins(GAP_PX, GAP_PX, GAP_PX, GAP_PX)
        for part in (self.sentence, self.warning, self.table):
            column.addWidget(part)
        column.setStretch(2, 1)
        column.addStretch(0)
        self._settle = QTimer(self)
        self._settle.setSingleShot(True)
        self._settle.setInterval(SETTLE_MS)
        self._settle.timeout.connect(self._judge)
        self._stale = False
        desk.changed.connect(self._change)
        desk.preferred.connect(self._show)
        self._follow()

    def _dress_table(self) -> None:
        self.table.setModel(self._model)
        dress(self.table, translate("check", "Legs that ask too much; enter goes there"))
        self.table.clicked.connect(self.go)
        self.table.activated.connect(self.go)

    @property
    def rows(self) -> list[Leg | Together]:
        """What is over, as the table has it."""
        return [self._model.row(number) for number in range(self._model.rowCount())]

    def go(self, index: QModelIndex) -> None:
        """Choose the keys of the leg in this row, put the playhead there, and bring it in sight."""
        row = self._model.row(index.row())
        at_s = row.asked.at_s
        if isinstance(row, Leg):
            self._desk.select({row.axis: frozenset({row.key, row.key + 1})})
            self._look(row.from_s, row.to_s)
        else:
            self._look(at_s, at_s)
        rate = self._desk.project.timebase.rate
        self._desk.place(Fraction(round(at_s * float(rate.fraction) * _PARTS), _PARTS))

    def _look(self, from_s: float, to_s: float) -> None:
        begin_s, end_s = self._desk.span_s
        length_s = to_s - from_s
        inside = begin_s <= from_s and to_s <= end_s
        if inside and (length_s >= _SMALL * (end_s - begin_s) or not length_s):
            return
        wide_s = 2 * (length_s + _ROOM_S) if length_s else end_s - begin_s
        middle_s = (from_s + to_s) / 2
        self._desk.look(middle_s - wide_s / 2, middle_s + wide_s / 2)

    def showEvent(self, event: QShowEvent | None) -> None:
        super().showEvent(event)
        if self._stale:
            self._follow()

    def _change(self) -> None:
        """Who cannot be seen holds nobody up."""
        if self.isVisible():
            self._follow()
        else:
            self._stale = True

    def _follow(self) -> None:
        """Show the legs at once, and have what ties axes together judged when the hand rests."""
        if self._job is not None:
            self._job.cancel()
            self._job = None
        self._done, self._stale = None, False
        self._waiting = bool(self._desk.project.rig.combined)
        if self._waiting:
            self._settle.start()
        else:
            self._settle.stop()
        self._show()

    def _judge(self) -> None:
        desk = self._desk
        project = desk.project
        speed = project.run(desk.run_name).speed
        job = Job(lambda _: check(project.rig, project.move, project.timebase.rate, desk.laws, speed), self)
        job.done.connect(self._judged)
        job.failed.connect(self._failed)
        self._job = job.start()

    def _judged(self, done: object) -> None:
        self._waiting = False
        self._done = done if isinstance(done, Check) else None
        self._show()

    def _failed(self, _: str) -> None:
        """A move that cannot be compiled: the sentence says so from the shapes."""
        self._waiting = False
        self._show()

    def _show(self) -> None:
        legs = legs_over(self._desk.shapes)
        together = together_over(self._done) if self._done is not None else []
        self._model.show(legs, together)
        self.sentence.setText(sentence(self._desk.shapes, legs, together, self._waiting, self._reserve()))
        mixed = mixed_references(self._desk.project.rig, self._desk.project.move)
        self.warning.setText(mixed)
        self.warning.setVisible(bool(mixed))
        self.table.setVisible(self._model.rowCount() > 0)
        self.judged.emit()

    def _reserve(self) -> tuple[str, Asked] | None:
        """Return the combined limit of which least is left."""
        if self._done is None:
            return None
        pairs = zip(self._done.rig.combined, self._done.combined, strict=True)
        each = [(limit.name, worst(against(peak, limit))) for limit, peak in pairs if peak is not None]
        return max(each, key=lambda one: one[1].excess, default=None)
