"""The list of takes as a table whose notes and circles are edited in place. It refuses to touch a take file."""

from collections.abc import Callable
from pathlib import Path

from PyQt6.QtCore import QAbstractTableModel, QModelIndex, QObject, Qt

from sequencer.project.takelog import NOTHING, Entry
from ui.language import translate
from ui.panels.takes_list import Known, Listed, when

CIRCLED, NAME, FILE, NOTE = range(4)
_CHECKED = Qt.CheckState.Checked


class TakesModel(QAbstractTableModel):
    """`keep` is given what the operator says of a take, and returns whether it is on the disk."""

    def __init__(self, keep: Callable[[Path, Entry], bool], parent: QObject) -> None:
        super().__init__(parent)
        self._keep = keep
        self.listed = Listed(log={})

    def show(self, listed: Listed) -> None:
        """Show another list; the same one changes nothing."""
        if listed != self.listed:
            self.beginResetModel()
            self.listed = listed
            self.endResetModel()

    def entry(self, row: int) -> Entry:
        return self.listed.log.get(self.listed.takes[row].path.name, NOTHING)

    def say(self, row: int, entry: Entry) -> bool:
        """Keep what is said of a take; return whether that went well."""
        if not self._keep(self.listed.takes[row].path, entry):
            return False
        self.listed.log[self.listed.takes[row].path.name] = entry
        self.dataChanged.emit(self.index(row, 0), self.index(row, self.columnCount() - 1))
        return True

    def rowCount(self, parent: QModelIndex | None = None) -> int:
        return len(self.listed.takes)

    def columnCount(self, parent: QModelIndex | None = None) -> int:
        return len(_titles())

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        if role == Qt.ItemDataRole.DisplayRole and orientation == Qt.Orientation.Horizontal:
            return _titles()[section]
        return None

    def flags(self, index: QModelIndex) -> Qt.ItemFlag:
        flags = super().flags(index)
        if index.column() == CIRCLED:
            flags |= Qt.ItemFlag.ItemIsUserCheckable
        if index.column() == NOTE:
            flags |= Qt.ItemFlag.ItemIsEditable
        return flags

    def data(self, index: QModelIndex, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        row, column = index.row(), index.column()
        take = self.listed.takes[row]
        if role == Qt.ItemDataRole.CheckStateRole and column == CIRCLED:
            return _CHECKED if self.entry(row).circled else Qt.CheckState.Unchecked
        if role == Qt.ItemDataRole.EditRole and column == NOTE:
            return self.entry(row).note
        if role == Qt.ItemDataRole.DisplayRole:
            return self._cells(take, self.entry(row))[column]
        if role == Qt.ItemDataRole.ToolTipRole:
            return self.entry(row).note if column == NOTE else take.fault if take.fault else None
        if role == Qt.ItemDataRole.AccessibleTextRole and column == CIRCLED:
            return translate("takes", "circled") if self.entry(row).circled else translate("takes", "not circled")
        return None

    def setData(self, index: QModelIndex, value: object, role: int = Qt.ItemDataRole.EditRole) -> bool:
        entry = self.entry(index.row())
        if role == Qt.ItemDataRole.CheckStateRole and index.column() == CIRCLED:
            circled = value in (_CHECKED, _CHECKED.value)
            return self.say(index.row(), Entry(circled=circled, note=entry.note))
        if role == Qt.ItemDataRole.EditRole and index.column() == NOTE:
            note = " ".join(str(value).split())
            return note == entry.note or self.say(index.row(), Entry(circled=entry.circled, note=note))
        return False

    def _cells(self, take: Known, entry: Entry) -> tuple[str, ...]:
        name, lasts = take.path.stem, f"{take.lasts_s:.1f} s"
        if not take.usable:
            unusable = translate("takes", "cannot be used")
            return "", name, unusable, entry.note, "", "", "", "", "", "", take.fault
        state = translate("takes", "not whole") if take.fault else translate("takes", "whole")
        of = (take.cue, take.run, str(take.speed), when(take.started), lasts, ", ".join(take.by_hand), take.fault)
        return "", name, state, entry.note, *of


def _titles() -> tuple[str, ...]:
    return (
        translate("takes", "circled"),
        translate("takes", "take"),
        translate("takes", "file"),
        translate("takes", "note"),
        translate("takes", "cue"),
        translate("takes", "pass"),
        translate("takes", "speed"),
        translate("takes", "started"),
        translate("takes", "length"),
        translate("takes", "by hand"),
        translate("takes", "why"),
    )
