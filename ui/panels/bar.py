"""The bar above the timeline: what keys snap onto, how time is counted, the pass that is judged, what is in sight.

It refuses to change the document.
"""

from collections.abc import Callable
from fractions import Fraction

from PyQt6.QtWidgets import QComboBox, QHBoxLayout, QToolButton, QWidget

from ui.acts import view
from ui.desk import COUNTED, ONTO, Desk, Snapping
from ui.label import Label, tip
from ui.language import translate
from ui.theme import GAP_PX

PARTS = (Fraction(1), Fraction(1, 2), Fraction(1, 3), Fraction(1, 4), Fraction(1, 8))


class Bar(QWidget):
    """Choices that stay until they are changed."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._row = QHBoxLayout(self)
        self._row.setContentsMargins(GAP_PX, 2, GAP_PX, 2)
        onto = {
            "nothing": translate("bar", "nothing"),
            "frames": translate("bar", "frames"),
            "beats": translate("bar", "beats"),
            "markers": translate("bar", "markers"),
            "keys": translate("bar", "other axes' keys"),
        }
        counted = {
            "timecode": translate("bar", "timecode"),
            "frames": translate("bar", "frames"),
            "seconds": translate("bar", "seconds"),
            "bars": translate("bar", "bars and beats"),
        }
        self.onto = self._choice(translate("bar", "Snap onto"), [onto[one] for one in ONTO], self._snap)
        self.part = self._choice(translate("bar", "Part"), [str(one) for one in PARTS], self._snap)
        self.counted = self._choice(translate("bar", "Time in"), [counted[one] for one in COUNTED], self._count)
        self.run = self._choice(translate("bar", "Pass"), [], self._pass)
        self._row.addStretch(1)
        self._button("−", translate("bar", "See a longer stretch of time"), lambda: view.zoom_out(desk))
        self._button("+", translate("bar", "See a shorter stretch of time"), lambda: view.zoom_in(desk))
        self._button(translate("bar", "All"), translate("bar", "See the whole move"), lambda: view.zoom_all(desk))
        desk.preferred.connect(self._follow)
        desk.changed.connect(self._follow)
        self._follow()

    def _choice(self, label: str, texts: list[str], do: Callable[[], None]) -> QComboBox:
        box = QComboBox()
        box.addItems(texts)
        box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToContents)  # passes come and get other names
        box.setAccessibleName(label)
        box.activated.connect(do)
        self._row.addWidget(Label(label))
        self._row.addWidget(box)
        return box

    def _button(self, text: str, name: str, do: Callable[[], None]) -> None:
        button = QToolButton()
        button.setText(text)
        button.setAccessibleName(name)
        button.setToolTip(tip(name))
        button.clicked.connect(do)
        self._row.addWidget(button)

    def _follow(self) -> None:
        desk = self._desk
        self.onto.setCurrentIndex(ONTO.index(desk.snapping.onto))
        if desk.snapping.part in PARTS:
            self.part.setCurrentIndex(PARTS.index(desk.snapping.part))
        self.part.setEnabled(desk.snapping.onto in ("frames", "beats"))
        self.counted.setCurrentIndex(COUNTED.index(desk.counted))
        names = [one.name for one in desk.project.move.passes] or [desk.project.run(None).name]
        if names != [self.run.itemText(place) for place in range(self.run.count())]:
            self.run.clear()
            self.run.addItems(names)
        self.run.setCurrentIndex(names.index(desk.run_name) if desk.run_name in names else 0)

    def _snap(self) -> None:
        self._desk.snap_onto(Snapping(ONTO[self.onto.currentIndex()], PARTS[self.part.currentIndex()]))

    def _count(self) -> None:
        self._desk.count(COUNTED[self.counted.currentIndex()])

    def _pass(self) -> None:
        if self._desk.project.move.passes:
            self._desk.choose_run(self.run.currentText())
