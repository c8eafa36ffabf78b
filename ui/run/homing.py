"""Homing on the screen: which axis, what will move, what is held for it, and how it goes; or where it stands, typed.

No single press, click or key here starts motion. Nothing is told to the rig that was not held for.
"""

from collections.abc import Callable

from PyQt6.QtCore import QSize
from PyQt6.QtGui import QResizeEvent
from PyQt6.QtWidgets import QComboBox, QGridLayout, QLineEdit, QVBoxLayout, QWidget

from sequencer.rig.axis import Axis
from ui.acts.cautions import cautions
from ui.desk import Desk
from ui.label import Label
from ui.language import translate
from ui.link.homing import Homing, foreseen, unfit
from ui.link.link import Link
from ui.run.hold import Hold
from ui.run.lines import Lines
from ui.run.quiet import Quiet
from ui.theme import BIG_TARGET_PX, GAP_PX, STATE_PX, TEXT_PX

_LOW_PX = 44
_ROOMY_PX = 420  # of height, for large targets
_LEAST_PX = 280
_FIELD_PX = 120


class HomingPanel(QWidget):
    """The axis, its way by switch, the word for where it stands, and what was said of it.

    `read` makes a number in an axis's unit of what is typed; ValueError in words for what is none.
    """

    def __init__(self, desk: Desk, link: Link, read: Callable[[str, str], float], homing: Homing | None = None) -> None:
        super().__init__()
        self._desk, self._link, self._read = desk, link, read
        self.homing = homing or Homing(link, self)
        self._quiet = Quiet(self)
        self._names: tuple[str, ...] = ()
        self._refused = ""
        self.setAccessibleName(translate("run", "Homing"))
        self.axis = QComboBox()
        self.axis.setAccessibleName(translate("run", "Axis to be homed"))
        self._quiet.over(self.axis)
        self.way = self._label(translate("run", "What homing will move"))
        self.search = Hold(desk, translate("run", "Hold to home"))
        self.search.setAccessibleName(translate("run", "Hold to drive the axis to its switch"))
        self.place = QLineEdit()
        self.place.setFixedWidth(_FIELD_PX)
        self.place.setAccessibleName(translate("run", "Where the axis stands, measured"))
        self.unit = Label()
        self.here = Hold(desk, translate("run", "Hold: it stands there"))
        self.here.setAccessibleName(translate("run", "Hold to tell the rig that the axis stands there"))
        self.words = self._label(translate("run", "How homing goes"))
        self.caution = self._label(translate("run", "Cautions"))
        self.caution.setText(cautions())
        self._lay_out()
        self.axis.activated.connect(self._turn)
        self.place.textChanged.connect(self._typed)
        self.search.held.connect(self._home)
        self.here.held.connect(self._declare)
        self.homing.changed.connect(self.show_homing)
        for signal in (link.standing, link.status, link.chosen, desk.changed, desk.opened):
            signal.connect(self.show_homing)
        for signal in (desk.faced, desk.preferred):
            signal.connect(self._face)
        self._face()

    def _label(self, name: str) -> Lines:
        label = Lines()
        label.setAccessibleName(name)
        return label

    def _lay_out(self) -> None:
        grid = QGridLayout()
        grid.setSpacing(GAP_PX)
        title = Label(translate("run", "Axis"))
        measured = Label(translate("run", "It stands at"))
        title.setBuddy(self.axis)
        measured.setBuddy(self.place)
        grid.addWidget(title, 0, 0)
        grid.addWidget(self.axis, 0, 1, 1, 2)
        grid.addWidget(self.search, 0, 3)
        grid.addWidget(measured, 1, 0)
        grid.addWidget(self.place, 1, 1)
        grid.addWidget(self.unit, 1, 2)
        grid.addWidget(self.here, 1, 3)
        grid.setColumnStretch(3, 1)
        lines = QVBoxLayout(self)
        lines.setContentsMargins(GAP_PX, GAP_PX, GAP_PX, GAP_PX)
        lines.setSpacing(GAP_PX)
        lines.addWidget(self.words)
        lines.addWidget(self.way)
        lines.addLayout(grid)
        lines.addWidget(self.caution)
        lines.addStretch(1)

    def minimumSizeHint(self) -> QSize:
        return QSize(_LEAST_PX, super().minimumSizeHint().height())

    @property
    def chosen(self) -> Axis:
        return self._desk.project.rig.axes[max(0, self.axis.currentIndex())]

    def _turn(self) -> None:
        self.place.clear()
        self._refused = ""
        self.show_homing()

    def _typed(self) -> None:
        self._refused = ""
        self.show_homing()

    def _home(self) -> None:
        self._refused = ""
        self.homing.begin(self.chosen)

    def _declare(self) -> None:
        self._refused = ""
        try:
            self.homing.declare(self.chosen, self._read(self.place.text(), self.chosen.unit))
        except ValueError as fault:
            self._refused = translate("run", "The rig was not told: {why}.").format(why=str(fault).rstrip("."))
        self.show_homing()

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        super().resizeEvent(event)
        self._face()

    def _face(self) -> None:
        """Use large targets in the face for running, where there is height for them beside what will move."""
        running = self._desk.face == "run"
        tall = BIG_TARGET_PX if running and self.height() >= _ROOMY_PX else _LOW_PX
        text_px = STATE_PX if running else TEXT_PX
        for hold in (self.search, self.here):
            hold.setFixedHeight(tall)
        for field in (self.axis, self.place):
            field.setMinimumHeight(_LOW_PX)
        for label in (self.words, self.way):
            label.setStyleSheet(f"font-size: {text_px}px;")
        self.caution.setStyleSheet(f"font-size: {TEXT_PX}px;")
        self.show_homing()

    def show_homing(self) -> None:
        """Show what can be homed, what that would move, and how it goes."""
        self._offer()
        axis, homing = self.chosen, self.homing
        why, no_switch = homing.why_not(), unfit(axis)
        self.axis.setEnabled(not homing.busy)
        self.place.setEnabled(not homing.busy)
        self.search.setEnabled(not (no_switch or why or homing.busy))
        self.here.setEnabled(not why and not homing.busy and bool(self.place.text().strip()))
        self.unit.setText(translate("run", "part, 0 to 1") if axis.unit == "part" else axis.unit)
        self.way.setText(f"{no_switch.rstrip('.')}." if no_switch else foreseen(axis))
        self.words.setText("\n".join(self._said(why)))

    def _offer(self) -> None:
        """Offer the axes that there are; one that is chosen stays so, also at another place."""
        names = self._desk.project.rig.names
        if names == self._names:
            return
        chosen = self.axis.currentText()
        self._names = names
        self.axis.clear()
        self.axis.addItems(names)
        self.axis.setCurrentIndex(names.index(chosen) if chosen in names else 0)

    def _said(self, why: str) -> list[str]:
        """Return why nothing can be homed now, or what was said of the last axis, newest last."""
        if self._refused:
            return [self._refused]
        lines = list(self.homing.lines)
        if self.homing.busy:
            stopped = self._link.now.state == "stopped"
            mend = translate("run", "Stopped. Look at the rig, then reset; nothing moves by it.")
            return [*lines[-2:], *([mend] if stopped else [])]
        if why:
            return [*lines[-2:], translate("run", "Not to be homed: {why}.").format(why=why)]
        ready = translate("run", "Where an axis counts from is to be trusted only once it was homed.")
        return lines[-2:] or [ready]
