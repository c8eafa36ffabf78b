"""Markers, cues, passes, orders to the camera and points as rows whose cells can be typed into.

It refuses what the acts refuse; why stands in `refused`.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from PyQt6.QtCore import QAbstractTableModel, QModelIndex, Qt, pyqtSignal

from sequencer.project.document import Project
from sequencer.score.camera import CameraCue
from sequencer.score.move import Cue, Marker, Pass
from sequencer.score.points import Point
from ui.acts import camera, marks
from ui.acts.written import written
from ui.desk import Desk
from ui.label import tip
from ui.language import translate
from ui.panels import order_cells, pass_cells, point_cells
from ui.panels.cell import Cell
from ui.panels.entry import refusal
from ui.panels.typed import Times, typed_instant

Mark = Marker | Cue | Pass | CameraCue | Point


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of rows: its columns, where they are in the document, and what is done to one by its number.

    `at` is the instant of a column, where it has one; `set_time` is given the number, the column and the instant.
    `cells` are the columns of a kind whose values are typed as a whole; `change` puts a changed one in its place.
    """

    columns: tuple[str, ...]
    of: Callable[[Project], tuple[Mark, ...]]
    add: Callable[[Desk], bool]
    delete: Callable[[Desk, int], bool]
    rename: Callable[[Desk, int, str], bool] | None = None
    set_time: Callable[[Desk, int, int, Fraction], bool] | None = None
    cells: tuple[Cell[Any], ...] = ()
    change: Callable[[Desk, int, Callable[[Any], Any]], bool] | None = None


def _celled(
    cells: tuple[Cell[Any], ...],
    of: Callable[[Project], tuple[Mark, ...]],
    add: Callable[[Desk], bool],
    delete: Callable[[Desk, int], bool],
    change: Callable[[Desk, int, Callable[[Any], Any]], bool],
) -> Kind:
    return Kind(tuple(cell.column for cell in cells), of, add, delete, cells=cells, change=change)


def _move_cue(desk: Desk, number: int, column: int, at: Fraction) -> bool:
    return marks.move_cue(desk, number, start=at) if column == 1 else marks.move_cue(desk, number, end=at)


MARKERS = Kind(
    ("name", "time"),
    lambda project: project.move.markers,
    marks.add_marker,
    marks.delete_marker,
    marks.rename_marker,
    lambda desk, number, column, at: marks.move_marker(desk, number, at),
)
CUES = Kind(
    ("name", "from", "to"),
    lambda project: project.move.cues,
    marks.add_cue,
    marks.delete_cue,
    marks.rename_cue,
    _move_cue,
)
PASSES = _celled(
    pass_cells.CELLS, lambda project: project.move.passes, marks.add_pass, marks.delete_pass, marks.change_pass
)
ORDERS = _celled(
    order_cells.CELLS, lambda project: project.camera, camera.add_order, camera.delete_order, camera.change_order
)
POINTS = _celled(
    point_cells.CELLS, lambda project: project.points, camera.add_point, camera.delete_point, camera.change_point
)


# what finds no room in a cell is in its tip
_SHOWN = (Qt.ItemDataRole.DisplayRole, Qt.ItemDataRole.EditRole, Qt.ItemDataRole.ToolTipRole)


class MarksModel(QAbstractTableModel):
    """A row for each of a kind. `refused`: why an edit was not done, or nothing when one was."""

    refused = pyqtSignal(str)

    def __init__(self, desk: Desk, kind: Kind) -> None:
        super().__init__()
        self._desk = desk
        self._kind = kind
        self._rows = kind.of(desk.project)
        self._verdicts: Mapping[str, str] | None = None  # by name, in a column of their own
        desk.changed.connect(self._follow)
        desk.preferred.connect(self._tell)

    def instant(self, row: int, column: int = 1) -> Fraction | None:
        """Return the frame that stands in a cell, or None where that is no instant."""
        one = self._rows[row]
        if isinstance(one, Marker):
            return one.at
        if isinstance(one, Cue):
            return one.end if column == 2 else one.start
        return one.at if isinstance(one, CameraCue) and not isinstance(one.at, str) else None

    def name(self, row: int) -> str:
        """Return what the row's own is called; an order to the camera by what it does."""
        one = self._rows[row]
        return one.do if isinstance(one, CameraCue) else one.name

    def rowCount(self, parent: QModelIndex = QModelIndex()) -> int:  # noqa: B008 - Qt's own way
        return 0 if parent.isValid() else len(self._rows)

    def columnCount(self, parent: QModelIndex = QModelIndex()) -> int:  # noqa: B008 - Qt's own way
        return 0 if parent.isValid() else len(self._kind.columns) + (self._verdicts is not None)

    def tell_verdicts(self, verdicts: Mapping[str, str]) -> None:
        """Show beside each row what was found out of it; nothing is known of one that is not there."""
        if self._verdicts is None:
            self.beginInsertColumns(QModelIndex(), len(self._kind.columns), len(self._kind.columns))
            self._verdicts = verdicts
            self.endInsertColumns()
        else:
            self._verdicts = verdicts
        self._tell()

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        if orientation != Qt.Orientation.Horizontal or role != Qt.ItemDataRole.DisplayRole:
            return None
        columns = self._kind.columns
        return translate("marks", columns[section]) if section < len(columns) else translate("marks", "the motors")

    def data(self, index: QModelIndex, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        if not index.isValid() or role not in _SHOWN:
            return None
        if index.column() == len(self._kind.columns):
            shown = (self._verdicts or {}).get(self.name(index.row()), "")
        else:
            shown = self._text(index.row(), index.column(), 9 if role == Qt.ItemDataRole.EditRole else 3)
        return tip(shown) if role == Qt.ItemDataRole.ToolTipRole else shown

    def flags(self, index: QModelIndex) -> Qt.ItemFlag:
        there = Qt.ItemFlag.ItemIsSelectable | Qt.ItemFlag.ItemIsEnabled
        return there if index.column() == len(self._kind.columns) else there | Qt.ItemFlag.ItemIsEditable

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
        if kind.change is not None:
            kind.change(desk, row, lambda one: kind.cells[column].changed(one, text, desk))
        elif column == 0 and kind.rename is not None:
            kind.rename(desk, row, text)
        elif kind.set_time is not None:
            project = desk.project
            times = Times(
                timebase=project.timebase, tempo=project.tempo, counted=desk.counted, here=self.instant(row, column)
            )
            kind.set_time(desk, row, column, typed_instant(text, times))

    def _text(self, row: int, column: int, decimals: int) -> str:
        one, project = self._rows[row], self._desk.project
        if self._kind.cells:
            return self._kind.cells[column].text(one, decimals, self._desk)
        if column == 0:
            return self.name(row)
        at = self.instant(row, column)
        return "" if at is None else written(at, self._desk.counted, project.timebase, project.tempo, decimals)

    def _follow(self) -> None:
        rows = self._kind.of(self._desk.project)
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
            self.dataChanged.emit(self.index(0, 0), self.index(len(self._rows) - 1, self.columnCount() - 1))
