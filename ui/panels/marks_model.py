"""Markers, cues and passes as rows whose cells can be typed into.

It refuses what the acts refuse; why stands in `refused`.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction

from PyQt6.QtCore import QAbstractTableModel, QModelIndex, Qt, pyqtSignal

from sequencer.score.move import Cue, Marker, Move, Pass
from ui.acts import marks
from ui.acts.written import written
from ui.desk import Desk
from ui.language import translate
from ui.panels.entry import refusal
from ui.panels.pass_cells import CELLS
from ui.panels.typed import Times, typed_instant

Mark = Marker | Cue | Pass


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of rows: its columns, where they are in the move, and what is done to one by its number.

    `at` is the instant of a column, where it has one; `set_time` is given the number, the column and the instant.
    """

    columns: tuple[str, ...]
    of: Callable[[Move], tuple[Mark, ...]]
    add: Callable[[Desk], bool]
    rename: Callable[[Desk, int, str], bool]
    delete: Callable[[Desk, int], bool]
    set_time: Callable[[Desk, int, int, Fraction], bool] | None = None


def _move_cue(desk: Desk, number: int, column: int, at: Fraction) -> bool:
    return marks.move_cue(desk, number, start=at) if column == 1 else marks.move_cue(desk, number, end=at)


MARKERS = Kind(
    ("name", "time"),
    lambda move: move.markers,
    marks.add_marker,
    marks.rename_marker,
    marks.delete_marker,
    lambda desk, number, column, at: marks.move_marker(desk, number, at),
)
CUES = Kind(
    ("name", "from", "to"), lambda move: move.cues, marks.add_cue, marks.rename_cue, marks.delete_cue, _move_cue
)
PASSES = Kind(
    tuple(cell.column for cell in CELLS),
    lambda move: move.passes,
    marks.add_pass,
    lambda desk, number, name: marks.change_pass(desk, number, lambda one, _: replace(one, name=name)),
    marks.delete_pass,
)


class MarksModel(QAbstractTableModel):
    """A row for each marker, cue or pass. `refused`: why an edit was not done, or nothing when one was."""

    refused = pyqtSignal(str)

    def __init__(self, desk: Desk, kind: Kind) -> None:
        super().__init__()
        self._desk = desk
        self._kind = kind
        self._rows = kind.of(desk.project.move)
        desk.changed.connect(self._follow)
        desk.preferred.connect(self._tell)

    def instant(self, row: int, column: int = 1) -> Fraction | None:
        """Return the frame that stands in a cell, or None where that is no instant."""
        one = self._rows[row]
        if isinstance(one, Marker):
            return one.at
        if isinstance(one, Cue):
            return one.end if column == 2 else one.start
        return None

    def name(self, row: int) -> str:
        """Return what the row's marker, cue or pass is called."""
        return self._rows[row].name

    def rowCount(self, parent: QModelIndex = QModelIndex()) -> int:  # noqa: B008 - Qt's own way
        return 0 if parent.isValid() else len(self._rows)

    def columnCount(self, parent: QModelIndex = QModelIndex()) -> int:  # noqa: B008 - Qt's own way
        return 0 if parent.isValid() else len(self._kind.columns)

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        if orientation != Qt.Orientation.Horizontal or role != Qt.ItemDataRole.DisplayRole:
            return None
        return translate("marks", self._kind.columns[section])

    def data(self, index: QModelIndex, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        if not index.isValid() or role not in (Qt.ItemDataRole.DisplayRole, Qt.ItemDataRole.EditRole):
            return None
        return self._text(index.row(), index.column(), 9 if role == Qt.ItemDataRole.EditRole else 3)

    def flags(self, index: QModelIndex) -> Qt.ItemFlag:
        return Qt.ItemFlag.ItemIsSelectable | Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsEditable

    def setData(self, index: QModelIndex, value: object, role: int = Qt.ItemDataRole.EditRole) -> bool:
        if not index.isValid() or role != Qt.ItemDataRole.EditRole:
            return False
        row, column, text = index.row(), index.column(), str(value).strip()
        if text == self._text(row, column, 9):
            self.refused.emit("")
            return False
        why = refusal(self._desk, lambda: self._write(row, column, text))
        self.refused.emit(why)
        return not why

    def _write(self, row: int, column: int, text: str) -> None:
        desk, kind = self._desk, self._kind
        if column == 0:
            kind.rename(desk, row, text)
        elif kind.set_time is None:
            marks.change_pass(desk, row, lambda one, project: CELLS[column].changed(one, text, project))
        else:
            project = desk.project
            times = Times(
                timebase=project.timebase, tempo=project.tempo, counted=desk.counted, here=self.instant(row, column)
            )
            kind.set_time(desk, row, column, typed_instant(text, times))

    def _text(self, row: int, column: int, decimals: int) -> str:
        one, project = self._rows[row], self._desk.project
        if isinstance(one, Pass):
            return CELLS[column].text(one, decimals)
        if column == 0:
            return one.name
        at = self.instant(row, column)
        return "" if at is None else written(at, self._desk.counted, project.timebase, project.tempo, decimals)

    def _follow(self) -> None:
        rows = self._kind.of(self._desk.project.move)
        if rows is self._rows:
            return
        if len(rows) == len(self._rows):
            self._rows = rows
            self._tell()
        else:
            self.beginResetModel()
            self._rows = rows
            self.endResetModel()

    def _tell(self) -> None:
        if self._rows:
            self.dataChanged.emit(self.index(0, 0), self.index(len(self._rows) - 1, len(self._kind.columns) - 1))
