"""The window: a strip across the top that is always in sight, the rig at the left, the work in the middle, the view at
the right, and along the bottom what happens next.

It only puts the parts together, and says to each what the others need to hear. It refuses to decide anything.
"""

from collections.abc import Callable, Sequence
from fractions import Fraction
from functools import partial
from pathlib import Path

import numpy as np
from PyQt6.QtCore import QEvent, Qt, QTimer
from PyQt6.QtGui import QAction, QCloseEvent, QKeySequence
from PyQt6.QtWidgets import (
    QApplication,
    QFrame,
    QMainWindow,
    QScrollArea,
    QSplitter,
    QStackedWidget,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from sequencer.shell.messages import Status
from ui.actions import Item, Menu, menus
from ui.acts.drops import Drops
from ui.acts.files import Files
from ui.curves.view import CurvesView
from ui.desk import Desk
from ui.language import translate
from ui.link.link import Link
from ui.panels.bar import Bar
from ui.panels.calm import CalmWheel
from ui.panels.check import CheckPanel
from ui.panels.first_run import FirstRun
from ui.panels.help import HelpPage
from ui.panels.keys_table import KeysTable
from ui.panels.marks_table import MarksPanel
from ui.panels.music import MusicPanel
from ui.panels.next_line import NextLine
from ui.panels.picker import Picker
from ui.panels.proposal import ProposalBar
from ui.panels.question import QuestionBar
from ui.panels.repairs import RepairsPanel
from ui.panels.selected import Selected
from ui.panels.setup import SetupPanel
from ui.panels.stage import StagePanel
from ui.panels.takes import TakesPanel
from ui.preview.above import PlanView
from ui.preview.view import LensView
from ui.run.column import RigColumn
from ui.run.drive import DrivePanel
from ui.run.panel import RunPanel
from ui.run.stop import StopKeys
from ui.run.strip import Strip
from ui.theme import style
from ui.timeline.hands import Hands
from ui.timeline.view import Timeline

SMALLEST_PX = (1024, 640)
_COLUMN_PX, _VIEW_PX = 220, 420
_RUN_COLUMN_PX = 270
_DRAWER_PX = 250
_LENS_SHAPE = 85  # its height, in percent of its width
_ON_THE_CLOCK = ("joining", "running", "freewheeling")
# held down, these go on
_REPEATED = (
    "undo",
    "redo",
    "zoom-in",
    "zoom-out",
    "frame-back",
    "frame-on",
    "beat-back",
    "beat-on",
    "key-back",
    "key-on",
    "marker-back",
    "marker-on",
)
_PARTS = 100  # of a frame, to which the playhead follows
_KEYS_PAGE = 1  # of the drawer
_RIBBON_PX = 150  # of the timeline in the face for running


class Window(QMainWindow):
    """One window with two faces: one for preparing, one for running. `root` is as in `ui.app.compose`."""

    def __init__(self, desk: Desk, link: Link, files: Files, root: Path | None = None) -> None:
        super().__init__()
        self.desk, self.link, self.files = desk, link, files
        self._shared = False  # whether the parts were given their room once; after that it is the operator's
        self.setMinimumSize(*SMALLEST_PX)
        self.strip = Strip(desk, link)
        self.questions = QuestionBar(desk)
        self.picker = Picker(desk)
        self.first_run = FirstRun(desk, root)
        self.next_line = NextLine(desk)
        self._make_parts()
        self.stop_keys = StopKeys(link, self)
        self.calm = CalmWheel(self)
        QApplication.instance().installEventFilter(self.calm)  # type: ignore[union-attr]  # a window has an application
        self.drops = Drops(self, files)
        self.help = HelpPage(desk)
        self._items: list[tuple[Item, QAction]] = []
        for menu in menus(desk, files, lambda: self.timeline.chosen_axis, self.help.tell):
            self._menu(menu)
        self._before: QWidget | None = None
        self._lay_out()
        self._connect()
        self._dress()
        self._face()
        self._title()
        self._allow()

    def _make_parts(self) -> None:
        desk, link = self.desk, self.link
        self.column = RigColumn(desk, link)
        self.bar = Bar(desk)
        self.timeline = Timeline(desk)
        self.hands = Hands(desk, self.timeline)
        self.timeline.hands = self.hands
        self.curves = CurvesView(desk)
        self.keys = KeysTable(desk)
        self.selected = Selected(desk)
        self.marks = MarksPanel(desk)
        self.check = CheckPanel(desk)
        self.repairs = RepairsPanel(desk)
        self.music = MusicPanel(desk)
        self.stage = StagePanel(desk)
        self.takes = TakesPanel(desk)
        self.setup = SetupPanel(desk, self.files)
        self.lens = LensView(desk)
        self.plan = PlanView(desk)
        self.run = RunPanel(desk, link)
        self.drive = DrivePanel(desk, link)

    def _lay_out(self) -> None:
        self.drawer = QTabWidget()
        self.drawer.setAccessibleName(translate("window", "Pages below the timeline"))
        pages: tuple[tuple[QWidget, str], ...] = (
            (self.curves, translate("window", "Motion")),
            (self._pair(self.keys, self.selected), translate("window", "Keys")),
            (self._pair(self.check, self.repairs), translate("window", "Check")),
            (self._scrolled(self.marks), translate("window", "Marks")),
            (self.music, translate("window", "Music")),
            (self._scrolled(self.stage), translate("window", "Set")),
            (self._scrolled(self.takes), translate("window", "Takes")),
            (self._scrolled(self.setup), translate("window", "Setup")),
        )
        for page, name in pages:
            self.drawer.addTab(page, name)
        work = QWidget()
        lines = QVBoxLayout(work)
        lines.setContentsMargins(0, 0, 0, 0)
        lines.setSpacing(0)
        lines.addWidget(self.bar)
        lines.addWidget(self.timeline, 1)
        self.run_page = QTabWidget()
        self.run_page.setAccessibleName(translate("window", "Pages for running"))
        self.run_page.addTab(self.run, translate("window", "Run"))
        self.run_page.addTab(self._scrolled(self.drive), translate("window", "Drive by hand"))
        self.middle = self._splitter(Qt.Orientation.Vertical, work, self.drawer, self.run_page)
        self.views = self._splitter(Qt.Orientation.Vertical, self.lens, self.plan)
        self.body = self._splitter(Qt.Orientation.Horizontal, self.column, self.middle, self.views)
        self.body.setStretchFactor(1, 1)
        self.middle.setStretchFactor(0, 3)
        self.middle.setStretchFactor(1, 2)
        self.middle.setStretchFactor(2, 3)
        self.pages = QStackedWidget()
        for whole_page in (self.body, self.first_run, self.picker, self.help):
            self.pages.addWidget(whole_page)
        whole = QWidget()
        all_lines = QVBoxLayout(whole)
        all_lines.setContentsMargins(0, 0, 0, 0)
        all_lines.setSpacing(0)
        self.proposal = ProposalBar(self.desk)
        for part in (self.strip, self.questions, self.proposal):
            all_lines.addWidget(part)
        all_lines.addWidget(self.pages, 1)
        all_lines.addWidget(self.next_line)
        self.setCentralWidget(whole)

    def _pair(self, left: QWidget, right: QWidget) -> QSplitter:
        pair = self._splitter(Qt.Orientation.Horizontal, self._scrolled(left), self._scrolled(right))
        pair.setSizes([3000, 2000])
        return pair

    def _splitter(self, way: Qt.Orientation, *parts: QWidget) -> QSplitter:
        splitter = QSplitter(way)
        splitter.setChildrenCollapsible(False)
        for part in parts:
            splitter.addWidget(part)
        return splitter

    def _scrolled(self, part: QWidget) -> QScrollArea:
        area = QScrollArea()
        area.setWidget(part)
        area.setWidgetResizable(True)
        area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        area.setFrameShape(QFrame.Shape.NoFrame)
        return area

    def _menu(self, menu: Menu) -> None:
        bar = self.menuBar()
        made = bar.addMenu(menu.words) if bar is not None else None
        if made is None:
            raise RuntimeError("a main window has a menu bar")
        for item in menu.items:
            if item is None:
                made.addSeparator()
                continue
            action = QAction(item.words, self)
            action.setObjectName(item.name)
            if item.keys:
                action.setShortcut(QKeySequence(item.keys))
            action.setAutoRepeat(item.name in _REPEATED)
            action.triggered.connect(_plainly(item.do))
            made.addAction(action)
            self._items.append((item, action))

    def _connect(self) -> None:
        desk, files = self.desk, self.files
        self.timeline.lanes_moved.connect(self._align)
        self.timeline.axis_chosen.connect(self.curves.show_axis)
        self.hands.numbers_asked.connect(self._ask_numbers)
        self.column.moved.connect(self._live)
        self.link.status.connect(self._follow)
        files.asked.connect(self.questions.ask)
        files.picking.connect(self.picker.pick)
        files.opened.connect(lambda _: self._show(self.body))
        files.busy.connect(self.next_line.busy)
        files.wanted_new.connect(lambda: self._show(self.first_run))
        self.first_run.opened.connect(files.open)
        self.first_run.picking.connect(self.picker.pick)
        for shown in (self.picker, self.help):
            shown.active.connect(partial(self._instead, shown))
        self.pages.currentChanged.connect(self._allow)
        for signal in (desk.changed, desk.opened):
            signal.connect(self._title)
        desk.preferred.connect(self._dress)
        desk.faced.connect(self._face)

    def _follow(self, status: Status) -> None:
        """Have the playhead stand where the move is, while it runs."""
        if status.phase in _ON_THE_CLOCK:
            rate = self.desk.project.timebase.rate
            self.desk.place(Fraction(round(rate.frames(Fraction(status.timeline_s)) * _PARTS), _PARTS))

    def _live(self, actual: Sequence[float | None]) -> None:
        """Have the views show where the rig is, as far as it says."""
        known = len(actual) > 0 and None not in actual
        positions = np.array(actual, np.float64) if known else None
        self.lens.show_positions(positions)
        self.plan.show_positions(positions)

    def _show(self, page: QWidget) -> None:
        self.pages.setCurrentWidget(page)
        if page is self.body and not self._shared:
            self._shared = True
            QTimer.singleShot(0, self._share)  # when the parts know how large they are

    def _instead(self, page: QWidget, active: bool) -> None:
        """Show a page in the place of what is there, or give that its place back."""
        if active:
            if self.pages.currentWidget() not in (self.picker, self.help):
                self._before = self.pages.currentWidget()
            self._show(page)
        elif self.pages.currentWidget() is page:
            self._show(self._before or self.body)

    def _allow(self) -> None:
        """Let the menus work on a project only while it is in sight."""
        in_sight = self.pages.currentWidget() is self.body
        for item, action in self._items:
            action.setEnabled(item.everywhere or in_sight)

    def _ask_numbers(self) -> None:
        self.drawer.setCurrentIndex(_KEYS_PAGE)
        self.selected.ask()

    def _align(self) -> None:
        """Have the rig's rows stand beside their lanes."""
        if self.desk.face != "prepare":
            return
        origin = self.timeline.mapTo(self.body, self.timeline.rect().topLeft()).y()
        own = self.column.mapTo(self.body, self.column.rect().topLeft()).y()
        lanes = self.timeline.layout_now().lanes
        self.column.align([(lane.axis, lane.top_px + origin - own, lane.height_px) for lane in lanes])

    def _face(self) -> None:
        """Put on the face: the strip and the stop control stay where they are."""
        running = self.desk.face == "run"
        self.drawer.setVisible(not running)
        self.bar.setVisible(not running)
        self.run_page.setVisible(running)
        self._share()
        if running:
            self.column.align([])
        else:
            self._align()

    def _share(self) -> None:
        """Give each part its room: the timeline most of it when preparing, the run panel when running."""
        running = self.desk.face == "run"
        tall, wide = max(self.middle.height(), 400), max(self.body.width(), SMALLEST_PX[0])
        drawer = max(_DRAWER_PX, tall * 7 // 20)
        self.middle.setSizes([_RIBBON_PX, 0, tall - _RIBBON_PX] if running else [tall - drawer, drawer, 0])
        column, view = (_RUN_COLUMN_PX if running else _COLUMN_PX), min(_VIEW_PX, wide * 28 // 100)
        self.body.setSizes([column, wide - column - view, view])
        lens = view * _LENS_SHAPE // 100
        self.views.setSizes([lens, max(1, self.views.height() - lens)])

    def _dress(self) -> None:
        self.setStyleSheet(style(self.desk.theme))

    def _title(self) -> None:
        desk = self.desk
        where = desk.project.name if desk.folder is not None else translate("window", "not saved in a folder yet")
        self.setWindowTitle(f"{where}[*] · twintake")
        self.setWindowModified(desk.dirty)

    def event(self, event: QEvent | None) -> bool:
        done = super().event(event)
        if event is not None and event.type() in (QEvent.Type.LayoutRequest, QEvent.Type.Resize, QEvent.Type.Show):
            self._align()
        return done

    def closeEvent(self, event: QCloseEvent | None) -> None:
        """Stop what moves, and ask about unsaved edits; close only then."""
        if event is None:
            return
        if self.link.dangerous:
            self.link.stop(translate("window", "the editor was closed"))
        if not self.files.may_leave(self._close):
            event.ignore()
            return
        self.music.hearing.cancel()
        self.link.end()
        self.files.end()
        event.accept()

    def _close(self) -> None:
        self.close()


def _plainly(do: Callable[[], object]) -> Callable[[bool], None]:
    def triggered(checked: bool) -> None:
        do()

    return triggered
