"""The page that is there before a project is: open one, take a demo, or begin a new one that can be shot at once.

It refuses to hide what the program is not: the cautions stand on it.
"""

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from functools import partial
from pathlib import Path

from PyQt6.QtCore import Qt, pyqtSignal
from PyQt6.QtGui import QShowEvent
from PyQt6.QtWidgets import (
    QCheckBox,
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QLayout,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from sequencer.errors import ProjectError
from sequencer.project import audiofile, store
from sequencer.project.begin import GUESSES, Answers, begin, demos
from sequencer.project.copying import copy
from sequencer.project.document import Playback
from sequencer.project.flushed import make_folder
from sequencer.rig.axis import AxisKind
from sequencer.score.easing import Laws
from sequencer.timebase.rate import RATES
from ui.acts import recent
from ui.acts.asking import Pick
from ui.acts.cautions import cautions
from ui.acts.disk import copied, occupied, plain
from ui.acts.working import Worker
from ui.desk import Desk
from ui.label import Label, tip
from ui.language import translate
from ui.panels.fields import Field, Heading, Pull, Row, Tick, Told, words_of
from ui.theme import GAP_PX

DEMOS = Path(__file__).parents[2] / "projects"
_FIRST: tuple[AxisKind, ...] = ("pan", "tilt")
_RECENT = 5
_A_LINE, _TICKS_PX = 4, 300


def next_steps() -> str:
    """Return what to do with a project that was just begun."""
    return translate(
        "first run",
        "Your first move is ready. To shoot it on the simulated rig: press F6, choose the cue, tick Record a take, "
        "press Connect, hold ARM, then hold START. Nothing real moves before you choose a real rig.",
    )


class FirstRun(QScrollArea):
    """`opened`: the folder of a project to open. `picking`: a Pick, for the panel that chooses files.

    `root` is the state folder, `shown` the folder of demo projects, `home` where new projects go unless told otherwise.
    """

    opened = pyqtSignal(object)
    picking = pyqtSignal(object)

    def __init__(self, desk: Desk, root: Path | None = None, shown: Path = DEMOS, home: Path | None = None) -> None:
        super().__init__()
        self._desk, self._root, self._shown = desk, root, shown
        self._home = home or _documents()
        self._audio: Path | None = None
        self._made: Path | None = None
        desk.opened.connect(self._told)
        self._worker = Worker(self)
        self.setAccessibleName(translate("first run", "First page"))
        self.setWidgetResizable(True)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        inside = QWidget()
        self._lines = QVBoxLayout(inside)
        self._lines.setContentsMargins(3 * GAP_PX, 2 * GAP_PX, 3 * GAP_PX, 2 * GAP_PX)
        self._lines.setSpacing(GAP_PX)
        self._lines.addWidget(self._cautions())
        columns = QHBoxLayout()
        columns.setSpacing(4 * GAP_PX)
        columns.addLayout(self._there(), 2)
        columns.addLayout(self._new(), 5)
        self._lines.addLayout(columns)
        self._lines.addStretch(1)
        self.setWidget(inside)

    def showEvent(self, event: QShowEvent | None) -> None:
        self._list_recent()
        super().showEvent(event)

    # parts of the page

    def _cautions(self) -> QWidget:
        box = QFrame()
        box.setObjectName("cautions")
        row = QHBoxLayout(box)
        words = Label(cautions())
        words.setWordWrap(True)
        words.setAccessibleName(translate("first run", "Cautions"))
        row.addWidget(words)

        def dress() -> None:
            theme = self._desk.theme
            box.setStyleSheet(f"#cautions {{ border: 1px solid {theme.edge}; border-left: 10px solid {theme.over}; }}")

        self._desk.preferred.connect(dress)
        dress()
        return box

    def _there(self) -> QLayout:
        lines = QVBoxLayout()
        lines.setSpacing(GAP_PX)
        lines.addWidget(Heading(translate("first run", "Open a project")))
        self.open_button = self._button(translate("first run", "Open a folder…"), self._choose)
        lines.addWidget(self.open_button)
        self._recent = QVBoxLayout()
        self._recent.setSpacing(4)
        lines.addLayout(self._recent)
        self.recent_buttons: list[QPushButton] = []
        self.demo_buttons: list[QPushButton] = []
        there = demos(self._shown)
        if there:
            lines.addSpacing(2 * GAP_PX)
            lines.addWidget(Heading(translate("first run", "Look at a demo")))
            words = translate("first run", "A copy goes where you choose; places and rigs are invented.")
            lines.addWidget(Told(self._desk, words))
            for path in there:
                button = self._button(path.name.replace("-", " ").capitalize(), partial(self._demo, path))
                self.demo_buttons.append(button)
                lines.addWidget(button)
        self.fault_there = Told(self._desk, fault=True)
        self.fault_there.hide()
        lines.addWidget(self.fault_there)
        lines.addStretch(1)
        return lines

    def _new(self) -> QLayout:
        desk = self._desk
        lines = QVBoxLayout()
        lines.setSpacing(GAP_PX)
        lines.addWidget(Heading(translate("first run", "Begin a new project")))
        means = translate("first run", "Also the name of its folder.")
        self.name = Field(desk, translate("first run", "Name"), self._named, means)
        self.name.line.setText(translate("first run", "My first move"))
        rates = list(RATES)
        means = translate("first run", "Frames a second of the camera and of the timecode.")
        self.rate = Pull(desk, translate("first run", "Rate"), rates, self._rated, means)
        self.rate.show_place(rates.index("25"))
        means = translate("first run", "Only where your timecode counts so: 30000/1001 and 60000/1001.")
        self.drop = Tick(desk, translate("first run", "Drop-frame"), lambda _: None, means)
        self.drop.box.setEnabled(False)
        means = translate("first run", "The timecode at which the project's own time begins.")
        self.start = Field(desk, translate("first run", "Start"), lambda _: None, means)
        self.start.line.setText("10:00:00:00")
        self.axes, axes = self._axes()
        means = translate("first run", "Optional: music or a guide track; it is copied into the folder.")
        self.audio_button = self._button(translate("first run", "Choose audio…"), self._choose_audio)
        self.audio = Row(desk, translate("first run", "Playback"), self.audio_button, "", means)
        self.place_button = self._button(translate("first run", "Choose a place…"), self._choose_place)
        self.place = Row(desk, translate("first run", "In"), self.place_button, "", "")
        for row in (self.name, self.rate, self.drop, self.start, axes, self.audio, self.place):
            row.unit.hide()
            lines.addWidget(row)
        self.make_button = self._button(translate("first run", "Make the project"), self.make)
        lines.addWidget(self.make_button, 0, Qt.AlignmentFlag.AlignLeft)
        self.fault = Told(desk, fault=True)
        self.fault.hide()
        lines.addWidget(self.fault)
        lines.addStretch(1)
        self._placed()
        return lines

    def _axes(self) -> tuple[dict[AxisKind, QCheckBox], Row]:
        box = QWidget()
        grid = QGridLayout(box)
        grid.setContentsMargins(0, 0, 0, 0)
        ticks: dict[AxisKind, QCheckBox] = {}
        for number, kind in enumerate(GUESSES):
            tick = QCheckBox(kind)
            tick.setChecked(kind in _FIRST)
            tick.setAccessibleName(translate("first run", "axis {kind}").format(kind=kind))
            axis = GUESSES[kind]
            limits = translate("first run", "guessed: {speed:g} {unit} a second at most")
            tick.setToolTip(tip(limits.format(speed=axis.speed, unit=axis.unit)))
            grid.addWidget(tick, number // _A_LINE, number % _A_LINE)
            ticks[kind] = tick
        means = translate(
            "first run",
            "What your rig moves. It begins with slow limits that are guesses: measure your own and write them in "
            "Setup before anything real moves.",
        )
        row = Row(self._desk, translate("first run", "Axes"), box, "", means)
        box.setFixedWidth(_TICKS_PX)
        return ticks, row

    def _button(self, words: str, do: Callable[[], None]) -> QPushButton:
        button = QPushButton(words)
        button.setAccessibleName(words)
        button.setAutoDefault(False)
        button.clicked.connect(lambda _: do())
        return button

    # opening what is there

    def _list_recent(self) -> None:
        for button in self.recent_buttons:
            self._recent.removeWidget(button)
            button.deleteLater()
        self.recent_buttons = []
        for path in recent.recent(self._root)[:_RECENT]:
            button = self._button(path.name, partial(self.opened.emit, path))
            button.setToolTip(tip(str(path)))
            button.setAccessibleDescription(str(path))
            self.recent_buttons.append(button)
            self._recent.addWidget(button)

    def _choose(self) -> None:
        title = translate("first run", "Open a project folder")
        self.picking.emit(Pick(title, "project", self.opened.emit, self._home))

    def _demo(self, demo: Path) -> None:
        title = translate("first run", "Where is the copy of {name} to go?").format(name=demo.name)
        laws = self._desk.laws

        def take(folder: Path) -> None:
            self._worker.do(title, lambda: copied_demo(demo, folder, laws), self.opened.emit, self._not_copied)

        self.picking.emit(Pick(title, "place", take, self._home))

    def _not_copied(self, fault: Exception) -> None:
        self.fault_there.tell(plain(fault))

    # beginning anew

    @property
    def folder(self) -> Path:
        """Where the new project goes."""
        name = "".join(one if one.isalnum() else "-" for one in self.name.line.text().strip().lower())
        return self._home / ("-".join(part for part in name.split("-") if part) or "project")

    def _named(self, _: str) -> None:
        self._placed()

    def _rated(self, place: int) -> None:
        can_drop = list(RATES)[place] in ("30000/1001", "60000/1001")
        self.drop.box.setEnabled(can_drop)
        if not can_drop:
            self.drop.show_tick(False)

    def _choose_place(self) -> None:
        def take(folder: Path) -> None:
            self._home = folder
            self._placed()

        title = translate("first run", "In which folder is the project's own folder to be made?")
        self.picking.emit(Pick(title, "place", take, self._home))

    def _choose_audio(self) -> None:
        def take(path: Path) -> None:
            self._audio = path
            self.audio.means.tell(path.name)

        self.picking.emit(Pick(translate("first run", "Choose the playback"), "audio", take, self._home))

    def _placed(self) -> None:
        self.place.means.tell(str(self.folder))

    def make(self) -> None:
        """Make the project and have it opened; what cannot be is said where it was answered."""
        self._placed()
        rows: dict[str, Row] = {"name": self.name, "drop": self.drop, "start": self.start}
        for row in rows.values():
            row.fail("")
        self.fault.tell("")
        answers = Answers(
            name=self.name.line.text().strip(),
            axes=tuple(kind for kind, tick in self.axes.items() if tick.isChecked()),
            rate=RATES[self.rate.box.currentText()],
            drop=self.drop.box.isChecked(),
            start=self.start.line.text(),
        )
        try:
            begin(answers)
        except ProjectError as fault:
            fail = rows[fault.path].fail if fault.path in rows else self.fault.tell
            fail(words_of(fault))
            return
        folder, audio, laws = self.folder, self._audio, self._desk.laws
        if occupied(folder):
            words = translate("first run", "There is a project in {folder} already. Choose another name or place.")
            self.name.fail(words.format(folder=folder))
            return
        self.make_button.setEnabled(False)
        self._worker.do("", lambda: new_project(answers, folder, audio, laws), self._done, self._not_made)

    def _done(self, folder: Path) -> None:
        self.make_button.setEnabled(True)

        self._made = folder
        self.opened.emit(folder)

    def _told(self) -> None:
        """Say what comes next when the project that was made here comes onto the desk."""
        if self._made is not None and self._desk.folder == self._made:
            self._made = None
            self._desk.note(next_steps(), "told")

    def _not_made(self, fault: Exception) -> None:
        self.make_button.setEnabled(True)
        self.fault.tell(plain(fault))


def new_project(answers: Answers, folder: Path, audio: Path | None, laws: Laws) -> Path:
    """Write the new project, with its playback where its own time reference says, or at the start."""
    project = begin(answers)
    make_folder(folder.parent)
    if audio is not None:
        found = audiofile.info(audio)
        at = Fraction(0)
        if found.reference is not None:
            at = project.timebase.wrap(project.timebase.rate.frames(Fraction(found.reference, found.rate_hz)))
        make_folder(folder)
        project = replace(project, playback=Playback(file=copied(audio, folder), at=at))
    store.save(folder, project, laws)
    return folder


def copied_demo(demo: Path, folder: Path, laws: Laws) -> Path:
    """Copy a demo into a folder, which is made, under its own name, which it has only once it is whole.

    Error: OSError, SequencerError.
    """
    there = folder / demo.name
    if there.is_dir() and any(there.iterdir()):
        what = f"there is something in {there} already"
        raise ProjectError("", what, "choose another folder", "")
    make_folder(folder)
    return copy(demo, there, "none", laws).folder


def _documents() -> Path:
    there = Path.home() / "Documents"
    return there if there.is_dir() else Path.home()
