"""What is done to the chosen keys as a whole, each with the number that it needs. It refuses to ask in a dialog."""

from collections.abc import Callable
from fractions import Fraction

from PyQt6.QtWidgets import QCheckBox, QComboBox, QHBoxLayout, QPushButton, QVBoxLayout, QWidget

from ui.acts.keys import offset_keys
from ui.acts.laws import offered_laws
from ui.acts.retime import join_keys, mirror_keys, reverse_keys, scale_keys, snap_keys, stretch_keys, thin_keys
from ui.desk import Desk
from ui.language import translate
from ui.panels.entry import Entry, refusal
from ui.panels.typed import Times, typed_factor, typed_length, typed_number
from ui.theme import GAP_PX

_BUTTON_PX = 84


class ChangeForm(QWidget):
    """A row for each change: fields, and a button that does it."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._column = QVBoxLayout(self)
        self._column.setContentsMargins(0, 0, 0, 0)
        self._column.setSpacing(GAP_PX // 2)
        self.factor = Entry(translate("selected", "Stretch in time by"), translate("selected", "such as 110 % or 3/2"))
        self.about_playhead = QCheckBox(translate("selected", "about the playhead"))
        self.about_playhead.setAccessibleName(translate("selected", "Stretch about the playhead"))
        self.later = Entry(translate("selected", "Shift in time by"), translate("selected", "such as 10 f or -2 s"))
        self.higher = Entry(translate("selected", "Shift in value by"))
        self.about = Entry(translate("selected", "Mirror about the value"))
        self.times = Entry(translate("selected", "Scale about that value by"), translate("selected", "such as 50 %"))
        self.within = Entry(translate("selected", "Thin to within"))
        for entry, text in ((self.factor, "100 %"), (self.later, "0"), (self.higher, "0"), (self.about, "0"),
                            (self.times, "100 %"), (self.within, "0.1")):  # fmt: skip
            entry.line.setText(text)
        self.buttons: dict[str, QPushButton] = {}
        self._row(self.factor, "stretch", translate("selected", "Stretch"), self._stretch)
        self._column.addWidget(self.about_playhead)
        self._row(self.later, "later", translate("selected", "Shift"), self._shift_time)
        self._row(self.higher, "higher", translate("selected", "Shift"), self._shift_value)
        self._row(self.about, "mirror", translate("selected", "Mirror"), self._mirror)
        self._row(self.times, "scale", translate("selected", "Scale"), self._scale)
        self._row(self.within, "thin", translate("selected", "Thin"), self._thin)
        rest = QWidget()
        row = QHBoxLayout(rest)
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(self._button("reverse", translate("selected", "Reverse"), lambda: reverse_keys(desk)))
        row.addWidget(self._button("snap", translate("selected", "Snap"), lambda: snap_keys(desk)))
        self._column.addWidget(rest)
        self._column.addWidget(self._joining())

    def _joining(self) -> QWidget:
        self.joined = QComboBox()
        self.joined.setAccessibleName(translate("selected", "Law of the joined leg"))
        self.joined.addItem(translate("selected", "with the first one's law"))
        self.joined.addItems(offered_laws(self._desk))
        self.joined.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        joining = QWidget()
        row = QHBoxLayout(joining)
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(self.joined, 1)
        row.addWidget(self._button("join", translate("selected", "Join legs"), self._join))
        return joining

    def _join(self) -> None:
        join_keys(self._desk, self.joined.currentText() if self.joined.currentIndex() else None)

    def _row(self, entry: Entry, name: str, words: str, act: Callable[[], object]) -> None:
        button = self._button(name, words, lambda: entry.say(refusal(self._desk, act)))
        button.setAccessibleName(f"{words}: {entry.line.accessibleName()}")
        entry.line.returnPressed.connect(button.click)
        button.setMinimumWidth(_BUTTON_PX)
        entry.stand_beside(button)
        self._column.addWidget(entry)

    def _button(self, name: str, words: str, act: Callable[[], object]) -> QPushButton:
        button = QPushButton(words)
        button.setAccessibleName(words)
        button.setAutoDefault(False)
        button.clicked.connect(lambda checked: act())
        self.buttons[name] = button
        return button

    def _unit(self) -> str:
        """Return the one unit of the chosen axes. Error: ValueError where there are several."""
        rig = self._desk.project.rig
        units = {rig.axes[rig.index(axis)].unit for axis in self._desk.selection}
        if len(units) > 1:
            raise ValueError(translate("selected", "the chosen axes have different units; choose keys of one kind"))
        return units.pop() if units else ""

    def _stretch(self) -> None:
        factor = typed_factor(self.factor.text)
        stretch_keys(self._desk, factor, "playhead" if self.about_playhead.isChecked() else "first")

    def _shift_time(self) -> None:
        desk, project = self._desk, self._desk.project
        here = min((key.at for _, _, key in desk.chosen_keys()), default=Fraction(0))
        times = Times(timebase=project.timebase, tempo=project.tempo, counted=desk.counted, here=here)
        offset_keys(desk, frames=typed_length(self.later.text, times))

    def _shift_value(self) -> None:
        offset_keys(self._desk, value=typed_number(self.higher.text, self._unit()))

    def _mirror(self) -> None:
        mirror_keys(self._desk, typed_number(self.about.text, self._unit()))

    def _scale(self) -> None:
        scale_keys(self._desk, float(typed_factor(self.times.text)), typed_number(self.about.text, self._unit()))

    def _thin(self) -> None:
        thin_keys(self._desk, typed_number(self.within.text, self._unit()))
