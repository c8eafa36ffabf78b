"""The window: a strip across the top that is always in sight, the rig at the left, the work in the middle, the view at
the right, and along the bottom what happens next.

It only puts the parts together, and says to each what the others need to hear. It refuses to decide anything.
"""

from collections.abc import Sequence
from fractions import Fraction
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from PyQt6.QtCore import QEvent, Qt, QTimer
from PyQt6.QtGui import QAction, QCloseEvent, QKeySequence
from PyQt6.QtWidgets import (
    QApplication,
    QMainWindow,
    QSplitter,
    QStackedWidget,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from sequencer.shell.messages import Status
from ui import pages
from ui.actions import Item, Menu, Part, Topic, menus
from ui.acts.asking import Ask, Pick
from ui.acts.drops import Drops
from ui.acts.files import Files
from ui.acts.poses import Poses
from ui.curves.view import CurvesView
from ui.desk import Desk, Note
from ui.language import translate
from ui.link.link import Link
from ui.panels.bar import Bar
from ui.panels.calm import CalmWheel
from ui.panels.later import Later
from ui.panels.next_line import NextLine
from ui.panels.proposal import ProposalBar
from ui.panels.question import QuestionBar
from ui.preview.above import PlanView
from ui.preview.view import LensView
from ui.run.column import RigColumn
from ui.run.stop import StopKeys
from ui.run.strip import Strip
from ui.theme import style
from ui.timeline.hands import Hands
from ui.timeline.view import Timeline

if TYPE_CHECKING:
    from ui.panels.first_run import FirstRun
    from ui.panels.help import HelpPage
    from ui.panels.picker import Picker

SMALLEST_PX = (1024, 640)
_COLUMN_PX, _VIEW_PX = 220, 420
_RUN_COLUMN_PX = 270
_RUN_PX = 544  # no word on what is held is cut
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
_REST_MS = 300  # until the first picture stands


class Window(QMainWindow):
    """One window with two faces: one for preparing, one for running. `root` is as in `ui.app.compose`."""

    def __init__(self, desk: Desk, link: Link, files: Files, root: Path | None = None) -> None:
        super().__init__()
        self.desk, self.link, self.files = desk, link, files
        self._shared = False  # whether the parts were given their room once
        self._own = False  # whether the operator has given them another: then it stays so
        self.setMinimumSize(*SMALLEST_PX)
        self.strip = Strip(desk, link)
        self.questions = QuestionBar(desk)
        self.poses = Poses(desk, link)
        self._root = root
        self.next_line = NextLine(desk)
        self._make_parts()
        self.stop_keys = StopKeys(link, self)
        self.calm = CalmWheel(self)
        self.drops = Drops(self, files)
        self._items: list[tuple[Item, QAction]] = []
        own = (self._tell, self.poses.store, pages.slate(desk, link, self), self._hand)
        for menu in menus(desk, files, lambda: self.timeline.chosen_axis, *own):
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
        self.numbers, self.judged = Later(lambda: pages.Numbers(desk)), Later(lambda: pages.judged(desk))
        self.markers, self.music = Later(lambda: pages.markers(desk, link)), Later(lambda: pages.music(desk))
        self.marks, self.run_marks = (Later(lambda: pages.PosesPage(self.poses)) for _ in range(2))
        self.stage, self.takes = Later(lambda: pages.stage(desk)), Later(lambda: pages.takes(desk))
        self.hand_over = Later(lambda: pages.hand_over(desk, self.files, self.takes))
        self.setup = Later(lambda: pages.setup(desk, self.files, link))
        self.help, self.picker = Later(self._help), Later(self._picker)
        self.first_run = Later(self._first_run)
        self.lens, self.plan = LensView(desk), PlanView(desk)
        self.run, self.drive = Later(lambda: pages.run(desk, link)), Later(lambda: pages.drive(desk, link))
        self.homing = Later(lambda: pages.homing(desk, link))

    def _lay_out(self) -> None:
        self.drawer = QTabWidget()
        self.drawer.setAccessibleName(translate("window", "Pages below the timeline"))
        named: tuple[tuple[QWidget, str], ...] = (
            (self.curves, translate("window", "Motion")),
            (self.numbers, translate("window", "Keys")),
            (self.judged, translate("window", "Check")),
            (self.markers, translate("window", "Markers")),
            (self.marks, translate("window", "Marks")),
            (self.music, translate("window", "Music")),
            (self.stage, translate("window", "Set")),
            (self.takes, translate("window", "Takes")),
            (self.hand_over, translate("window", "Hand over")),
            (self.setup, translate("window", "Setup")),
        )
        for page, name in named:
            self.drawer.addTab(page, name)
        work = QWidget()
        lines = QVBoxLayout(work)
        lines.setContentsMargins(0, 0, 0, 0)
        lines.setSpacing(0)
        lines.addWidget(self.bar)
        lines.addWidget(self.timeline, 1)
        self.run_page = QTabWidget()
        self.run_page.setAccessibleName(translate("window", "Pages for running"))
        self.run_page.setMinimumWidth(_RUN_PX)
        self.run_page.addTab(self.run, translate("window", "Run"))
        self.run_page.addTab(self.drive, translate("window", "Drive by hand"))
        self.run_page.addTab(self.run_marks, translate("window", "Marks"))
        self.run_page.addTab(self.homing, translate("window", "Homing"))
        self.middle = self._splitter(Qt.Orientation.Vertical, work, self.drawer, self.run_page)
        self.views = self._splitter(Qt.Orientation.Vertical, self.lens, self.plan)
        self.body = self._splitter(Qt.Orientation.Horizontal, self.column, self.middle, self.views)
        self.body.setStretchFactor(1, 1)
        self.middle.setStretchFactor(0, 3)
        self.middle.setStretchFactor(1, 2)
        self.middle.setStretchFactor(2, 3)
        self.pages = QStackedWidget()
        self.opening = pages.opening()
        for whole_page in (self.body, self.first_run, self.picker, self.help, self.opening):
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

    def _tell(self, topic: Topic) -> None:
        self.help.page.tell(topic)

    def _hand(self, part: Part) -> None:
        pages.hand(self.desk, self.drawer, self.hand_over, part)

    def _help(self) -> "HelpPage":
        page = pages.help_page(self.desk)
        page.active.connect(partial(self._instead, self.help))
        return page

    def _picker(self) -> "Picker":
        page = pages.picker(self.desk)
        page.active.connect(partial(self._instead, self.picker))
        return page

    def _first_run(self) -> "FirstRun":
        page = pages.first_run(self.desk, self._root)
        page.opened.connect(self.files.open)
        page.picking.connect(self._pick)
        return page

    def _pick(self, pick: Pick) -> None:
        self.picker.page.pick(pick)

    def _splitter(self, way: Qt.Orientation, *parts: QWidget) -> QSplitter:
        splitter = QSplitter(way)
        pages.fill(splitter, *parts)
        splitter.splitterMoved.connect(self._moved)
        return splitter

    def _moved(self, *_: int) -> None:
        self._own = True

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
            action.triggered.connect(lambda _, do=item.do: do())
            made.addAction(action)
            self._items.append((item, action))

    def _connect(self) -> None:
        desk, files = self.desk, self.files
        self.timeline.lanes_moved.connect(self._align)
        self.timeline.axis_chosen.connect(self.curves.show_axis)
        self.hands.numbers_asked.connect(self._ask_numbers)
        self.column.moved.connect(self._live)
        self.link.status.connect(self._follow)
        for asks in (files.asked, self.poses.asked):
            asks.connect(self.questions.ask)
        files.picking.connect(self._pick)
        files.opened.connect(lambda _: self._show(self.body))
        files.busy.connect(self.next_line.busy)
        files.wanted_new.connect(lambda: self._show(self.first_run))
        self.pages.currentChanged.connect(self._turned)
        for signal in (desk.changed, desk.opened):
            signal.connect(self._title)
        desk.preferred.connect(self._dress)
        desk.faced.connect(self._face)
        for outcome in (files.busy, files.asked, desk.noted):
            outcome.connect(self._heard)

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

    def open(self, project: Path | None) -> None:
        """Begin with a project, or with the first page; that also comes where the project does not open."""
        self.pages.setCurrentWidget(self.opening if project is not None else self.first_run)
        self.files.begin(None)
        if project is not None:
            self.files.open(project)
        else:
            self.desk.note(translate("window", "open a project, or begin a new one"), "told")

    def _heard(self, what: object) -> None:
        """Look for the project that is being opened when something is refused or asked, or nothing is done any more."""
        refused = isinstance(what, Note) and what.weight == "refused"
        if self.pages.currentWidget() is self.opening and (refused or what == "" or isinstance(what, Ask)):
            QTimer.singleShot(0, self._begin_after_all)  # what was read comes onto the desk until then

    def _begin_after_all(self) -> None:
        """Show the first page in the place of a project that was not opened."""
        if self.pages.currentWidget() is self.opening:
            self.pages.setCurrentWidget(self.first_run)

    def _turned(self) -> None:
        self._allow()
        if self.pages.currentWidget() is not self.opening:
            QTimer.singleShot(_REST_MS, self._calm_wheel)

    def _calm_wheel(self) -> None:
        """Look at each event of the application from now on: while a window is made there are thousands."""
        QApplication.instance().installEventFilter(self.calm)  # type: ignore[union-attr]  # a window has an application

    def _show(self, page: QWidget) -> None:
        self.pages.setCurrentWidget(page)
        if page is self.body and not self._shared:
            self._shared = True
            QTimer.singleShot(0, self._share)  # when the parts know how large they are
            QTimer.singleShot(_REST_MS, self._make_rest)
            self.timeline.setFocus()

    def _make_rest(self) -> None:
        """Make what runs the rig, when what is in sight is there: it must be there at once, and know what was said."""
        assert self.run.page is not None
        assert self.drive.page is not None

    def _instead(self, page: QWidget, active: bool) -> None:
        """Show a page in the place of what is there, or give that its place back."""
        if active:
            if self.pages.currentWidget() not in (self.picker, self.help):
                self._before = self.pages.currentWidget()
            self._show(page)
        elif self.pages.currentWidget() is page:
            self._show(self.first_run if self._before is self.opening else self._before or self.body)

    def _allow(self) -> None:
        """Let the menus work on a project only while it is in sight."""
        in_sight = self.pages.currentWidget() is self.body
        for item, action in self._items:
            action.setEnabled(item.everywhere or in_sight)

    def _ask_numbers(self) -> None:
        self.drawer.setCurrentIndex(_KEYS_PAGE)
        self.numbers.page.selected.ask()

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
            if event.type() == QEvent.Type.Resize and self._shared and not self._own:
                QTimer.singleShot(0, self._share)  # when the parts know how large they are
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
        if self.music.there is not None:
            self.music.there.hearing.cancel()
        self.link.end()
        self.files.end()
        event.accept()

    def _close(self) -> None:
        self.close()
