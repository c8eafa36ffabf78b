"""Setup: a list of what can be set up, and the form of the chosen one. It refuses to show all at once."""

from collections.abc import Callable

from PyQt6.QtWidgets import QFrame, QHBoxLayout, QScrollArea, QStackedWidget, QVBoxLayout, QWidget

from sequencer.project import amend
from sequencer.project.values import named
from ui.acts.asking import Ask
from ui.acts.files import Files
from ui.acts.written import decimal
from ui.desk import Desk
from ui.language import translate
from ui.panels.controllers import ControllersForm
from ui.panels.fields import Field, Picks
from ui.panels.limits_form import LimitsForm
from ui.panels.outputs import OutputsForm
from ui.panels.ports import PortsForm
from ui.panels.rig_form import AxesForm
from ui.panels.setup_forms import CameraForm, Form, PlaybackForm, ProjectForm, SyncForm
from ui.panels.triggers_form import TriggersForm
from ui.panels.typed import typed_number
from ui.theme import GAP_PX

_LIST_PX = 160


class SetupPanel(QWidget):
    """Forms that explain themselves. `files` copies the playback and brings questions before the operator.

    `in_hand` says whether game controllers drive the rig right now, `tick_hz` how many setpoints a second a run makes.
    """

    def __init__(
        self,
        desk: Desk,
        files: Files,
        in_hand: Callable[[], bool] = lambda: False,
        tick_hz: Callable[[], int] = lambda: 250,
    ) -> None:
        super().__init__()
        self._desk = desk
        ask: Callable[[Ask], None] = files.asked.emit
        self.project = ProjectForm(desk)
        self.playback = PlaybackForm(desk, files.audio.choose)
        self.sync = SyncForm(desk)
        self.triggers = TriggersForm(desk)
        self.rig_name = RigName(desk)
        self.axes = AxesForm(desk, ask)
        self.outputs = OutputsForm(desk, tick_hz)
        self.camera = CameraForm(desk)
        self.limits = LimitsForm(desk)
        self.controllers = ControllersForm(desk, in_hand)
        self.ports = PortsForm(desk)
        parts: tuple[tuple[str, tuple[QWidget, ...]], ...] = (
            (translate("setup", "Project"), (self.project,)),
            (translate("setup", "Playback"), (self.playback,)),
            (translate("setup", "Sync offsets"), (self.sync,)),
            (translate("setup", "Triggers"), (self.triggers,)),
            (translate("setup", "Rig and axes"), (self.rig_name, self.axes)),
            (translate("setup", "Outputs"), (self.outputs,)),
            (translate("setup", "Combined limits"), (self.limits,)),
            (translate("setup", "Camera"), (self.camera,)),
            (translate("setup", "Controllers"), (self.controllers,)),
            (translate("setup", "Ports"), (self.ports,)),
        )
        self.list = Picks(translate("setup", "Parts of the setup"))
        self.list.setFixedWidth(_LIST_PX)
        self.pages = QStackedWidget()
        for title, forms in parts:
            self.list.addItem(title)
            self.pages.addWidget(_scrolled(title, forms))
        row = QHBoxLayout(self)
        row.setContentsMargins(GAP_PX, GAP_PX, GAP_PX, GAP_PX)
        row.setSpacing(GAP_PX)
        row.addWidget(self.list)
        row.addWidget(self.pages, 1)
        self.list.currentRowChanged.connect(self._turn)
        self.list.setCurrentRow(0)

    def turn_to(self, title: str) -> None:
        """Show the part with this title. Error: ValueError where there is none."""
        self.list.setCurrentRow(self.list.texts().index(title))

    def _turn(self, place: int) -> None:
        self.pages.setCurrentIndex(place)
        page = self.pages.currentWidget()
        if page is not None and page.isAncestorOf(self.ports) and not self.ports.text.toPlainText():
            self.ports.refresh()


class RigName(Form):
    """What the rig is called, and how high its camera is."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk, translate("setup", "Rig"))
        means = translate("setup", "What the strip and reports call it.")
        self.name = Field(desk, translate("setup", "Name"), self._take, means)
        means = translate("setup", "Of the lens over the ground, when all axes stand at zero. The lens view needs it.")
        self.lens_height = Field(desk, translate("setup", "Camera height"), self._take_height, means, "m")
        self.put(self.name, self.lens_height)
        self.follow()

    def follow(self) -> None:
        self.name.show_text(self.desk.project.rig.name)
        self.lens_height.show_text(decimal(self.desk.project.rig.geometry.height_m))

    def _take(self, text: str) -> None:
        name = named(text.strip(), "name")
        self.edit(translate("setup", "name of the rig"), lambda now: amend.with_rig_name(now, name))

    def _take_height(self, text: str) -> None:
        height_m = typed_number(text, "m")
        self.edit(translate("setup", "height of the camera"), lambda now: amend.with_height(now, height_m))


def _scrolled(title: str, forms: tuple[QWidget, ...]) -> QScrollArea:
    inside = QWidget()
    lines = QVBoxLayout(inside)
    lines.setContentsMargins(GAP_PX, 0, GAP_PX, GAP_PX)
    lines.setSpacing(2 * GAP_PX)
    for form in forms:
        lines.addWidget(form)
    lines.addStretch(1)
    area = QScrollArea()
    area.setAccessibleName(title)
    area.setWidgetResizable(True)
    area.setFrameShape(QFrame.Shape.NoFrame)
    area.setWidget(inside)
    return area
