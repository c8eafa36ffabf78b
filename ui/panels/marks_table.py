"""Markers, cues and passes in tables: what can be dragged on the timeline, and their names, by number and keyboard.

It refuses to ask before it deletes: undo brings back.
"""

from PyQt6.QtCore import Qt
from PyQt6.QtGui import QKeySequence, QShortcut, QShowEvent
from PyQt6.QtWidgets import (
    QAbstractItemView,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QPushButton,
    QTableView,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from ui.acts.choose import choose_in_cue
from ui.acts.playhead import put_playhead
from ui.desk import Desk
from ui.language import translate
from ui.panels.entry import refusal
from ui.panels.marks_model import CUES, MARKERS, PASSES, Kind, MarksModel
from ui.theme import GAP_PX

_ROW_PX = 30
_NAME_PX = 190


class MarksTable(QWidget):
    """One table with its buttons: add, delete, and what can be done with a row."""

    def __init__(self, desk: Desk, kind: Kind, name: str) -> None:
        super().__init__()
        self._desk = desk
        self._kind = kind
        self.model = MarksModel(desk, kind)
        self.model.setParent(self)
        self.view = QTableView()
        self.view.setAccessibleName(name)
        self.view.setModel(self.model)
        self._dress()
        self.said = QLabel()
        self.said.setWordWrap(True)
        self.said.setTextFormat(Qt.TextFormat.PlainText)
        self.said.hide()
        self.buttons: dict[str, QPushButton] = {}
        row = QHBoxLayout()
        for button in self._offered():
            row.addWidget(button)
        row.addStretch(1)
        column = QVBoxLayout(self)
        column.setContentsMargins(GAP_PX, GAP_PX, GAP_PX, GAP_PX)
        column.addWidget(self.view, 1)
        column.addWidget(self.said)
        column.addLayout(row)
        self.model.refused.connect(self._say)
        delete = QShortcut(QKeySequence(Qt.Key.Key_Delete), self.view)
        delete.setContext(Qt.ShortcutContext.WidgetShortcut)  # not while a cell is written in
        delete.activated.connect(self._delete)

    def showEvent(self, event: QShowEvent | None) -> None:  # Qt's name
        super().showEvent(event)
        if self.model.rowCount() and not self.view.currentIndex().isValid():
            self.view.setCurrentIndex(self.model.index(0, 0))

    def _offered(self) -> list[QPushButton]:
        offered = [
            ("add", translate("marks", "Add"), self._add),
            ("delete", translate("marks", "Delete"), self._delete),
        ]
        if self._kind.set_time is not None:
            offered.append(("go", translate("marks", "Go there"), self._go))
        if self._kind is CUES:
            offered.append(("choose", translate("marks", "Choose its keys"), self._choose))
        if self._kind is PASSES:
            offered.append(("judge", translate("marks", "Judge at its speed"), self._judge))
        for name, words, act in offered:
            button = QPushButton(words)
            button.setAutoDefault(False)
            button.setAccessibleName(f"{words}: {self.view.accessibleName()}")
            button.clicked.connect(act)
            self.buttons[name] = button
        return list(self.buttons.values())

    def _dress(self) -> None:
        view = self.view
        view.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        view.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        view.setTabKeyNavigation(False)
        rows, columns = view.verticalHeader(), view.horizontalHeader()
        assert rows is not None
        assert columns is not None
        rows.hide()
        rows.setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        rows.setDefaultSectionSize(_ROW_PX)
        columns.setSectionResizeMode(QHeaderView.ResizeMode.Stretch)
        columns.setSectionResizeMode(0, QHeaderView.ResizeMode.Interactive)
        columns.setHighlightSections(False)
        view.setColumnWidth(0, _NAME_PX)

    def _row(self) -> int | None:
        index = self.view.currentIndex()
        if not index.isValid():
            self._say(translate("marks", "no row is chosen; choose one first"))
            return None
        return index.row()

    def _add(self) -> None:
        before = {self.model.name(row) for row in range(self.model.rowCount())}
        self._say(refusal(self._desk, lambda: self._kind.add(self._desk)))
        for row in range(self.model.rowCount()):
            if self.model.name(row) not in before:
                self.view.setCurrentIndex(self.model.index(row, 0))
                self.view.setFocus()
                self.view.edit(self.model.index(row, 0))

    def _delete(self) -> None:
        row = self._row()
        if row is not None:
            self._say(refusal(self._desk, lambda: self._kind.delete(self._desk, row)))
            left = self.model.rowCount()
            if left:
                self.view.setCurrentIndex(self.model.index(min(row, left - 1), 0))

    def _go(self) -> None:
        row = self._row()
        at = None if row is None else self.model.instant(row, self.view.currentIndex().column())
        if at is not None:
            put_playhead(self._desk, at)

    def _choose(self) -> None:
        row = self._row()
        if row is not None:
            choose_in_cue(self._desk, self.model.name(row))

    def _judge(self) -> None:
        row = self._row()
        if row is not None:
            self._desk.choose_run(self.model.name(row))

    def _say(self, words: str) -> None:
        self.said.setText(words)
        self.said.setVisible(bool(words))
        self.view.setAccessibleDescription(words)


class MarksPanel(QTabWidget):
    """Markers, cues and passes, each on a leaf of its own."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self.setAccessibleName(translate("marks", "Markers, cues and passes"))
        self.markers = MarksTable(desk, MARKERS, translate("marks", "Markers"))
        self.cues = MarksTable(desk, CUES, translate("marks", "Cues"))
        self.passes = MarksTable(desk, PASSES, translate("marks", "Passes"))
        for table in (self.markers, self.cues, self.passes):
            self.addTab(table, table.view.accessibleName())
