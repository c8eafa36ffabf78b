"""The list of takes as a table whose notes and circles are edited in place. It refuses to touch a take file."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from PyQt6.QtCore import QAbstractTableModel, QModelIndex, QObject, Qt, pyqtSignal

from sequencer.project.library import Filed, Library, size_words, when
from sequencer.project.takelog import Change, Entry
from ui.label import tip
from ui.language import translate
from ui.panels.takes_list import why

CIRCLED, NAME, STANDING, NOTE = range(4)
_CHECKED = Qt.CheckState.Checked
_NOWHERE = Library(folder=Path())


class TakesModel(QAbstractTableModel):
    """`keep` is given what the operator says anew of a take, and returns whether it is on the disk.

    `said`: something was said of a take, which now is this one.
    """

    said = pyqtSignal(object)

    def __init__(self, keep: Callable[[Path, Change], bool], parent: QObject) -> None:
        super().__init__(parent)
        self._keep = keep
        self.listed = _NOWHERE

    def show(self, listed: Library) -> None:
        """Show another list; the same one changes nothing."""
        if listed.takes != self.listed.takes:
            self.beginResetModel()
            self.listed = listed
            self.endResetModel()
        self.listed = listed

    def entry(self, row: int) -> Entry:
        """Return what is said of the take in a row."""
        return self.listed.takes[row].said

    def say(self, row: int, change: Change) -> bool:
        """Keep what is said of a take; return whether that went well."""
        takes = list(self.listed.takes)
        if not self._keep(takes[row].path, change):
            return False
        entry = takes[row].said
        circled = entry.circled if change.circled is None else change.circled
        note = entry.note if change.note is None else change.note
        takes[row] = replace(takes[row], said=Entry(circled=circled, note=note))
        self.listed = replace(self.listed, takes=tuple(takes))
        self.dataChanged.emit(self.index(row, 0), self.index(row, self.columnCount() - 1))
        self.said.emit(takes[row])
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
            return tip(self.entry(row).note if column == NOTE else why(take)) or None
        if role == Qt.ItemDataRole.AccessibleTextRole and column == CIRCLED:
            return translate("takes", "circled") if self.entry(row).circled else translate("takes", "not circled")
        return None

    def setData(self, index: QModelIndex, value: object, role: int = Qt.ItemDataRole.EditRole) -> bool:
        entry = self.entry(index.row())
        if role == Qt.ItemDataRole.CheckStateRole and index.column() == CIRCLED:
            return self.say(index.row(), Change(circled=value in (_CHECKED, _CHECKED.value)))
        if role == Qt.ItemDataRole.EditRole and index.column() == NOTE:
            note = " ".join(str(value).split())
            return note == entry.note or self.say(index.row(), Change(note=note))
        return False

    def _cells(self, take: Filed, entry: Entry) -> tuple[str, ...]:
        size, standing = size_words(take.bytes), translate("takes", take.standing)
        if not take.usable:
            return "", take.name, standing, entry.note, "", "", "", "", "", size, "", why(take)
        lasts = f"{take.lasts_s:.1f} s"
        of = (take.cue, take.run, str(take.speed), when(take.started), lasts, size, ", ".join(take.by_hand), why(take))
        return "", take.name, standing, entry.note, *of


def _titles() -> tuple[str, ...]:
    return (
        translate("takes", "circled"),
        translate("takes", "take"),
        translate("takes", "how it went"),
        translate("takes", "note"),
        translate("takes", "cue"),
        translate("takes", "pass"),
        translate("takes", "speed"),
        translate("takes", "started"),
        translate("takes", "length"),
        translate("takes", "size"),
        translate("takes", "by hand"),
        translate("takes", "why"),
    )
