"""The takes of the project: a search, notes, circled takes, and how well chosen takes match.

It refuses to change or delete a take file, and to wait for the disk while somebody types.
"""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from PyQt6.QtCore import QFileSystemWatcher, Qt, QTimer
from PyQt6.QtGui import QKeySequence, QShortcut
from PyQt6.QtWidgets import (
    QAbstractItemView,
    QHBoxLayout,
    QHeaderView,
    QLineEdit,
    QPushButton,
    QSplitter,
    QStackedLayout,
    QTableView,
    QVBoxLayout,
    QWidget,
)

from sequencer.errors import TakeError
from sequencer.project import takelog
from sequencer.project.library import FOLDER, Filed, Library
from ui.desk import Desk
from ui.label import Label
from ui.language import translate
from ui.panels.capture import CapturePanel
from ui.panels.compared import Compared, ComparedView, compared, write_report
from ui.panels.job import Job
from ui.panels.tables import dress
from ui.panels.takes_list import fitting, listed, total, why
from ui.panels.takes_model import NOTE, TakesModel
from ui.panels.typed import Mistyped, typed_number
from ui.theme import GAP_PX

_SETTLE_MS = 250  # after the folder changed last
_NOTE_PX = 240


class TakesPanel(QWidget):
    """The list above, the comparison of the chosen takes below."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._reading: Job | None = None
        self._comparing: Job | None = None
        self._compared: Compared | None = None
        self._library = Library(folder=Path())
        self.setAccessibleName(translate("takes", "Takes"))
        self.table = QTableView()
        self.model = TakesModel(self._keep, self.table)
        self.model.said.connect(self._said)
        self._build()
        self._settle = QTimer(self)
        self._settle.setSingleShot(True)
        self._settle.setInterval(_SETTLE_MS)
        self._settle.timeout.connect(self.refresh)
        self._watcher = QFileSystemWatcher(self)
        self._watcher.directoryChanged.connect(lambda _: self._settle.start())
        self._watcher.fileChanged.connect(lambda _: self._settle.start())
        desk.opened.connect(self._begin)
        desk.changed.connect(self._follow_folder)
        self._begin()

    def _build(self) -> None:
        self._build_table()
        self.told = Label()
        self.told.setWordWrap(True)
        self.within = QLineEdit()
        self.within.setAccessibleName(translate("takes", "Pixels that the picture may shift"))
        self.within.setPlaceholderText(translate("takes", "any"))
        self.within.setMaximumWidth(90)
        self.within.returnPressed.connect(self.compare)
        self.circle = self._button(translate("takes", "Circle"), self.circle_chosen)
        self.circle.setToolTip(translate("takes", "the chosen takes, or no longer: Ctrl+Enter; F2 writes a note"))
        self._build_search()
        self.compare_chosen = self._button(translate("takes", "Compare chosen takes"), self.compare)
        self.cancel = self._button(translate("takes", "Cancel"), self._give_up)
        self.report = self._button(translate("takes", "Write the report"), self._write_report)
        self.keys = self._button(translate("takes", "Make keys of it"), self._make_keys)
        self.keys.setToolTip(translate("takes", "choose one take in which hands performed axes"))
        self.capture = CapturePanel(self._desk)
        self.capture.left.connect(self._show_list)
        self.result = ComparedView()
        row = QHBoxLayout()
        for widget in (self.circle, self.keys, self.compare_chosen):
            row.addWidget(widget)
        row.addWidget(Label(translate("takes", "within")))
        row.addWidget(self.within)
        row.addWidget(Label(translate("takes", "pixels")))
        row.addStretch(1)
        row.addWidget(self.cancel)
        row.addWidget(self.report)
        above = QWidget()
        column = QVBoxLayout(above)
        column.setContentsMargins(0, 0, 0, 0)
        column.addLayout(self._search_row())
        for part in (self.told, self.table):
            column.addWidget(part)
        column.addLayout(row)
        split = self._split = QSplitter(Qt.Orientation.Vertical)
        split.addWidget(above)
        split.addWidget(self.result)
        split.setStretchFactor(0, 1)
        split.setChildrenCollapsible(False)
        self._pages = QStackedLayout(self)
        self._pages.setContentsMargins(GAP_PX, GAP_PX, GAP_PX, GAP_PX)
        for page in (split, self.capture):
            self._pages.addWidget(page)
        if (chosen := self.table.selectionModel()) is not None:
            chosen.selectionChanged.connect(lambda *_: self._follow_choice())
        self.model.modelReset.connect(self._enable)

    def _build_table(self) -> None:
        self.table.setModel(self.model)
        dress(self.table, translate("takes", "Takes; F2 writes a note, Ctrl+Enter circles"))
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        if (head := self.table.horizontalHeader()) is not None:
            head.setSectionResizeMode(NOTE, QHeaderView.ResizeMode.Interactive)
            head.resizeSection(NOTE, _NOTE_PX)
        triggers = QAbstractItemView.EditTrigger
        self.table.setEditTriggers(triggers.DoubleClicked | triggers.EditKeyPressed)

    def _build_search(self) -> None:
        self.search = QLineEdit()
        self.search.setAccessibleName(translate("takes", "Search the takes"))
        self.search.setPlaceholderText(
            translate("takes", "name, cue, pass, note, date; or: circled, whole, stopped, broken, by hand")
        )
        self.search.setToolTip(translate("takes", "takes of which all these words are said; Ctrl+F comes here"))
        self.search.setClearButtonEnabled(True)
        self.search.textChanged.connect(lambda _: self._show(self._library))
        self.total = Label()
        with_parts = Qt.ShortcutContext.WidgetWithChildrenShortcut
        for keys, do in ((QKeySequence.StandardKey.Find, self._to_search), ("Ctrl+Return", self.circle_chosen)):
            QShortcut(QKeySequence(keys), self, context=with_parts).activated.connect(do)
        QShortcut(QKeySequence("Ctrl+Enter"), self, context=with_parts).activated.connect(self.circle_chosen)

    def _search_row(self) -> QHBoxLayout:
        row = QHBoxLayout()
        row.addWidget(Label(translate("takes", "Search")))
        row.addWidget(self.search, 1)
        row.addWidget(self.total)
        return row

    def _to_search(self) -> None:
        self.search.setFocus(Qt.FocusReason.ShortcutFocusReason)
        self.search.selectAll()

    def _button(self, words: str, do: Callable[[], None]) -> QPushButton:
        button = QPushButton(words)
        button.setAccessibleName(words)
        button.setAutoDefault(False)
        button.clicked.connect(do)
        return button

    # the list

    @property
    def folder(self) -> Path | None:
        """Where the takes of the project are; None for one that is not on the disk."""
        return None if self._desk.folder is None else self._desk.folder / FOLDER

    @property
    def busy(self) -> bool:
        """Whether something is being read, compared or written."""
        return self._reading is not None or self._comparing is not None

    def refresh(self) -> None:
        """Look into the folder again; what is there already is not read twice."""
        if self.table.state() == QAbstractItemView.State.EditingState:
            self._settle.start()  # nobody loses the note that is being typed
            return
        if self._reading is not None:
            self._reading.cancel()
            self._reading = None
        self._watch()
        folder, known = self.folder, self._library.takes
        if folder is None:
            self._show(Library(folder=Path()))
            return
        job = Job(lambda go_on: listed(folder, known, go_on), self)
        job.done.connect(self._read)
        job.failed.connect(self._read_failed)
        self._reading = job.start()

    def _begin(self) -> None:
        """Another project is on the desk."""
        self._give_up()
        self.capture.give_up()
        self._show_list()
        self._library, self._compared = Library(folder=Path()), None
        self._of = self.folder
        self.result.clear("")
        self.refresh()

    def _follow_folder(self) -> None:
        """Look elsewhere when the project was saved in another folder."""
        if self.folder != self._of:
            self._begin()

    def _watch(self) -> None:
        """Be told of new takes, and of a takes folder that is made later."""
        if there := self._watcher.directories() + self._watcher.files():
            self._watcher.removePaths(there)
        folder = self.folder
        wanted = [] if folder is None else [path for path in (folder, folder.parent) if path.is_dir()]
        # one that breaks off may still be growing
        wanted += [take.path for take in self._library.takes if take.fault and take.path.is_file()]
        if wanted:
            self._watcher.addPaths([str(path) for path in wanted])

    def _read(self, found: object) -> None:
        assert isinstance(found, Library)
        self._reading = None
        self._show(found)
        self._watch()

    def _read_failed(self, words: str) -> None:
        self._reading = None
        self._tell(words)

    def _show(self, found: Library) -> None:
        """Show the takes of `found` for which the search looks; those that are chosen stay so."""
        chosen = {take.path for take in self.chosen()}
        self._library, shown = found, fitting(found, self.search.text())
        self.model.show(shown)
        self.total.setText(total(found, shown))
        for row, take in enumerate(shown.takes):
            if take.path in chosen and (selection := self.table.selectionModel()) is not None:
                flags = selection.SelectionFlag.Select | selection.SelectionFlag.Rows
                selection.select(self.model.index(row, 0), flags)
        if self.folder is None:
            self._tell(translate("takes", "Save the project first: its takes lie in its folder."))
        elif found.fault:
            self._tell(found.fault)
        elif not found.takes:
            self._tell(translate("takes", "There are no takes yet; each one that is shot is listed here."))
        elif not shown.takes:
            self._tell(translate("takes", "No take fits these words; the search looks for all of them."))
        else:
            self._tell("")
        self._enable()

    def chosen(self) -> list[Filed]:
        """Return the chosen takes, the oldest first."""
        selection = self.table.selectionModel()
        rows = [] if selection is None else sorted({index.row() for index in selection.selectedRows()}, reverse=True)
        return [self.model.listed.takes[row] for row in rows if row < len(self.model.listed.takes)]

    def _follow_choice(self) -> None:
        """Say what is wrong with a take that is chosen alone."""
        chosen = self.chosen()
        if len(chosen) == 1:
            words = why(chosen[0])
            self._tell(f"{chosen[0].path.name}: {words}" if words else "")
        self._enable()

    def _keep(self, path: Path, entry: takelog.Change) -> bool:
        try:
            aside = takelog.write(path.parent, {path.name: entry})
        except TakeError as fault:
            self._desk.note(str(fault), "refused")
            self._tell(str(fault))
            return False
        if aside is not None:
            words = translate("takes", "The log of takes could not be read; it is kept as {name}, and a new one begun.")
            self._desk.note(words.format(name=aside.name), "told")
            self._tell(words.format(name=aside.name))
        return True

    def circle_chosen(self) -> None:
        """Circle the chosen takes, or take the circles away where all have one."""
        rows = [row for row, take in enumerate(self.model.listed.takes) if take in self.chosen()]
        circled = not all(self.model.entry(row).circled for row in rows)
        for row in rows:
            self.model.say(row, takelog.Change(circled=circled))

    def _said(self, take: object) -> None:
        """Have the search and the total know what was said of a take; it stays in sight until the next search."""
        assert isinstance(take, Filed)
        takes = tuple(take if one.path == take.path else one for one in self._library.takes)
        self._library = replace(self._library, takes=takes)
        self.total.setText(total(self._library, self.model.listed))

    # the comparison

    def compare(self) -> None:
        """Compare the chosen takes, and judge them where a tolerance is typed."""
        chosen = self.chosen()
        if len(chosen) < 2:
            self.result.clear(translate("takes", "Choose two takes or more to compare them."))
            return
        try:
            tolerance_px = self._tolerance_px()
        except (Mistyped, ValueError) as fault:
            self.result.clear(str(fault))
            return
        self._give_up()
        self._compared = None
        paths = [take.path for take in chosen]
        job = Job(lambda tell: compared(paths, tolerance_px, tell), self)
        job.done.connect(self._show_compared)
        self._run(job, translate("takes", "Comparing {n} takes…").format(n=len(paths)))

    def _tolerance_px(self) -> float | None:
        """Error: Mistyped, ValueError."""
        text = self.within.text().strip()
        if not text:
            return None
        number = typed_number(text, "px")
        if not 0 < number < float("inf"):
            raise ValueError(translate("takes", "that is no tolerance; write pixels above zero, such as 1.5"))
        return number

    def _run(self, job: Job, words: str) -> None:
        job.failed.connect(self._failed)
        self._comparing = job.start()
        self.result.clear(words)
        self._enable()

    def _show_compared(self, found: object) -> None:
        assert isinstance(found, Compared)
        self._comparing, self._compared = None, found
        self.result.show_comparison(found)
        whole = sum(self._split.sizes())
        if self._split.sizes()[1] < whole // 2:
            self._split.setSizes([whole // 3, whole - whole // 3])
        self._enable()

    def _failed(self, words: str) -> None:
        self._comparing = None
        self.result.clear(words)
        self._enable()

    def _give_up(self) -> None:
        if self._comparing is not None:
            self._comparing.cancel()
            self._comparing = None
            self.result.clear("")
        self._enable()

    def _write_report(self) -> None:
        found = self._compared
        if found is None or self._comparing is not None:
            return
        job = Job(lambda _: write_report(found), self)
        job.done.connect(self._written)
        job.failed.connect(self._not_written)
        self._comparing = job.start()
        self._tell(translate("takes", "Writing the report…"))
        self._enable()

    def _written(self, path: object) -> None:
        self._comparing = None
        self._tell(translate("takes", "The report is written: {path}").format(path=path))
        self._enable()

    def _not_written(self, words: str) -> None:
        self._comparing = None
        self._tell(words)
        self._enable()

    # a performance

    def _make_keys(self) -> None:
        """Go on to the keys of the chosen take."""
        chosen = self.chosen()
        if len(chosen) == 1 and chosen[0].by_hand:
            self._pages.setCurrentWidget(self.capture)
            self.capture.begin(chosen[0].path)

    def _show_list(self) -> None:
        self._pages.setCurrentIndex(0)

    def _tell(self, words: str) -> None:
        self.told.setText(words)
        self.told.setVisible(bool(words))

    def _enable(self) -> None:
        idle, chosen = self._comparing is None, len(self.chosen())
        self.circle.setEnabled(chosen > 0)
        self.keys.setEnabled(chosen == 1 and bool(self.chosen()[0].by_hand))
        self.compare_chosen.setEnabled(idle and chosen > 1)
        self.report.setEnabled(idle and self._compared is not None)
        self.cancel.setVisible(not idle)
