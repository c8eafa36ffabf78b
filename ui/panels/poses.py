"""The project's marks in a table, with what stores, orders and deletes them. It sends the rig nowhere.

It refuses to ask before a mark is deleted: undo brings it back. All of them are deleted only where that is said twice.
"""

from collections.abc import Callable

from PyQt6.QtCore import QAbstractItemModel, QItemSelection, QItemSelectionModel, QModelIndex, Qt
from PyQt6.QtGui import QKeySequence, QResizeEvent, QShortcut
from PyQt6.QtWidgets import (
    QAbstractItemView,
    QComboBox,
    QGridLayout,
    QHeaderView,
    QPushButton,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTableView,
    QVBoxLayout,
    QWidget,
)

from ui.acts.poses import Poses, source
from ui.label import tip
from ui.language import translate
from ui.panels.entry import refusal
from ui.panels.fields import Told
from ui.panels.poses_keys import PosesKeys
from ui.panels.poses_model import LEG, NAME, PosesModel
from ui.theme import GAP_PX, STATE_PX, TARGET_PX, TEXT_PX

_AFAR_PX = 44  # of a row and a button in the face for running
_AROUND_PX = 10  # what a button's height has beside its words: padding and edges
_CRAMPED_PX = 300  # across: less has no room for four buttons in a row, or for larger letters
_ORDER = ("earlier", "later")  # as Alt+Up and Alt+Down, and dragging
_OFFERED = ("fastest", "75 % of speed", "50 % of speed", "25 % of speed", "2 s", "4 s", "8 s")
_SOME = QItemSelectionModel.SelectionFlag.ClearAndSelect | QItemSelectionModel.SelectionFlag.Rows


class PosesPanel(QWidget):
    """The table and its buttons; in their place for a while, what makes keys of marks."""

    def __init__(self, poses: Poses) -> None:
        super().__init__()
        self._poses, self._desk = poses, poses.desk
        self.setAccessibleName(translate("marks", "Marks"))
        self.model = PosesModel(poses)
        self.model.setParent(self)
        self.view = QTableView()
        self.view.setModel(self.model)
        self.view.setItemDelegateForColumn(LEG, LegCell(self))
        self._dress()
        self.said = Told(self._desk, fault=True)
        self.said.hide()
        self.buttons: dict[str, QPushButton] = {}
        self.keys = PosesKeys(poses)
        self.keys.hide()
        self.leaf = QWidget()
        self._lay_out()
        self._answer = ""
        self._choosing = False
        self._worn: tuple[bool, bool] | None = None
        self._connect()
        self._face()

    def _dress(self) -> None:
        view = self.view
        view.setAccessibleName(translate("marks", "Marks, in their order"))
        view.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        view.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        view.setTabKeyNavigation(False)
        view.setWordWrap(False)
        view.setDragDropMode(QAbstractItemView.DragDropMode.InternalMove)
        view.setDragDropOverwriteMode(False)
        view.setDefaultDropAction(Qt.DropAction.MoveAction)
        view.setHorizontalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        view.setMinimumSize(220, 70)
        rows, columns = view.verticalHeader(), view.horizontalHeader()
        assert rows is not None
        assert columns is not None
        rows.hide()
        rows.setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        columns.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        columns.setHighlightSections(False)
        columns.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)

    def _lay_out(self) -> None:
        self._grid = QGridLayout()
        self._grid.setSpacing(GAP_PX // 2)
        for name, words, act in self._offered():
            button = QPushButton(words)
            button.setAutoDefault(False)
            button.setAccessibleName(words)
            button.clicked.connect(act)
            self.buttons[name] = button
        lines = QVBoxLayout(self.leaf)
        lines.setContentsMargins(0, 0, 0, 0)
        lines.setSpacing(GAP_PX // 2)
        lines.addWidget(self.view, 1)
        lines.addWidget(self.said)
        lines.addLayout(self._grid)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(GAP_PX, GAP_PX, GAP_PX, GAP_PX)
        whole.addWidget(self.leaf)
        whole.addWidget(self.keys)

    def _offered(self) -> tuple[tuple[str, str, Callable[[], None]], ...]:
        return (
            ("store", translate("marks", "Store"), self._store),
            ("overwrite", translate("marks", "Overwrite"), self._overwrite),
            ("delete", translate("marks", "Delete"), self._delete),
            ("clear", translate("marks", "Delete all…"), self._poses.clear),
            ("earlier", translate("marks", "Earlier"), lambda: self._move(-1)),
            ("later", translate("marks", "Later"), lambda: self._move(1)),
            ("keys", translate("marks", "Make keys…"), self._make_keys),
        )

    def _connect(self) -> None:
        poses, desk = self._poses, self._desk
        for keys, act in (
            ("Del", self._delete),
            ("Ins", self._store),
            ("Alt+Up", lambda: self._move(-1)),
            ("Alt+Down", lambda: self._move(1)),
        ):
            shortcut = QShortcut(QKeySequence(keys), self.view)
            shortcut.setContext(Qt.ShortcutContext.WidgetShortcut)  # not while a cell is written in
            shortcut.activated.connect(act)
        self.model.refused.connect(self._say)
        self.model.modelReset.connect(self._show_chosen)
        self.keys.left.connect(self._back)
        selection = self.view.selectionModel()
        assert selection is not None
        selection.selectionChanged.connect(self._choose)
        selection.currentChanged.connect(self._choose)
        poses.chose.connect(self._show_chosen)
        poses.moved.connect(self._show)
        desk.changed.connect(self._show)
        desk.faced.connect(self._face)
        self._show_chosen()

    # what is chosen

    def _choose(self, *_: object) -> None:
        selection = self.view.selectionModel()
        if self._choosing or selection is None:
            return
        names = {self.model.name(index.row()) for index in selection.selectedRows()}
        current = self.view.currentIndex()
        self._answer = ""
        self._poses.choose(names, self.model.name(current.row()) if current.isValid() else "")
        self._show()

    def _show_chosen(self) -> None:
        """Choose the rows of what is chosen, wherever that was done."""
        selection = self.view.selectionModel()
        assert selection is not None
        self._choosing = True
        rows = [row for name in self._poses.chosen if (row := self.model.row(name)) is not None]
        now = QItemSelection()
        for row in rows:
            now.select(self.model.index(row, 0), self.model.index(row, self.model.columnCount() - 1))
        selection.select(now, _SOME)
        row = self.model.row(self._poses.current)
        if row is not None and self.view.currentIndex().row() != row:
            selection.setCurrentIndex(self.model.index(row, NAME), QItemSelectionModel.SelectionFlag.NoUpdate)
            self.view.scrollTo(self.model.index(row, NAME))
        self._choosing = False
        self._show()

    # acts

    def _do(self, act: Callable[[], object]) -> bool:
        self._say(refusal(self._desk, act))
        return not self._answer

    def _store(self) -> None:
        # while anything is armed or moves a space in the name would stop the rig
        if self._do(self._poses.store) and not self._poses.link.dangerous:
            self._write_name()

    def _write_name(self) -> None:
        row = self.model.row(self._poses.current)
        if row is not None and self.isVisible():
            self.view.setFocus()
            self.view.edit(self.model.index(row, NAME))

    def _one(self, act: Callable[[str], object]) -> None:
        name = self._poses.current
        if name:
            self._do(lambda: act(name))
        else:
            self._say(translate("marks", "no mark is chosen; choose one first"))

    def _overwrite(self) -> None:
        self._one(self._poses.overwrite)

    def _delete(self) -> None:
        self._one(lambda _: self._poses.delete(self._poses.chosen))

    def _move(self, by: int) -> None:
        self._one(lambda name: self._poses.move(name, by))

    def _make_keys(self) -> None:
        self._turn(to_keys=True)
        self.keys.begin()

    def _back(self) -> None:
        self._turn(to_keys=False)
        self.view.setFocus()

    def _turn(self, *, to_keys: bool) -> None:
        """Show the one or the other; what is hidden takes no room."""
        self.leaf.setVisible(not to_keys)
        self.keys.setVisible(to_keys)

    # what is shown

    def _say(self, words: str) -> None:
        self._answer = words
        self._show()

    def _show(self) -> None:
        """Say what was refused last; and to those who hear the table, what is wrong with the chosen mark."""
        self.said.tell(self._answer)
        self.view.setAccessibleDescription(self._answer or self._poses.trouble(self._poses.current))
        for name in ("store", "overwrite"):
            button, place = self.buttons[name], source(self._poses)
            button.setAccessibleName(f"{button.text()}: {place}")
            button.setToolTip(tip(place))

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        super().resizeEvent(event)
        self._face()

    def _face(self) -> None:
        """Use larger letters and targets in the face for running, which makes no keys."""
        afar, cramped = self._desk.face == "run", self.width() < _CRAMPED_PX
        if self._worn == (afar, cramped):  # it was the lock that is another
            self._show()
            return
        self._worn = (afar, cramped)
        tall, text = (_AFAR_PX, STATE_PX) if afar else (TARGET_PX, TEXT_PX)
        words, beside_px = (TEXT_PX, 2) if cramped else (text, 5)
        self.setStyleSheet(
            f"QPushButton {{ min-height: {tall - _AROUND_PX}px; font-size: {words}px; padding: 4px {beside_px}px; }}"
            f"QTableView, QHeaderView::section, QLabel {{ font-size: {text}px; }}"
        )
        rows = self.view.verticalHeader()
        assert rows is not None
        rows.setDefaultSectionSize(tall)
        for button in self.buttons.values():
            self._grid.removeWidget(button)
        shown = [one for name, one in self.buttons.items() if not (cramped and name in _ORDER)]
        for place, button in enumerate(shown):
            self._grid.addWidget(button, *divmod(place, 3 if afar or cramped else 4))
        self.buttons["keys"].setVisible(not afar)
        self.buttons["clear"].setVisible(not (afar and cramped))
        for name in _ORDER:
            self.buttons[name].setVisible(not cramped)
        if afar:
            self._turn(to_keys=False)
        self._show()


class LegCell(QStyledItemDelegate):
    """The pace of a leg: chosen among a few, or typed."""

    def createEditor(self, parent: QWidget | None, option: QStyleOptionViewItem, index: QModelIndex) -> QWidget | None:
        box = QComboBox(parent)
        box.setEditable(True)
        box.setInsertPolicy(QComboBox.InsertPolicy.NoInsert)
        box.setAccessibleName(translate("marks", "How the rig goes to the mark"))
        box.addItems([translate("marks", words) for words in _OFFERED])
        box.activated.connect(lambda _: self._commit(box))
        return box

    def _commit(self, box: QComboBox) -> None:
        self.commitData.emit(box)
        self.closeEditor.emit(box)

    def setEditorData(self, editor: QWidget | None, index: QModelIndex) -> None:
        if isinstance(editor, QComboBox):
            editor.setEditText(str(index.data(Qt.ItemDataRole.EditRole)))

    def setModelData(self, editor: QWidget | None, model: QAbstractItemModel | None, index: QModelIndex) -> None:
        if isinstance(editor, QComboBox) and model is not None:
            model.setData(index, editor.currentText())
