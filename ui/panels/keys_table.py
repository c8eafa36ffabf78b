"""The keys as a table beside the timeline: the same keys are chosen in both, and numbers are edited in their cells.

It refuses to ask in a dialog: why a number was refused stands below the table.
"""

from PyQt6.QtCore import QAbstractItemModel, QItemSelection, QItemSelectionModel, QModelIndex, Qt, QTimer
from PyQt6.QtGui import QKeySequence, QShortcut, QShowEvent
from PyQt6.QtWidgets import (
    QAbstractItemView,
    QComboBox,
    QHBoxLayout,
    QHeaderView,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTableView,
    QVBoxLayout,
    QWidget,
)

from ui.acts.keys import delete_keys
from ui.desk import Desk
from ui.label import Label
from ui.language import translate
from ui.panels.entry import refusal
from ui.panels.keys_model import AXIS, COLUMNS, LAW, PASSING, PIN, TIME, TURN, VALUE, KeysModel
from ui.theme import GAP_PX

_ROW_PX = 30
_WIDTHS_PX = {AXIS: 80, TIME: 170, VALUE: 110, LAW: 150, PASSING: 90, TURN: 100, PIN: 96}


class _Choices(QStyledItemDelegate):
    """Offers the words of a column; what is chosen is written at once."""

    def createEditor(
        self, parent: QWidget | None, option: QStyleOptionViewItem, index: QModelIndex
    ) -> QWidget | None:  # Qt's name
        model = index.model()
        if not isinstance(model, KeysModel):
            return None
        combo = QComboBox(parent)
        combo.addItems(model.choices(index.column()))
        combo.setAccessibleName(translate("keys table", COLUMNS[index.column()]))
        combo.activated.connect(lambda number: self._end(combo))
        QTimer.singleShot(0, combo.showPopup)  # with the list open, arrows choose and only enter takes
        return combo

    def setEditorData(self, editor: QWidget | None, index: QModelIndex) -> None:  # Qt's name
        if isinstance(editor, QComboBox):
            editor.setCurrentText(str(index.data(Qt.ItemDataRole.EditRole)))

    def setModelData(
        self, editor: QWidget | None, model: QAbstractItemModel | None, index: QModelIndex
    ) -> None:  # Qt's name
        if isinstance(editor, QComboBox) and model is not None:
            model.setData(index, editor.currentText())

    def _end(self, combo: QComboBox) -> None:
        self.commitData.emit(combo)
        self.closeEditor.emit(combo)


class KeysTable(QWidget):
    """The table, and above it of which axis the keys are."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._following = False
        self.setAccessibleName(translate("keys table", "Table of keys"))
        self.model = KeysModel(desk)
        self.view = QTableView()
        self.view.setAccessibleName(translate("keys table", "Keys"))
        self.view.setModel(self.model)
        self._dress()
        self.axes = QComboBox()
        self.axes.setAccessibleName(translate("keys table", "Keys of"))
        self.axes.activated.connect(self._choose_axis)
        self.said = Label()
        self.said.setWordWrap(True)
        label = Label(translate("keys table", "Keys of"))
        label.setBuddy(self.axes)
        row = QHBoxLayout()
        row.addWidget(label)
        row.addWidget(self.axes)
        row.addStretch(1)
        column = QVBoxLayout(self)
        column.setContentsMargins(GAP_PX, GAP_PX, GAP_PX, GAP_PX)
        column.addLayout(row)
        column.addWidget(self.view, 1)
        column.addWidget(self.said)
        self.said.hide()
        self.model.refused.connect(self._say)
        self.model.setParent(self)
        self.model.modelReset.connect(self._show_chosen)
        chosen = self.view.selectionModel()
        assert chosen is not None
        self._chosen = chosen
        chosen.selectionChanged.connect(self._choose)
        delete = QShortcut(QKeySequence(Qt.Key.Key_Delete), self.view)
        delete.setContext(Qt.ShortcutContext.WidgetShortcut)  # not while a cell is written in
        delete.activated.connect(lambda: self._say(refusal(desk, lambda: delete_keys(desk))))
        desk.selected.connect(self._show_chosen)
        desk.opened.connect(self._list_axes)
        desk.changed.connect(self._show_columns)
        self._list_axes()
        self._show_columns()
        self._show_chosen()

    def showEvent(self, event: QShowEvent | None) -> None:  # Qt's name
        super().showEvent(event)
        self._show_chosen()

    def show_axis(self, axis: str | None) -> None:
        """Show the keys of one axis, or of all."""
        self.model.show_axis(axis)
        names = self._desk.project.rig.names
        self.axes.setCurrentIndex(0 if axis is None else names.index(axis) + 1)

    def _dress(self) -> None:
        view = self.view
        view.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        view.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        view.setEditTriggers(
            QAbstractItemView.EditTrigger.DoubleClicked
            | QAbstractItemView.EditTrigger.EditKeyPressed
            | QAbstractItemView.EditTrigger.AnyKeyPressed
        )
        view.setTabKeyNavigation(False)  # tab goes on to the next part of the window
        view.setHorizontalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        view.setWordWrap(False)
        rows, columns = view.verticalHeader(), view.horizontalHeader()
        assert rows is not None
        assert columns is not None
        rows.hide()
        rows.setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        rows.setDefaultSectionSize(_ROW_PX)
        columns.setHighlightSections(False)
        # else it would ask, each time it is painted, whether all rows of a column are chosen
        columns.setSelectionModel(QItemSelectionModel(self.model, columns))
        columns.setStretchLastSection(True)
        for column, width_px in _WIDTHS_PX.items():
            view.setColumnWidth(column, width_px)
        self._choices = _Choices(view)
        for column in (LAW, PASSING, TURN):
            view.setItemDelegateForColumn(column, self._choices)

    def _list_axes(self) -> None:
        names = self._desk.project.rig.names
        self.model.show_axis(self.model.axis if self.model.axis in names else None)
        self.axes.clear()
        self.axes.addItems([translate("keys table", "all axes"), *names])
        self.show_axis(self.model.axis)

    def _show_columns(self) -> None:
        hidden = not self.model.has_turns()
        if self.view.isColumnHidden(TURN) != hidden:
            self.view.setColumnHidden(TURN, hidden)

    def _choose_axis(self, number: int) -> None:
        self.model.show_axis(self._desk.project.rig.names[number - 1] if number else None)

    def _show_chosen(self) -> None:
        """Mark the rows of the keys that are chosen on the desk."""
        if self._following:
            return
        self._following = True
        selection = QItemSelection()
        last = len(COLUMNS) - 1
        chosen = {axis: frozenset(own) for axis, own in self._desk.selection.items()}
        stretches = self.model.rows(chosen)
        for first_row, last_row in stretches:
            selection.select(self.model.index(first_row, 0), self.model.index(last_row, last))
        self._chosen.select(selection, QItemSelectionModel.SelectionFlag.ClearAndSelect)
        if stretches:
            index = self.model.index(stretches[0][0], max(0, self.view.currentIndex().column()))
            self._chosen.setCurrentIndex(index, QItemSelectionModel.SelectionFlag.NoUpdate)
            self.view.scrollTo(index)
        self._following = False

    def _choose(self) -> None:
        """Choose on the desk what is marked here; keys of axes that are not shown stay chosen."""
        if self._following:
            return
        found: dict[str, set[int]] = {}
        selection = self._chosen.selection()
        for part in (selection[number] for number in range(len(selection))):
            row = part.top()
            while row <= part.bottom():
                track, number = self.model.place(row)
                until = min(part.bottom(), row + len(track.keys) - 1 - number)
                found.setdefault(track.axis, set()).update(range(number, number + until - row + 1))
                row = until + 1
        shown = self.model.axis
        before = {} if shown is None else {a: own for a, own in self._desk.selection.items() if a != shown}
        self._following = True
        self._desk.select({**before, **found})
        self._following = False

    def _say(self, words: str) -> None:
        self.said.setText(words)
        self.said.setVisible(bool(words))
        self.view.setAccessibleDescription(words)
