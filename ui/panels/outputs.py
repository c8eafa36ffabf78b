"""The outputs by which the rig is reached, in order, and the form of one; what is wrong with them stands beside it.

It opens none: whether an address is one, and whether an output can carry its axes, is found out aside.
"""

from collections.abc import Callable
from functools import partial

from PyQt6.QtGui import QResizeEvent
from PyQt6.QtWidgets import QBoxLayout, QVBoxLayout

from sequencer.project import amend_outlets
from sequencer.project.document import Project
from sequencer.rig.outlet import Outlet
from ui.acts.judging import Judging
from ui.acts.outlets import Judged, example, judged
from ui.desk import Desk
from ui.label import tip
from ui.language import translate
from ui.panels.fields import Told, attempt
from ui.panels.ordered import Ordered
from ui.panels.output_form import OutputForm
from ui.panels.setup_forms import Form
from ui.theme import GAP_PX

_LIST_PX, _LIST_HIGH_PX = 190, 150
_BESIDE_PX = 640  # of a form with its list beside it
_FIRST = "osc"


class OutputsForm(Form):
    """All outputs beside the form of one. `tick_hz` is how many setpoints a second the run makes."""

    def __init__(self, desk: Desk, tick_hz: Callable[[], int] = lambda: 250) -> None:
        words = translate(
            "setup",
            "By these a run reaches the rig's axes, each axis by one; others are only told of the move. ✕: it cannot "
            "run like this, and its form says why.",
        )
        super().__init__(desk, translate("setup", "Outputs"), words)
        self._tick_hz = tick_hz
        self._asked: tuple[object, int] | None = None
        self.judged = Judged()
        self.judging: Judging[Judged] = Judging(self._tell, self._failed, self)
        self.form = OutputForm(desk, lambda: self.number)
        self.fault = Told(desk, fault=True)
        self.whole = Told(desk, fault=True)
        self.none = Told(desk, translate("setup", "None yet: a run asks for an address, or takes the simulated rig."))
        self._row = QBoxLayout(QBoxLayout.Direction.LeftToRight)
        self._row.setSpacing(2 * GAP_PX)
        self._left = self._list_and_buttons()
        self._row.addLayout(self._left)
        right = QVBoxLayout()
        right.addWidget(self.none)
        right.addWidget(self.form)
        right.addStretch(1)
        self._row.addLayout(right, 1)
        self.put(self.whole, self.fault)
        self._lines.addLayout(self._row)
        for told in (self.fault, self.whole):
            told.hide()
        self.follow()

    @property
    def number(self) -> int:
        """The place of the chosen output; -1 where there is none."""
        return max(0, min(self.list.currentRow(), len(self._outlets) - 1)) if self._outlets else -1

    @property
    def _outlets(self) -> tuple[Outlet, ...]:
        return self.desk.project.rig.outlets

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        """Put the list above the form where there is no room for both beside each other."""
        super().resizeEvent(event)
        is_narrow = self.width() < _BESIDE_PX
        beside, above = QBoxLayout.Direction.LeftToRight, QBoxLayout.Direction.TopToBottom
        self._row.setDirection(above if is_narrow else beside)
        self._left.setDirection(beside if is_narrow else above)

    def _list_and_buttons(self) -> QBoxLayout:
        ordered = Ordered(
            translate("setup", "Outputs of the rig"),
            translate("setup", "outputs"),
            translate("setup", "Add an output"),
            (_LIST_PX, _LIST_HIGH_PX),
            chosen=self._chosen,
            add=self.add,
            remove=self.remove,
            shift=self.shift,
        )
        self.list, self.buttons = ordered.list, ordered.buttons
        return ordered.layout

    def follow(self) -> None:
        """Show what the document has, and have it judged where it is another."""
        row = self.number
        self._show_list(row)
        there = row >= 0
        self.form.setVisible(there)
        self.none.setVisible(not there)
        self.buttons["remove"].setEnabled(there)
        self.buttons["up"].setEnabled(row > 0)
        self.buttons["down"].setEnabled(there and row < len(self._outlets) - 1)
        if there:
            self.form.follow()
        rig, tick_hz = self.desk.project.rig, self._tick_hz()
        if self.isVisible() and self._asked != (rig, tick_hz):
            self._asked = (rig, tick_hz)
            self.fault.tell("")
            self.judging.ask(partial(judged, rig, tick_hz))

    def _show_list(self, row: int) -> None:
        faults = self.judged.faults if len(self.judged.faults) == len(self._outlets) else ("",) * len(self._outlets)
        texts = [("✕ " if fault else "") + one.address for one, fault in zip(self._outlets, faults, strict=True)]
        self.list.blockSignals(True)
        self.list.clear()
        self.list.addItems(texts)
        for place, (one, fault) in enumerate(zip(self._outlets, faults, strict=True)):
            item = self.list.item(place)
            if item is not None:
                item.setToolTip(tip("\n".join(filter(None, (one.address, fault)))))
        self.list.setCurrentRow(row)
        self.list.blockSignals(False)

    def _chosen(self) -> None:
        self.form.follow(anew=True)
        self._tell(self.judged)
        self.follow()

    def _tell(self, found: Judged) -> None:
        self.judged = found
        self._show_list(self.number)
        self.whole.tell(found.whole)
        self.form.judge(found)

    def _failed(self, fault: Exception) -> None:
        self.whole.tell(str(fault))

    def add(self) -> None:
        """Add an output: the first kind's example for the axes that no other output names."""
        named = {name for outlet in self._outlets for name in outlet.axes}
        left = [axis for axis in self.desk.project.rig.axes if axis.name not in named]
        outlet = Outlet(address=example(_FIRST, left))
        place = len(self._outlets)
        words = translate("setup", "add an output")
        if self._do(words, lambda project: amend_outlets.with_outlet(project, None, outlet)):
            self.list.setCurrentRow(place)
            self.form.address.line.setFocus()
            self.form.address.line.selectAll()

    def remove(self) -> None:
        """Remove the chosen output."""
        number = self.number
        if number >= 0:
            words = translate("setup", "remove output {address}").format(address=self._outlets[number].address)
            self._do(words, lambda project: amend_outlets.with_outlet(project, number, None))

    def shift(self, by: int) -> None:
        """Move the chosen output up or down."""
        number = self.number
        place = number + by
        if 0 <= place < len(self._outlets) and self._do(
            translate("setup", "order of the outputs"),
            lambda project: amend_outlets.outlet_at(project, number, place),
        ):
            self.list.setCurrentRow(place)

    def _do(self, words: str, edit: Callable[[Project], Project]) -> bool:
        why = attempt(lambda edit: self.edit(words, edit), edit)
        if why:
            self.fault.tell(why)
        return not why
