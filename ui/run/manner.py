"""How the pads on the screen drive: how fast at most, fine or coarse, rate control or spring-back and over what range.

It moves nothing. What cannot be a range is said, and the one before stays.
"""

from PyQt6.QtCore import QSignalBlocker, pyqtSignal
from PyQt6.QtWidgets import QCheckBox, QComboBox, QHBoxLayout, QSizePolicy, QVBoxLayout, QWidget

from sequencer.live.handling import RANGES_DEG, Handling
from ui.acts.written import decimal
from ui.label import tip
from ui.language import translate
from ui.run.quiet import Quiet
from ui.theme import GAP_PX

SPEEDS = (5, 10, 25, 50, 100)  # percent
_SLOW = SPEEDS.index(10)
_RATE, _SPRING = range(2)
_MOST_DEG = 100_000.0


class Manner(QWidget):
    """`changed`: another manner or another range. `refused`: what was typed is none, and why; empty where it is one."""

    changed = pyqtSignal()
    refused = pyqtSignal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        usual = Handling()
        self._fine, self._range_deg = usual.fine, usual.range_deg
        self._quiet = Quiet(self)
        self.fastest, self.manner, self.range = QComboBox(self), QComboBox(self), QComboBox(self)
        self.fine = QCheckBox(translate("run", "fine"), self)
        self.fastest.addItems([translate("run", "up to {percent} %").format(percent=one) for one in SPEEDS])
        self.fastest.setCurrentIndex(_SLOW)
        self.manner.addItems([translate("run", "rate control"), translate("run", "spring-back")])
        self.range.setEditable(True)
        self.range.setInsertPolicy(QComboBox.InsertPolicy.NoInsert)
        self.range.addItems([_written(one) for one in RANGES_DEG])
        self._show_range()
        for box, name in (
            (self.fastest, translate("run", "Fastest while driving, of full speed")),
            (self.fine, translate("run", "Fine: {part} of that").format(part=f"{self._fine:.0%}")),
            (self.manner, translate("run", "What a push says: how fast, or how far from where the axis was")),
            (self.range, translate("run", "Range of spring-back, both sides together: chosen, or typed")),
        ):
            box.setAccessibleName(name)
            box.setToolTip(tip(name))
            self._quiet.over(box)
        for chosen in (self.fastest, self.manner):
            # no word of these is cut, least of all a digit
            chosen.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToContents)
            chosen.setSizePolicy(QSizePolicy.Policy.MinimumExpanding, QSizePolicy.Policy.Fixed)
        self.range.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.range.setMinimumContentsLength(4)
        self.range.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        self._rows = QHBoxLayout(), QHBoxLayout()
        lines = QVBoxLayout(self)
        lines.setContentsMargins(0, 0, 0, 0)
        lines.setSpacing(GAP_PX // 2)
        for row, boxes in zip(self._rows, ((self.fastest, self.fine), (self.manner, self.range)), strict=True):
            row.setSpacing(GAP_PX // 2)
            for one in boxes:
                row.addWidget(one)
            lines.addLayout(row)
        self.manner.currentIndexChanged.connect(self._turn)
        self.range.activated.connect(self._choose)
        line = self.range.lineEdit()
        if line is not None:
            line.editingFinished.connect(self._type)
        self._turn()

    @property
    def top(self) -> float:
        """The part of each axis's full speed that a push can ask for."""
        top = SPEEDS[self.fastest.currentIndex()] / 100
        return top * self._fine if self.fine.isChecked() else top

    @property
    def range_deg(self) -> float | None:
        """The whole sweep of spring-back; None under rate control."""
        return self._range_deg if self.manner.currentIndex() == _SPRING else None

    def put_beside(self, first: QWidget, second: QWidget) -> None:
        """Put two more at the ends of the two rows."""
        for row, one in zip(self._rows, (first, second), strict=True):
            row.addWidget(one)

    def be_slow(self) -> None:
        """Be as slow as at first."""
        self.fastest.setCurrentIndex(_SLOW)

    def _turn(self) -> None:
        self.range.setEnabled(self.range_deg is not None)
        self.changed.emit()

    def _choose(self, place: int) -> None:
        self._take(self.range.itemText(place))

    def _type(self) -> None:
        if self.range.currentText() != _written(self._range_deg):  # it is said to be finished more than once
            self._take(self.range.currentText())

    def _take(self, text: str) -> None:
        try:
            range_deg = _read(text)
        except ValueError as fault:
            self._show_range()
            self.refused.emit(str(fault))
            return
        self.refused.emit("")
        before, self._range_deg = self._range_deg, range_deg
        self._show_range()
        if range_deg != before:
            self.changed.emit()

    def _show_range(self) -> None:
        with QSignalBlocker(self.range):
            self.range.setCurrentIndex(RANGES_DEG.index(self._range_deg) if self._range_deg in RANGES_DEG else -1)
            self.range.setEditText(_written(self._range_deg))


def _written(range_deg: float) -> str:
    return f"{decimal(range_deg)} °"


def _read(text: str) -> float:
    """Return the range in degrees. Error: ValueError in words."""
    number = text.strip().removesuffix("degrees").removesuffix("deg").removesuffix("°").strip().replace(",", ".")
    try:
        range_deg = float(number)
    except ValueError:
        raise ValueError(translate("run", "“{text}” is no range; write degrees, as in 60").format(text=text)) from None
    if not 0 < range_deg <= _MOST_DEG:
        raise ValueError(translate("run", "a range is above zero; write degrees, as in 60"))
    return range_deg
