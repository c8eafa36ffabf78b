"""The rig column: one row an axis, beside the lanes while preparing and evenly spread while running; and the markers.

It reads what the engine reported, and moves nothing: to a marker the rig goes only as to the start of a cue, armed.
"""

from collections.abc import Sequence
from dataclasses import replace

from PyQt6.QtCore import QSize, pyqtSignal
from PyQt6.QtGui import QResizeEvent
from PyQt6.QtWidgets import QListWidget, QListWidgetItem, QPushButton, QSizePolicy, QVBoxLayout, QWidget

from sequencer.score.move import Cue, Marker
from ui.desk import Desk
from ui.label import Label
from ui.language import translate
from ui.link.link import Link
from ui.run.nearness import rows
from ui.run.quiet import Quiet
from ui.run.row import AxisRow
from ui.theme import GAP_PX

_WIDTH_PX = 260
_ROOMY_PX = 700
_LEAST_ROW_PX = 24


class RigColumn(QWidget):
    """`moved`: where the axes are, in the rig's order, None where it is not known. `actual` is the newest of it."""

    moved = pyqtSignal(object)

    def __init__(self, desk: Desk, link: Link, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._link = link
        self._places: dict[str, tuple[float, float]] = {}
        self.actual: tuple[float | None, ...] = ()
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Expanding)
        self.setAccessibleName(translate("run", "Rig"))
        self.axes = Area(self)
        self.axes.resized.connect(self._place)
        self.marks = Marks(desk, link, self)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.setSpacing(0)
        whole.addWidget(self.axes, 1)
        whole.addWidget(self.marks)
        self.rows: list[AxisRow] = []
        # no functions without a name here: those would outlive the widget
        for signal in (link.status, link.standing, desk.changed):
            signal.connect(self.show_rig)
        desk.preferred.connect(self._repaint)
        desk.faced.connect(self._shown)
        self.show_rig()

    def align(self, lanes: Sequence[tuple[str, float, float]]) -> None:
        """Put each axis's row beside its lane: axis, top, height in pixels of this widget; others go below."""
        self._places = {axis: (top_px, height_px) for axis, top_px, height_px in lanes}
        self._place()

    def sizeHint(self) -> QSize:
        return QSize(_WIDTH_PX, 480)

    def minimumSizeHint(self) -> QSize:
        return QSize(180, 200)

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        super().resizeEvent(event)
        self._shown()

    def _shown(self) -> None:
        """While running, axes come before markers where there is no room for both."""
        self.marks.setVisible(self._desk.face == "prepare" or self.height() >= _ROOMY_PX)
        self._place()

    def show_rig(self) -> None:
        """Show where all axes are now."""
        link = self._link
        stands = rows(self._desk.project.rig, link.newest)
        if [row.near.axis for row in self.rows] != [near.axis for near in stands]:
            for row in self.rows:
                row.deleteLater()
            self.rows = [AxisRow(self._desk, near, self.axes) for near in stands]
            for row in self.rows:
                row.show()
            self._place()
        for row, near in zip(self.rows, stands, strict=True):
            row.show_near(near, stale=link.now.stale)
        actual = tuple(near.actual for near in stands)
        if actual != self.actual:
            self.actual = actual
            self.moved.emit(actual)

    def _place(self) -> None:
        """Lay the rows out: beside their lanes where those are known, else evenly."""
        width, height = self.axes.width(), self.axes.height()
        beside = self._places if self._desk.face == "prepare" else {}
        left = [row for row in self.rows if row.near.axis.name not in beside]
        for row in self.rows:
            if row.near.axis.name in beside:
                top_px, height_px = beside[row.near.axis.name]
                row.setGeometry(0, round(top_px), width, round(height_px))
        top = round(max((top_px + height_px for top_px, height_px in beside.values()), default=0.0))
        each = max(_LEAST_ROW_PX, (height - top) // max(1, len(left)))
        for number, row in enumerate(left):
            row.setGeometry(0, top + number * each, width, min(each, row.sizeHint().height() * 2))

    def _repaint(self) -> None:
        for row in self.rows:
            row.update()


class Area(QWidget):
    """Where the rows lie; `resized` comes after it was."""

    resized = pyqtSignal()

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        super().resizeEvent(event)
        self.resized.emit()


class Marks(QWidget):
    """The project's markers: the playhead goes to each, the rig to those at which a cue begins."""

    def __init__(self, desk: Desk, link: Link, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._link = link
        self._quiet = Quiet(self)
        self.list = QListWidget(self)
        self.list.setAccessibleName(translate("run", "Markers"))
        self.look = QPushButton(translate("run", "Playhead here"), self)
        self.go = QPushButton(translate("run", "Go to: choose its cue"), self)
        self.why = Label(self)
        self.why.setWordWrap(True)
        for button in (self.look, self.go):
            button.setAccessibleName(button.text())
            button.setAutoDefault(False)
            self._quiet.over(button)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(GAP_PX, GAP_PX // 2, GAP_PX, GAP_PX // 2)
        whole.setSpacing(4)
        for one in (self.list, self.look, self.go, self.why):
            whole.addWidget(one)
        self.list.setMinimumHeight(48)
        self.list.setMaximumHeight(130)
        self.list.currentRowChanged.connect(lambda _: self._judge())
        self.list.itemActivated.connect(lambda _: self._look())
        self.look.clicked.connect(self._look)
        self.go.clicked.connect(self._go)
        desk.changed.connect(self._fill)
        link.standing.connect(self._judge)
        link.chosen.connect(self._judge)
        self._shown: tuple[Marker, ...] | None = None
        self._fill()

    def _fill(self) -> None:
        markers = tuple(sorted(self._desk.project.move.markers, key=lambda marker: marker.at))
        if markers != self._shown:
            self._shown = markers
            self.list.clear()
            for marker in markers:
                self.list.addItem(QListWidgetItem(f"{self._desk.project.timebase.label(marker.at)}  {marker.name}"))
        self._judge()

    @property
    def marker(self) -> Marker | None:
        """The chosen one."""
        row = self.list.currentRow()
        return self._shown[row] if self._shown and 0 <= row < len(self._shown) else None

    def _cue(self) -> Cue | None:
        marker = self.marker
        cues = self._desk.project.move.cues
        return None if marker is None else next((cue for cue in cues if cue.start == marker.at), None)

    def _judge(self) -> None:
        """Say why the rig cannot be sent there, where it cannot."""
        cue = self._cue()
        if self.marker is None:
            why = translate("run", "choose a marker") if self._shown else translate("run", "there are no markers")
        elif self._link.dangerous:
            why = translate("run", "not while the rig is armed or moves: stop it first")
        elif cue is None:
            why = translate("run", "no cue begins here; the rig can be sent to the start of a cue only")
        elif self._link.choice.cue == cue.name:
            why = translate("run", "cue {cue} is chosen: arm, and the rig goes there").format(cue=cue.name)
        else:
            why = ""
        self.why.setText(why)
        self.why.setVisible(bool(why))
        self.go.setEnabled(not why)
        self.look.setEnabled(self.marker is not None)

    def _look(self) -> None:
        if self.marker is not None:
            self._desk.place(self.marker.at)

    def _go(self) -> None:
        cue = self._cue()
        if cue is not None:
            self._link.choose(replace(self._link.choice, cue=cue.name))
