"""Makes keys of the chosen marks, shown before they are taken. It refuses to change the move itself."""

from fractions import Fraction

from PyQt6.QtCore import pyqtSignal
from PyQt6.QtWidgets import QCheckBox, QComboBox, QGridLayout, QHBoxLayout, QPushButton, QVBoxLayout, QWidget

from sequencer.errors import SequencerError
from ui.acts.laws import offered_laws
from ui.acts.poses import Poses
from ui.acts.poses_keys import Laid, When, propose_keys
from ui.acts.written import written
from ui.label import Label
from ui.language import translate
from ui.panels.entry import Entry
from ui.panels.fields import Told
from ui.panels.typed import Mistyped, Times, typed_instant
from ui.theme import GAP_PX

_APART_S = Fraction(4)  # of marks that are laid out evenly, before anybody says otherwise
_EVERY = 4  # beats
_LAW = "poly345"
_LEAST_LETTERS = 12


class PosesKeys(QWidget):
    """When, how, and a button that shows it. `left`: the operator is done here."""

    left = pyqtSignal()

    def __init__(self, poses: Poses) -> None:
        super().__init__()
        self._poses, self._desk = poses, poses.desk
        self.setAccessibleName(translate("marks", "Make keys of marks"))
        self.which = Label()
        self.which.setWordWrap(True)
        self.when, self.law = QComboBox(), QComboBox()
        ways: tuple[tuple[str, When], ...] = (
            (translate("marks", "one, at the instant"), "instant"),
            (translate("marks", "on beats, from the instant on"), "beats"),
            (translate("marks", "evenly, between two instants"), "evenly"),
        )
        for words, way in ways:
            self.when.addItem(words, way)
        self.start = Entry(translate("marks", "At, or from"), translate("marks", "the instant of the first one"))
        self.end = Entry(translate("marks", "To"), translate("marks", "the instant of the last one"))
        self.every = Entry(translate("marks", "Every so many beats"))
        self.clear = QCheckBox(translate("marks", "Take out keys between"))
        self.clear.setAccessibleName(self.clear.text())
        self.show_it = QPushButton(translate("marks", "Show the keys"))
        self.leave = QPushButton(translate("marks", "Back to the marks"))
        self.said = Told(self._desk, fault=True)
        self.said.hide()
        self._lay_out()
        self.when.activated.connect(self._follow)
        self.show_it.clicked.connect(self._propose)
        self.leave.clicked.connect(self.left)
        for signal in (poses.chose, self._desk.changed, self._desk.faced):
            signal.connect(self._follow)
        self._follow()

    def begin(self) -> None:
        """Begin with the playhead as the first instant."""
        self.said.tell("")
        at = self._desk.playhead
        count = max(2, len(self._marks()))
        for entry, instant in ((self.start, at), (self.end, at + self._frames((count - 1) * _APART_S))):
            entry.line.setText(self._written(instant))
            entry.say("")
        self.every.line.setText(str(_EVERY))
        if len(self._marks()) > 1 and self.when.currentData() == "instant":
            self.when.setCurrentIndex(1 if self._desk.project.tempo is not None else 2)
        self._follow()
        self.when.setFocus()

    def _lay_out(self) -> None:
        grid = QGridLayout()
        grid.setSpacing(GAP_PX)
        for column, (words, box) in enumerate(
            ((translate("marks", "Where in time"), self.when), (translate("marks", "Law of the legs"), self.law))
        ):
            label = Label(words)
            label.setBuddy(box)
            box.setAccessibleName(words)
            box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
            box.setMinimumContentsLength(_LEAST_LETTERS)
            lines = QVBoxLayout()
            lines.setSpacing(2)
            lines.addWidget(label)
            lines.addWidget(box)
            grid.addLayout(lines, 0, column)
        grid.addWidget(self.start, 1, 0)
        grid.addWidget(self.end, 1, 1)
        grid.addWidget(self.every, 1, 1)
        buttons = QHBoxLayout()
        for button in (self.show_it, self.leave):
            button.setAutoDefault(False)
            button.setAccessibleName(button.text())
            buttons.addWidget(button)
        buttons.addStretch(1)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.setSpacing(GAP_PX // 2)
        whole.addWidget(self.which)
        whole.addLayout(grid)
        whole.addWidget(self.clear)
        whole.addWidget(self.said)
        whole.addLayout(buttons)
        whole.addStretch(1)

    def _marks(self) -> tuple[str, ...]:
        return self._poses.chosen or tuple(mark.name for mark in self._poses.marks)

    def _follow(self) -> None:
        names = self._marks()
        words = translate("marks", "Keys of {names}, in this order.").format(names=", ".join(names))
        self.which.setText(words if names else translate("marks", "There are no marks to make keys of."))
        laws = offered_laws(self._desk)
        if [self.law.itemText(place) for place in range(self.law.count())] != list(laws):
            self.law.clear()
            self.law.addItems(laws)
            self.law.setCurrentText(_LAW)
        way: When = self.when.currentData()
        self.every.setVisible(way == "beats")
        self.end.setVisible(way == "evenly")
        self.clear.setEnabled(way != "instant")
        self.show_it.setEnabled(not self._desk.locked)

    def _propose(self) -> None:
        try:
            how = self._laid()
            marks = [mark for mark in self._poses.marks if mark.name in self._marks()]
            propose_keys(self._desk, marks, how)
        except Mistyped as fault:
            self._refuse(translate("typed", fault.words).format(**fault.values))
        except (SequencerError, ValueError) as fault:
            self._refuse(str(fault))
        else:
            self.said.tell("")

    def _refuse(self, words: str) -> None:
        self._desk.leave_proposal()
        self.said.tell(words)

    def _laid(self) -> Laid:
        """Return what the fields say. Error: ValueError in words."""
        way: When = self.when.currentData()
        start = typed_instant(self.start.text, self._times(self._desk.playhead))
        every = self.every.text.strip()
        if way == "beats" and not (every.isascii() and every.isdigit()):
            raise ValueError(translate("marks", "beats are counted whole; write 1, 2 or 4"))
        return Laid(
            when=way,
            start=start,
            end=typed_instant(self.end.text, self._times(start)) if way == "evenly" else start,
            every=int(every) if way == "beats" else 1,
            law=self.law.currentText(),
            clear=way != "instant" and self.clear.isChecked(),
        )

    def _times(self, here: Fraction) -> Times:
        project = self._desk.project
        return Times(timebase=project.timebase, tempo=project.tempo, counted=self._desk.counted, here=here)

    def _frames(self, seconds: Fraction) -> Fraction:
        return self._desk.project.timebase.rate.frames(seconds)

    def _written(self, at: Fraction) -> str:
        project = self._desk.project
        return written(at, self._desk.counted, project.timebase, project.tempo, 3)
