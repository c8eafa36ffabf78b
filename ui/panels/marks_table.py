"""Markers, cues, passes, orders to the camera and points in tables, by number and keyboard.

It refuses to ask before it deletes: undo brings back.
"""

from collections.abc import Callable

from PyQt6.QtCore import Qt
from PyQt6.QtGui import QKeySequence, QShortcut, QShowEvent
from PyQt6.QtWidgets import (
    QAbstractItemView,
    QHBoxLayout,
    QHeaderView,
    QPushButton,
    QTableView,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from sequencer.project.pass_words import verdicts
from sequencer.score.camera import Doing
from ui.acts.camera import propose_aim
from ui.acts.choose import choose_in_cue
from ui.acts.judging import Judging
from ui.acts.playhead import put_playhead
from ui.desk import Desk
from ui.label import Label
from ui.language import translate
from ui.panels.entry import refusal
from ui.panels.marks_model import CUES, MARKERS, ORDERS, PASSES, POINTS, Kind, MarksModel
from ui.theme import GAP_PX

Fire = Callable[[Doing], bool]

_ROW_PX = 30
_NAME_PX = 190


class MarksTable(QWidget):
    """One table with its buttons: add, delete, and what can be done with a row."""

    def __init__(self, desk: Desk, kind: Kind, name: str, fire: Fire | None = None) -> None:
        super().__init__()
        self._desk = desk
        self._kind = kind
        self._fire = fire
        self.model = MarksModel(desk, kind)
        self.model.setParent(self)
        self.view = QTableView()
        self.view.setAccessibleName(name)
        self.view.setModel(self.model)
        self._dress()
        self.said = Label()
        self.said.setWordWrap(True)
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
        self.judging: Judging[dict[str, str]] | None = None
        if kind is PASSES:
            self.judging = Judging(self.model.tell_verdicts, lambda fault: self._say(str(fault)), self)
            desk.changed.connect(self._find_out)
        delete = QShortcut(QKeySequence(Qt.Key.Key_Delete), self.view)
        delete.setContext(Qt.ShortcutContext.WidgetShortcut)  # not while a cell is written in
        delete.activated.connect(self._delete)

    def showEvent(self, event: QShowEvent | None) -> None:  # Qt's name
        super().showEvent(event)
        self._find_out()
        if self.model.rowCount() and not self.view.currentIndex().isValid():
            self.view.setCurrentIndex(self.model.index(0, 0))

    def _find_out(self) -> None:
        """Have each pass checked against the motors, in a thread, while somebody looks."""
        if self.judging is not None and self.isVisible() and not self._desk.drafting:
            project, laws = self._desk.project, self._desk.laws
            self.judging.ask(lambda: verdicts(project, laws))

    def _offered(self) -> list[QPushButton]:
        offered = [
            ("add", translate("marks", "Add"), self._add),
            ("delete", translate("marks", "Delete"), self._delete),
        ]
        if self._kind.set_time is not None or self._kind is ORDERS:
            offered.append(("go", translate("marks", "Go there"), self._go))
        if self._kind is CUES:
            offered.append(("choose", translate("marks", "Choose its keys"), self._choose))
        if self._kind is PASSES:
            offered.append(("judge", translate("marks", "Judge at its speed"), self._judge))
        if self._kind is POINTS:
            offered.append(("aim", translate("marks", "Aim at it in this cue…"), self._aim))
        if self._kind is ORDERS:
            offered.append(("try", translate("marks", "Try it now: nothing moves"), self._try))
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
        if self._kind is PASSES:
            # short words; what is left is for offset, scale and note
            for column in range(1, 5):
                columns.setSectionResizeMode(column, QHeaderView.ResizeMode.ResizeToContents)
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
        elif row is not None:
            self._say(translate("marks", "that is at an end of whichever cue is played"))

    def _choose(self) -> None:
        row = self._row()
        if row is not None:
            choose_in_cue(self._desk, self.model.name(row))

    def _judge(self) -> None:
        row = self._row()
        if row is not None:
            self._desk.choose_run(self.model.name(row))

    def _aim(self) -> None:
        row = self._row()
        if row is not None:
            self._say(refusal(self._desk, lambda: propose_aim(self._desk, self.model.name(row))))

    def _try(self) -> None:
        """Have the camera do what the row says; what came of it is in the log of the page Run."""
        row = self._row()
        if row is None:
            return
        name = self._desk.project.camera[row].do
        if self._fire is not None and self._fire(name):
            words = translate("marks", "{name} was ordered; look at the camera: whether it did it nobody hears")
            self._say(words.format(name=name))
        else:
            self._say(translate("marks", "no rig is connected; connect one on the page Run, then try it"))

    def _say(self, words: str) -> None:
        self.said.setText(words)
        self.said.setVisible(bool(words))
        self.view.setAccessibleDescription(words)


class MarksPanel(QTabWidget):
    """Markers, cues, passes, orders to the camera and points, each on a leaf of its own.

    `fire` has the camera do what an order is called, and says whether anybody was there to be told.
    """

    def __init__(self, desk: Desk, fire: Fire | None = None) -> None:
        super().__init__()
        self.setAccessibleName(translate("marks", "Markers, cues, passes, camera and points"))
        self.markers = MarksTable(desk, MARKERS, translate("marks", "Markers"))
        self.cues = MarksTable(desk, CUES, translate("marks", "Cues"))
        self.passes = MarksTable(desk, PASSES, translate("marks", "Passes"))
        self.orders = MarksTable(desk, ORDERS, translate("marks", "Camera"), fire)
        self.points = MarksTable(desk, POINTS, translate("marks", "Points"))
        for table in (self.markers, self.cues, self.passes, self.orders, self.points):
            self.addTab(table, table.view.accessibleName())
