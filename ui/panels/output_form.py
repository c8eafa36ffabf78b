"""One output of the rig, field by field: its address, its axes, its pace, and what becomes of the rig without it.

It refuses what rig.json could not hold; whether it can run is said below the address as soon as it is known.
"""

from collections.abc import Callable
from dataclasses import replace
from functools import partial

from PyQt6.QtWidgets import QCheckBox, QGridLayout, QVBoxLayout, QWidget

from sequencer.project import amend_outlets
from sequencer.rig.outlet import AT_END, ON_LOSS, Outlet
from ui.acts.outlets import Judged, ends_named, with_ways
from ui.acts.written import decimal
from ui.desk import Desk
from ui.language import translate
from ui.panels.fields import Field, Pull, Row, Told, attempt, change
from ui.panels.outputs_found import FoundOutputs
from ui.panels.typed import typed_number
from ui.theme import GAP_PX

_TICKS_A_ROW = 4


class OutputForm(QWidget):
    """`which` says the place of the shown output in the rig; it is not asked where there is none."""

    def __init__(self, desk: Desk, which: Callable[[], int]) -> None:
        super().__init__()
        self._desk, self._which = desk, which
        self.address = Field(desk, translate("setup", "Address"), self._take_address, "", is_long=True)
        self.fault = Told(desk, fault=True)
        self.fault.hide()
        self.found = FoundOutputs(desk, lambda: self._axes, self._use)
        self.axes = AxesTicks(desk, self._take_axes)
        means = translate("setup", "Setpoint sets a second, at most; empty for as many as the run makes and it holds.")
        self.rate = Field(desk, translate("setup", "Rate"), self._take_rate, means, "Hz")
        means = translate("setup", "Of the link. Playback leads by it, beside each axis's own.")
        self.latency = Field(desk, translate("setup", "Latency"), self._take_latency, means, "ms")
        losses = (
            translate("setup", "as usual"),
            translate("setup", "the rig stops"),
            translate("setup", "the others go on"),
        )
        means = translate(
            "setup", "When its link is lost. As usual: a rig stops as a whole; an output that moves nothing is let go."
        )
        self.on_loss = Pull(desk, translate("setup", "When it is lost"), losses, self._take_loss, means)
        means = translate(
            "setup",
            "What the device does when setpoints end: try it with the motors unloaded. Power that is dropped can drop "
            "what they carry.",
        )
        self.at_end = Pull(desk, translate("setup", "Setpoints end"), ends_named(), self._take_end, means)
        self.ends = Told(desk)
        self.told = Told(desk)
        self.told.setAccessibleName(translate("setup", "What is told before arming"))
        lines = QVBoxLayout(self)
        lines.setContentsMargins(0, 0, 0, 0)
        lines.setSpacing(GAP_PX)
        rows = (self.address, self.fault, self.axes, self.rate, self.latency, self.on_loss, self.at_end, self.ends)
        for row in (*rows, self.told, self.found):
            lines.addWidget(row)

    @property
    def outlet(self) -> Outlet:
        return self._desk.project.rig.outlets[self._which()]

    @property
    def _axes(self) -> tuple[str, ...]:
        """The axes that an address is for: those that it names, or all."""
        there = self._which() >= 0
        return (self.outlet.axes if there else ()) or self._desk.project.rig.names

    def follow(self, *, anew: bool = False) -> None:
        """Show what the document has; `anew` forgets what was typed and refused."""
        outlet = self.outlet
        for field, text in (
            (self.address, outlet.address),
            (self.rate, "" if outlet.rate_hz is None else decimal(outlet.rate_hz)),
            (self.latency, decimal(round(outlet.latency_s * 1e3, 6))),
        ):
            (field.show_anew if anew else field.show_text)(text)
        self.axes.show_axes(self._desk.project.rig.names, outlet.axes)
        self.on_loss.show_place(0 if outlet.on_loss is None else 1 + ON_LOSS.index(outlet.on_loss))
        self.at_end.show_place(AT_END.index(outlet.at_end))

    def judge(self, found: Judged) -> None:
        """Say what is wrong with the shown output, or what will be told of it."""
        number = self._which()
        there = 0 <= number < len(found.faults)
        self.fault.tell(found.faults[number] if there else "")
        ends = found.ends[number] if there else ""
        self.ends.tell(translate("setup", "Its kind says: {ends}.").format(ends=ends) if ends else "")
        self.ends.setVisible(bool(ends))
        words = ". ".join(found.told[number]) if there and not found.faults[number] else ""
        self.told.tell(translate("setup", "Before arming it is told: {words}.").format(words=words) if words else "")
        self.told.setVisible(bool(words))

    def _use(self, address: str) -> None:
        self.address.fail(attempt(self._take_address, address))

    def _put(self, what: str, outlet: Outlet) -> None:
        words = translate("setup", "{what} of output {address}").format(what=what, address=self.outlet.address)
        number = self._which()
        change(self._desk, words, lambda project: amend_outlets.with_outlet(project, number, outlet))

    def _take_address(self, text: str) -> None:
        self._put(translate("setup", "address"), replace(self.outlet, address=text.strip()))

    def _take_axes(self, names: tuple[str, ...]) -> None:
        outlet = self.outlet
        axes = [axis for axis in self._desk.project.rig.axes if axis.name in names]
        # a way for an axis that is new here is written with it; one that is not its own any more says so by itself
        address = with_ways(outlet.address, axes) if "?" in outlet.address else outlet.address
        self._put(translate("setup", "axes"), replace(outlet, axes=names, address=address))

    def _take_rate(self, text: str) -> None:
        rate_hz = typed_number(text.strip().removesuffix("Hz"), "") if text.strip() else None
        self._put(translate("setup", "rate"), replace(self.outlet, rate_hz=rate_hz))

    def _take_latency(self, text: str) -> None:
        latency_s = typed_number(text, "ms") * 1e-3 if text.strip() else 0.0
        self._put(translate("setup", "latency"), replace(self.outlet, latency_s=round(latency_s, 9)))

    def _take_loss(self, place: int) -> None:
        on_loss = ON_LOSS[place - 1] if place else None
        self._put(translate("setup", "loss"), replace(self.outlet, on_loss=on_loss))

    def _take_end(self, place: int) -> None:
        self._put(translate("setup", "end of setpoints"), replace(self.outlet, at_end=AT_END[place]))


class AxesTicks(Row):
    """Which axes are behind an output; none ticked: all that no other output names."""

    def __init__(self, desk: Desk, take: Callable[[tuple[str, ...]], None]) -> None:
        inside = QWidget()
        self._grid = QGridLayout(inside)
        self._grid.setContentsMargins(0, 0, 0, 0)
        self._take = take
        self.boxes: dict[str, QCheckBox] = {}
        means = translate("setup", "None ticked: all that no other output names.")
        super().__init__(desk, translate("setup", "Axes"), inside, "", means, is_long=True)

    def show_axes(self, names: tuple[str, ...], ticked: tuple[str, ...]) -> None:
        """Show what the document has."""
        if tuple(self.boxes) != names:
            for box in self.boxes.values():
                self._grid.removeWidget(box)
                box.deleteLater()
            self.boxes = {name: QCheckBox(name) for name in names}
            for place, (name, box) in enumerate(self.boxes.items()):
                box.setAccessibleName(translate("setup", "{axis} is behind this output").format(axis=name))
                box.clicked.connect(partial(self._clicked, name))
                self._grid.addWidget(box, place // _TICKS_A_ROW, place % _TICKS_A_ROW)
        for name, box in self.boxes.items():
            box.setChecked(name in ticked)
        self.fail("")

    def _clicked(self, name: str, ticked: bool) -> None:
        names = tuple(one for one, box in self.boxes.items() if box.isChecked())
        why = attempt(self._take, names)
        self.fail(why)
        if why:
            self.boxes[name].setChecked(not ticked)
