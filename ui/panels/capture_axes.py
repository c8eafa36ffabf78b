"""The axes of a performance, each with how near its keys are to be: in its own unit, or in pixels of the picture.

It refuses to guess a nearness that nobody typed.
"""

from collections.abc import Sequence

from PyQt6.QtCore import pyqtSignal
from PyQt6.QtWidgets import QCheckBox, QComboBox, QGridLayout, QWidget

from sequencer.project.document import Project
from sequencer.rig.axis import Axis
from sequencer.takes.pixels import moves_picture, worth
from ui.acts.written import value_text
from ui.label import Label
from ui.language import translate
from ui.panels.entry import Line
from ui.panels.typed import Mistyped, typed_number
from ui.theme import GAP_PX

_PX = "px"
_USUAL_PX = "1"
_EDIT_PX = 84


class _Row:
    """One axis: whether it gets keys, and how near they are to be, in which unit."""

    def __init__(self, axis: Axis, project: Project) -> None:
        self.axis = axis
        self.tick = QCheckBox(f"{axis.name} ({axis.unit})")
        self.tick.setAccessibleName(translate("capture", "Keys for {axis}").format(axis=axis.name))
        self.tick.setChecked(True)
        self.line = Line()
        self.line.setFixedWidth(_EDIT_PX)
        self.line.setAccessibleName(translate("capture", "How far off {axis} may be").format(axis=axis.name))
        self.unit = QComboBox()
        self.unit.setAccessibleName(translate("capture", "Unit of how far off {axis} may be").format(axis=axis.name))
        self.unit.addItem(axis.unit, axis.unit)
        if project.rig.camera is not None and moves_picture(axis.kind, axis.unit):
            self.unit.addItem(translate("capture", "pixels"), _PX)
            self.unit.setCurrentIndex(1)
            self.line.setText(_USUAL_PX)
        else:
            self.line.setPlaceholderText(translate("capture", "off by"))
        self.worth = Label()

    def within(self, project: Project) -> float:
        """Return how far off the axis may be, in its own unit. Error: ValueError in words."""
        unit = str(self.unit.currentData())
        try:
            number = typed_number(self.line.text(), unit)
        except Mistyped as fault:
            words = translate("typed", fault.words).format(**fault.values)
            raise ValueError(f"{self.axis.name}: {words}") from fault
        if not 0 < number < float("inf"):
            words = translate("capture", "{axis}: {number:g} is not how far off it may be; write a number above zero")
            raise ValueError(words.format(axis=self.axis.name, number=number))
        if unit != _PX:
            return number
        if (camera := project.rig.camera) is None:
            words = translate(
                "capture", "{axis}: the rig's camera is not described any more; describe it, or choose {unit}"
            )
            raise ValueError(words.format(axis=self.axis.name, unit=self.axis.unit))
        return worth(number, self.axis.kind, self.axis.unit, camera)


class CaptureAxes(QWidget):
    """A row for each axis that hands performed. `changed`: something else is asked for."""

    changed = pyqtSignal()

    def __init__(self) -> None:
        super().__init__()
        self.rows: dict[str, _Row] = {}
        self._project: Project | None = None
        self._grid = QGridLayout(self)
        self._grid.setContentsMargins(0, 0, 0, 0)
        self._grid.setSpacing(GAP_PX // 2)
        self._grid.setColumnStretch(3, 1)

    def show_axes(self, project: Project, names: Sequence[str]) -> tuple[str, ...]:
        """Show these axes; return those that the rig does not have any more."""
        while (item := self._grid.takeAt(0)) is not None:
            if (widget := item.widget()) is not None:
                widget.hide()
                widget.deleteLater()
        self._project = project
        there = [name for name in names if name in project.rig.names]
        self.rows = {name: _Row(project.rig.axes[project.rig.index(name)], project) for name in there}
        for place, row in enumerate(self.rows.values()):
            for column, widget in enumerate((row.tick, row.line, row.unit, row.worth)):
                self._grid.addWidget(widget, place, column)
            row.tick.toggled.connect(self._follow)
            row.line.textChanged.connect(self._follow)
            row.unit.activated.connect(self._follow)
        self._grid.setRowStretch(len(self.rows), 1)
        self._follow()
        return tuple(name for name in names if name not in there)

    def judge(self, project: Project) -> None:
        """Let pixels be of this project's camera, which may have got another lens since."""
        if self._project is not None and project.rig is not self._project.rig:
            self._project = project
            for row in self.rows.values():
                row.worth.setText(self._worth(row))

    def within(self) -> dict[str, float]:
        """Return how far off each ticked axis may be, in its own unit. Error: ValueError in words."""
        chosen = [row for row in self.rows.values() if row.tick.isChecked()]
        if not chosen or self._project is None:
            raise ValueError(translate("capture", "no axis is ticked; tick one"))
        return {row.axis.name: row.within(self._project) for row in chosen}

    def _follow(self) -> None:
        """Say what pixels are worth in the axis's own unit."""
        for row in self.rows.values():
            for widget in (row.line, row.unit):
                widget.setEnabled(row.tick.isChecked())
            row.worth.setText(self._worth(row))
        self.changed.emit()

    def _worth(self, row: _Row) -> str:
        if self._project is None or row.unit.currentData() != _PX or not row.tick.isChecked():
            return ""
        try:
            own = row.within(self._project)
        except ValueError:
            return ""
        return translate("capture", "= {value}").format(value=value_text(own, row.axis.unit, 3))
