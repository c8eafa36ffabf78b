"""The project's marks as rows whose cells can be typed into, and which can be dragged into another order.

It refuses what the acts refuse; why stands in `refused`.
"""

import re
from collections.abc import Sequence

from PyQt6.QtCore import QAbstractTableModel, QByteArray, QMimeData, QModelIndex, Qt, pyqtSignal
from PyQt6.QtGui import QColor

from sequencer.rig.axis import Rig
from sequencer.score.marks import AtSpeed, Fastest, Lasting, Mark, Marks, Pace
from ui.acts.poses import Poses, Stand
from ui.acts.written import decimal, value_text
from ui.label import tip
from ui.language import translate
from ui.panels.entry import refusal
from ui.panels.typed import Mistyped, Times, typed_factor, typed_length, typed_number

NAME, WHERE, LEG, TAKES = range(4)
_FIRST_AXIS = 4
_KIND = "application/x-twintake-mark"
_ROOT = QModelIndex()
# a number alone, or one as a part
_BARE = re.compile(r"[+-]?[\d.,]+", re.ASCII)
_PART = re.compile(r"([\d.,]+ ?(%|percent)|[\d.,]+ ?/ ?\d+)( of speed)?|[\d.,]+ of speed", re.ASCII)


class PosesModel(QAbstractTableModel):
    """A row for each mark: its name, where the rig is to it, its leg, how long that takes, and each axis."""

    refused = pyqtSignal(str)

    def __init__(self, poses: Poses) -> None:
        super().__init__()
        self._poses, self._desk = poses, poses.desk
        self._rows: Marks = ()
        self._rig: Rig | None = None
        self._axes: tuple[str, ...] = ()
        self._stands: tuple[Stand, ...] = ()
        self._desk.changed.connect(self._follow)
        self._desk.preferred.connect(self._tell)
        poses.moved.connect(self._tell)
        self._follow()

    @property
    def axes(self) -> tuple[str, ...]:
        """The axes of the rig, and those that it had when marks were stored."""
        return self._axes

    def name(self, row: int) -> str:
        """Return what the row's mark is called."""
        return self._rows[row].name

    def row(self, name: str) -> int | None:
        """Return the row of a mark."""
        return next((row for row, mark in enumerate(self._rows) if mark.name == name), None)

    def rowCount(self, parent: QModelIndex = _ROOT) -> int:
        return 0 if parent.isValid() else len(self._rows)

    def columnCount(self, parent: QModelIndex = _ROOT) -> int:
        return 0 if parent.isValid() else _FIRST_AXIS + len(self._axes)

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        if orientation != Qt.Orientation.Horizontal or role != Qt.ItemDataRole.DisplayRole:
            return None
        if section >= _FIRST_AXIS:
            return self._axes[section - _FIRST_AXIS]
        return (
            translate("marks", "mark"),
            translate("marks", "rig"),
            translate("marks", "leg to it"),
            translate("marks", "takes"),
        )[section]

    def data(self, index: QModelIndex, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        if not index.isValid() or index.row() >= len(self._rows):
            return None
        row, column, theme = index.row(), index.column(), self._desk.theme
        match role:
            case Qt.ItemDataRole.DisplayRole:
                return self._text(row, column)
            case Qt.ItemDataRole.EditRole:
                return self._typed(row, column)
            case Qt.ItemDataRole.ToolTipRole:
                return tip(self._poses.trouble(self.name(row))) or None
            case Qt.ItemDataRole.BackgroundRole if column == WHERE and self._stands[row] == "cannot":
                return QColor(theme.over)
            case Qt.ItemDataRole.ForegroundRole if column == WHERE and self._stands[row] == "cannot":
                return QColor(theme.over_text)
        return None

    def flags(self, index: QModelIndex) -> Qt.ItemFlag:
        if not index.isValid():  # between the rows
            return Qt.ItemFlag.ItemIsDropEnabled
        chosen = Qt.ItemFlag.ItemIsSelectable | Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsDragEnabled
        return chosen if index.column() in (WHERE, TAKES) else chosen | Qt.ItemFlag.ItemIsEditable

    def setData(self, index: QModelIndex, value: object, role: int = Qt.ItemDataRole.EditRole) -> bool:
        if not index.isValid() or role != Qt.ItemDataRole.EditRole:
            return False
        row, column, text = index.row(), index.column(), str(value).strip()
        if text == self._typed(row, column):
            self.refused.emit("")
            return False
        why = refusal(self._desk, lambda: self._write(self._rows[row], column, text))
        self.refused.emit(why)
        return not why

    def _write(self, mark: Mark, column: int, text: str) -> None:
        poses, project = self._poses, self._desk.project
        if column == NAME:
            poses.rename(mark.name, text)
        elif column == LEG:
            times = Times(timebase=project.timebase, tempo=project.tempo, counted=self._desk.counted)
            poses.pace(poses.chosen if mark.name in poses.chosen else (mark.name,), typed_leg(text, times))
        else:
            axis = self._axes[column - _FIRST_AXIS]
            unit = project.rig.axes[project.rig.index(axis)].unit if axis in project.rig.names else ""
            poses.put(mark.name, axis, typed_number(text, unit) if text else None)

    # another order, by dragging

    def supportedDropActions(self) -> Qt.DropAction:
        return Qt.DropAction.MoveAction

    def mimeTypes(self) -> list[str]:
        return [_KIND]

    def mimeData(self, indexes: Sequence[QModelIndex]) -> QMimeData:  # type: ignore[override]  # Qt gives any iterable
        dragged = QMimeData()
        names = [self.name(row) for row in sorted({index.row() for index in indexes})]
        dragged.setData(_KIND, QByteArray("\n".join(names).encode()))
        return dragged

    def dropMimeData(
        self, data: QMimeData | None, action: Qt.DropAction, row: int, column: int, parent: QModelIndex
    ) -> bool:
        """Put marks before the row onto which they were dropped. The table takes nothing out itself then: False."""
        if data is not None and data.hasFormat(_KIND) and action == Qt.DropAction.MoveAction:
            names = bytes(data.data(_KIND).data()).decode().split("\n")
            place = parent.row() if parent.isValid() else row
            other = self.name(place) if 0 <= place < len(self._rows) else None
            self.refused.emit(refusal(self._desk, lambda: self._poses.put_before(names, other)))
        return False

    # what is shown

    def _text(self, row: int, column: int) -> str:
        mark = self._rows[row]
        if column == NAME:
            return mark.name
        if column == WHERE:
            return stand_words(self._stands[row])
        if column == LEG:
            return leg_text(mark.leg)
        if column == TAKES:
            one = self._poses.takes()[row]
            lasts = "" if one.lasts_s is None else f"{one.lasts_s:.2f} s"
            return translate("marks", "no way") if one.why else lasts
        axis = self._axes[column - _FIRST_AXIS]
        value = dict(mark.position).get(axis)
        rig = self._desk.project.rig
        unit = rig.axes[rig.index(axis)].unit if axis in rig.names else ""
        return translate("marks", "stays") if value is None else value_text(value, unit, 3)

    def _typed(self, row: int, column: int) -> str:
        """Return what a cell holds when it is written into: all its decimals."""
        mark = self._rows[row]
        if column < _FIRST_AXIS:
            return self._text(row, column)
        value = dict(mark.position).get(self._axes[column - _FIRST_AXIS])
        return "" if value is None else decimal(value)

    def _follow(self) -> None:
        rows, rig = self._desk.project.marks, self._desk.project.rig
        if rows is self._rows and rig is self._rig:
            return
        axes = tuple(dict.fromkeys((*rig.names, *(axis for mark in rows for axis in mark.axes))))
        names = [mark.name for mark in rows]
        if names == [mark.name for mark in self._rows] and axes == self._axes:
            self._rows, self._rig = rows, rig
            self._tell()
            return
        self.beginResetModel()
        self._rows, self._rig, self._axes, self._stands = rows, rig, axes, self._poses.stands()
        self.endResetModel()

    def _tell(self) -> None:
        stands = self._poses.stands()
        if len(stands) != len(self._rows):  # these are about to follow
            return
        self._stands = stands
        if stands:
            self.dataChanged.emit(self.index(0, 0), self.index(len(self._rows) - 1, self.columnCount() - 1))


def stand_words(stand: Stand) -> str:
    """Return how the rig stands to a mark: a shape and a word."""
    return {
        "cannot": translate("marks", "✕ cannot go"),
        "here": translate("marks", "◆ here"),
        "on the way": translate("marks", "▶ on the way"),
        "interrupted": translate("marks", "▷ interrupted"),
        "last": translate("marks", "◇ was last"),
        "": "",
    }[stand]


def leg_text(leg: Pace) -> str:
    """Return how the rig goes to a mark, as `typed_leg` reads it."""
    match leg:
        case Lasting(lasts_s=lasts_s):
            exact = (lasts_s * 10**9).denominator == 1
            return f"{decimal(lasts_s)} s" if exact else f"{lasts_s} s"
        case AtSpeed(part=part):
            exact = (part * 10**5).denominator == 1
            number = f"{decimal(part * 100)} %" if exact else str(part)
            return translate("marks", "{part} of speed").format(part=number)
    return translate("marks", "fastest")


def typed_leg(text: str, times: Times) -> Pace:
    """Return the pace of a leg: `fastest`, `50 %` or `1/2` of the speed, or how long, `2.5 s`. Error: ValueError."""
    plain = " ".join(text.lower().split())
    if plain in ("fastest", translate("marks", "fastest").lower()):
        return Fastest()
    if _PART.fullmatch(plain):
        return AtSpeed(typed_factor(plain.removesuffix(" of speed")))
    if _BARE.fullmatch(plain):
        raise Mistyped("“{text}” could be a time or a part of the speed; write {text} s, or 50 %", text=plain)
    return Lasting(times.timebase.rate.seconds(typed_length(plain, times)))
