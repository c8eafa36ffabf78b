"""All keys of the move as rows of a table, read from the desk when they are shown. It keeps no copy of them.

It refuses to write what the edits refuse; why stands in `refused`.
"""

from bisect import bisect_right
from collections.abc import Mapping
from itertools import accumulate

from PyQt6.QtCore import QAbstractTableModel, QModelIndex, Qt, pyqtSignal

from sequencer.score.move import PASSINGS, TURNS, Key, Passing, Track, Turn
from ui.acts.keys import set_key
from ui.acts.laws import offered_laws, pass_keys, pin_keys, shape_legs, turn_legs
from ui.acts.written import value_text, written
from ui.desk import Desk
from ui.language import translate
from ui.panels.entry import refusal
from ui.panels.typed import Times, typed_instant, typed_number

AXIS, TIME, VALUE, LAW, PASSING, TURN, PIN = range(7)
COLUMNS = ("axis", "time", "value", "law", "at the key", "way round", "pin")
AS_WRITTEN = "as written"
_SHORT = 3  # decimals in a cell; all of them while it is edited


class KeysModel(QAbstractTableModel):
    """A row for each key of `axis`, or of all axes. `refused`: why an edit was not done, or nothing when one was."""

    refused = pyqtSignal(str)

    def __init__(self, desk: Desk, axis: str | None = None) -> None:
        super().__init__()
        self._desk = desk
        self._axis = axis
        self._lay()
        desk.changed.connect(self._follow)
        desk.preferred.connect(self._tell)

    def show_axis(self, axis: str | None) -> None:
        """Have rows for one axis only, or for all."""
        if axis != self._axis:
            self.beginResetModel()
            self._axis = axis
            self._lay()
            self.endResetModel()

    @property
    def axis(self) -> str | None:
        return self._axis

    def place(self, row: int) -> tuple[Track, int]:
        """Return the track and the number of the key in a row."""
        number = bisect_right(self._first, row) - 1
        return self._tracks[number], row - self._first[number]

    def rows(self, selection: Mapping[str, frozenset[int] | set[int]]) -> list[tuple[int, int]]:
        """Return the stretches of rows, first and last, in which the chosen keys stand."""
        found: list[tuple[int, int]] = []
        for track, first in zip(self._tracks, self._first, strict=False):
            for number in sorted(selection.get(track.axis, ())):
                if found and found[-1][1] == first + number - 1:
                    found[-1] = (found[-1][0], first + number)
                else:
                    found.append((first + number, first + number))
        return found

    def has_turns(self) -> bool:
        """Whether an axis can go round, so that a way round can be chosen."""
        return any(axis.travel is None and axis.unit == "deg" for axis in self._desk.project.rig.axes)

    def choices(self, column: int) -> tuple[str, ...]:
        """Return the words that a column's cells can have, where they can have only some."""
        return {LAW: offered_laws(self._desk), PASSING: PASSINGS, TURN: (AS_WRITTEN, *TURNS)}.get(column, ())

    def rowCount(self, parent: QModelIndex = QModelIndex()) -> int:  # noqa: B008 - Qt's own way
        return 0 if parent.isValid() else self._first[-1]

    def columnCount(self, parent: QModelIndex = QModelIndex()) -> int:  # noqa: B008 - Qt's own way
        return 0 if parent.isValid() else len(COLUMNS)

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        if orientation != Qt.Orientation.Horizontal or role != Qt.ItemDataRole.DisplayRole:
            return None
        return translate("keys table", COLUMNS[section])

    def data(self, index: QModelIndex, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        if role not in _ROLES or not index.isValid():
            return None
        track, number = self.place(index.row())
        key, column = track.keys[number], index.column()
        if role == Qt.ItemDataRole.TextAlignmentRole:
            return Qt.AlignmentFlag.AlignVCenter | (
                Qt.AlignmentFlag.AlignRight if column == VALUE else Qt.AlignmentFlag.AlignLeft
            )
        if role == Qt.ItemDataRole.CheckStateRole:
            checked = Qt.CheckState.Checked if key.pin else Qt.CheckState.Unchecked
            return checked if column == PIN else None
        if role == Qt.ItemDataRole.AccessibleTextRole:
            return f"{translate('keys table', COLUMNS[column])}: {self._text(track, key, column, _SHORT)}"
        return self._text(track, key, column, 9 if role == Qt.ItemDataRole.EditRole else _SHORT)

    def flags(self, index: QModelIndex) -> Qt.ItemFlag:
        column = index.column()
        if column == PIN:
            return _CHECKED
        if column == AXIS or (column == TURN and not self._goes_round(index.row())):
            return _READ
        return _WRITTEN

    def setData(self, index: QModelIndex, value: object, role: int = Qt.ItemDataRole.EditRole) -> bool:
        if not index.isValid() or role not in (Qt.ItemDataRole.EditRole, Qt.ItemDataRole.CheckStateRole):
            return False
        track, number = self.place(index.row())
        key, column, text = track.keys[number], index.column(), str(value)
        if role == Qt.ItemDataRole.EditRole and text == self._text(track, key, column, 9):
            self.refused.emit("")
            return False
        why = refusal(self._desk, lambda: self._write(track, number, column, value))
        self.refused.emit(why)
        return not why

    def _write(self, track: Track, number: int, column: int, value: object) -> None:
        desk, axis, key, text = self._desk, track.axis, track.keys[number], str(value)
        own = {axis: {number}}
        if column == TIME:
            project = desk.project
            times = Times(timebase=project.timebase, tempo=project.tempo, counted=desk.counted, here=key.at)
            set_key(desk, axis, number, at=typed_instant(text, times))
        elif column == VALUE:
            set_key(desk, axis, number, value=typed_number(text, self._unit(axis)))
        elif column == LAW:
            shape_legs(desk, own, text)
        elif column == PASSING:
            passings: dict[str, Passing] = {how: how for how in PASSINGS}
            pass_keys(desk, own, passings[text])
        elif column == TURN:
            turns: dict[str, Turn] = {turn: turn for turn in TURNS}
            turn_legs(desk, own, turns.get(text))
        elif column == PIN:
            pin_keys(desk, own, Qt.CheckState(value) == Qt.CheckState.Checked)

    def _text(self, track: Track, key: Key, column: int, decimals: int) -> str:
        if column == AXIS:
            return track.axis
        if column == TIME:
            project = self._desk.project
            return written(key.at, self._desk.counted, project.timebase, project.tempo, decimals)
        if column == VALUE:
            return value_text(key.value, self._unit(track.axis), decimals)
        if column == TURN:
            return key.turn or (AS_WRITTEN if self._desk.project.rig.travels[track.axis] is None else "")
        if column == PIN:
            return translate("keys table", "pinned") if key.pin else ""
        return {LAW: key.ease.law, PASSING: key.passing}.get(column, "")

    def _unit(self, axis: str) -> str:
        rig = self._desk.project.rig
        return rig.axes[rig.index(axis)].unit

    def _goes_round(self, row: int) -> bool:
        rig = self._desk.project.rig
        axis = rig.axes[rig.index(self.place(row)[0].axis)]
        return axis.travel is None and axis.unit == "deg"

    def _lay(self) -> None:
        tracks = self._desk.project.move.tracks
        self._tracks = [track for track in tracks if self._axis in (None, track.axis)]
        self._first = [0, *accumulate(len(track.keys) for track in self._tracks)]

    def _follow(self) -> None:
        """Show other values; where keys came or went, other rows."""
        before = [(track.axis, len(track.keys)) for track in self._tracks]
        tracks = [track for track in self._desk.project.move.tracks if self._axis in (None, track.axis)]
        if [(track.axis, len(track.keys)) for track in tracks] == before:
            self._tracks = tracks
            self._tell()
        else:
            self.beginResetModel()
            self._lay()
            self.endResetModel()

    def _tell(self) -> None:
        if self._first[-1]:
            self.dataChanged.emit(self.index(0, 0), self.index(self._first[-1] - 1, len(COLUMNS) - 1))


# flags are asked for thousands of cells at once
_READ = Qt.ItemFlag.ItemIsSelectable | Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemNeverHasChildren
_WRITTEN = _READ | Qt.ItemFlag.ItemIsEditable
_CHECKED = _READ | Qt.ItemFlag.ItemIsUserCheckable
_ROLES = frozenset(
    {
        Qt.ItemDataRole.DisplayRole,
        Qt.ItemDataRole.EditRole,
        Qt.ItemDataRole.TextAlignmentRole,
        Qt.ItemDataRole.CheckStateRole,
        Qt.ItemDataRole.AccessibleTextRole,
    }
)
