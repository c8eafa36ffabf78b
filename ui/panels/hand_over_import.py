"""Takes something from a file of others: the file is chosen and read here, and what it holds decides what is asked.

It refuses to change the document before the operator has seen what would come.
"""

from pathlib import Path

from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QComboBox, QHBoxLayout, QStackedWidget, QVBoxLayout, QWidget

from sequencer.timebase.rate import RATES, Rate
from ui.acts.asking import Pick
from ui.acts.bringing import Brought, brought, suffixes
from ui.acts.options import in_sight, labels
from ui.desk import Desk
from ui.label import Label
from ui.language import translate
from ui.panels.fields import Told
from ui.panels.hand_over_camera import CameraForm
from ui.panels.hand_over_cut import CutForm
from ui.panels.hand_over_parts import Picking, button
from ui.panels.job import Job
from ui.theme import GAP_PX


class ImportForm(QWidget):
    """`pick` has the operator choose a file."""

    def __init__(self, desk: Desk, pick: Picking) -> None:
        super().__init__()
        self._desk, self._pick = desk, pick
        self._job: Job | None = None
        self._rates: list[Rate | None] = [None, *RATES.values()]
        self.file: Path | None = None
        self.setAccessibleName(translate("hand over", "Import"))
        self.choose = button(translate("hand over", "Choose a file…"), self.ask_file)
        self.which = Label()
        self.which.setWordWrap(True)
        self.rate = QComboBox()
        self.rate.addItems((translate("hand over", "as the file says"), *(str(rate) for rate in RATES.values())))
        self.rate.setAccessibleName(labels()["--rate"])
        self.rate.setToolTip(translate("hand over", "where the file says none, or a wrong one"))
        self.rate.activated.connect(lambda _: self._read())
        self.rated = Label(labels()["--rate"])
        self.rated.setBuddy(self.rate)
        self.refused = Told(desk, fault=True)
        self.refused.hide()
        self.cut, self.camera = CutForm(desk), CameraForm(desk)
        self.nothing = Told(desk, self._usual())
        self.nothing.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.pages = QStackedWidget()
        for page in (self.nothing, self.cut, self.camera):
            self.pages.addWidget(page)
        self._lay_out()
        desk.opened.connect(self._begin)
        self._begin()

    @staticmethod
    def _usual() -> str:
        return translate(
            "hand over",
            "Edit lists, timelines, MIDI files and recordings: their markers, shots, tempo and start. USD, glTF and "
            "CSV: a camera, as keys of the rig's axes. What would come is shown first; nothing else in the file is "
            "opened, and keys that are there stay.",
        )

    def _lay_out(self) -> None:
        row = QHBoxLayout()
        row.setSpacing(GAP_PX)
        row.addWidget(self.choose)
        row.addWidget(self.which, 1)
        row.addWidget(self.rated)
        row.addWidget(self.rate)
        lines = QVBoxLayout(self)
        lines.setContentsMargins(0, 0, 0, 0)
        lines.setSpacing(GAP_PX)
        lines.addLayout(row)
        lines.addWidget(self.refused)
        lines.addWidget(self.pages, 1)

    @property
    def busy(self) -> bool:
        """Whether something is being read, placed or fitted."""
        return self._job is not None or self.cut.busy or self.camera.busy

    def ask_file(self) -> None:
        """Have a file chosen."""
        beside = Path.home() if self._desk.folder is None else self._desk.folder.resolve()
        start = beside if self.file is None else self.file.parent
        title = translate("hand over", "Choose a file to take something from")
        self._pick(Pick(title, "file", self.take, start, suffixes()))

    def take(self, file: Path) -> None:
        """Read a file, and show what is in it."""
        self.file = file
        self.rate.setCurrentIndex(0)
        self._read()

    def _begin(self) -> None:
        """Another project is on the desk."""
        self._give_up()
        self.file = None
        self._show_rate(False)
        self.refused.tell("")
        self.which.setText(translate("hand over", "no file yet"))
        self.pages.setCurrentWidget(self.nothing)

    def _show_rate(self, visible: bool) -> None:
        self.rated.setVisible(visible)
        self.rate.setVisible(visible)

    def _give_up(self) -> None:
        if self._job is not None:
            self._job.cancel()
            self._job = None
        self.camera.give_up()

    def _read(self) -> None:
        file, rate = self.file, self._rates[max(0, self.rate.currentIndex())]
        if file is None:
            return
        self._give_up()
        self.which.setText(translate("hand over", "{file} is being read…").format(file=file.name))
        job = Job(lambda _: brought(file, rate), self)
        job.done.connect(self._show)
        job.failed.connect(self._failed)
        self._job = job.start()

    def _show(self, found: object) -> None:
        assert isinstance(found, Brought)
        self._job = None
        self.refused.tell("")
        self._show_rate(True)
        self.which.setText(translate("hand over", "{file}: {what}").format(file=found.file.name, what=found.kind.title))
        if found.cut is not None:
            self.cut.show_cut(found)
            self.pages.setCurrentWidget(self.cut)
        else:
            self.camera.show_cameras(found)
            self.pages.setCurrentWidget(self.camera)

    def _failed(self, words: str) -> None:
        self._job = None
        self._show_rate(True)
        self.which.setText("" if self.file is None else str(self.file))
        self.refused.tell(in_sight(words))
        self.pages.setCurrentWidget(self.nothing)
