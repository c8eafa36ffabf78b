"""Which axes hands perform while the others play, and from when on. It refuses to arm, and what cannot go together."""

from dataclasses import replace
from typing import Any

from PyQt6.QtCore import QSignalBlocker
from PyQt6.QtGui import QResizeEvent
from PyQt6.QtWidgets import QCheckBox, QComboBox, QGridLayout, QSizePolicy, QVBoxLayout, QWidget

from sequencer.project.document import Project
from ui.desk import Desk
from ui.label import Label
from ui.language import translate
from ui.link.choice import Choice
from ui.link.link import Link
from ui.run.quiet import Quiet
from ui.theme import GAP_PX

_IN_A_ROW = 2
_TICK_PX = 44  # for a finger, in the face for running


def unperformed(choice: Choice, project: Project) -> str:
    """Return why what is chosen cannot be performed by hand, in words with the mend; empty where it can."""
    if not choice.by_hand:
        return ""
    if choice.late == "join":
        return translate(
            "run", "what hands perform cannot be joined in mid-move; under More have it wait for a new start"
        )
    if choice.remote:
        return translate("run", "triggers may not choose the cue that hands perform; leave one of the two out")
    keyed = {track.axis for track in project.move.tracks if track.keys}
    bare = [name for name in choice.by_hand if name not in keyed]
    if choice.punch_in and bare:
        words = translate("run", "there is nothing to play on {axes} before the punch in; have it from the start")
        return words.format(axes=translate("run", " and ").join(bare))
    return ""


class ByHand(QWidget):
    """A tick for each axis of the rig; then from when on, and what follows from it."""

    def __init__(self, desk: Desk, link: Link, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk, self._link = desk, link
        self._quiet = Quiet(self)
        self.setAccessibleName(translate("run", "Axes that hands perform"))
        self.ticks: dict[str, QCheckBox] = {}
        self.since = QComboBox(self)
        self.since.setAccessibleName(translate("run", "From when on hands have them"))
        self.since.addItem(translate("run", "from the start"), False)
        self.since.addItem(translate("run", "from punch in on"), True)
        self.since.setMinimumContentsLength(8)
        self.since.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.since.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.since.activated.connect(self._since)
        self._quiet.over(self.since)
        self.words = Label(self)
        self.words.setWordWrap(True)
        self.words.setObjectName("beside")
        title = Label(translate("run", "Performed by hand"), self)
        title.setObjectName("beside")
        self._grid = QGridLayout()
        self._grid.setSpacing(GAP_PX // 2)
        lines = QVBoxLayout(self)
        lines.setContentsMargins(0, 0, 0, 0)
        lines.addWidget(title)
        lines.addLayout(self._grid)
        lines.addWidget(self.since)
        lines.addWidget(self.words)
        desk.faced.connect(self._face)
        desk.preferred.connect(self.show_choice)
        self._face()
        self.show_choice()

    def show_choice(self) -> None:
        """Show what is chosen."""
        choice, names = self._link.choice, self._desk.project.rig.names
        if tuple(self.ticks) != names:
            self._build(names)
        for name, tick in self.ticks.items():
            with QSignalBlocker(tick):
                tick.setChecked(name in choice.by_hand)
        with QSignalBlocker(self.since):
            self.since.setCurrentIndex(int(choice.punch_in))
        self.since.setVisible(bool(choice.by_hand))
        self._tell(unperformed(choice, self._desk.project), _kept(choice))

    def _tell(self, refused: str, hint: str) -> None:
        """Say why it cannot be armed so, or else what would become of it."""
        theme = self._desk.theme
        words = translate("run", "Not to be armed so: {why}.").format(why=refused) if refused else hint
        self.words.setText(words)
        self.words.setVisible(bool(words))
        ground = f"background: {theme.over}; color: {theme.over_text}; padding: 2px 6px;" if refused else ""
        self.words.setStyleSheet(f"QLabel {{ min-height: 0; {ground} }}")
        self._fit()

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        super().resizeEvent(event)
        self._fit()

    def _fit(self) -> None:
        """Be as high as the words need where they are broken into lines: a form does not ask anew."""
        self.setMinimumHeight(max(0, self.heightForWidth(self.width())))

    def _build(self, names: tuple[str, ...]) -> None:
        for tick in self.ticks.values():
            self._grid.removeWidget(tick)
            tick.hide()
            tick.deleteLater()
        self.ticks = {}
        for place, name in enumerate(names):
            tick = QCheckBox(name, self)
            tick.setAccessibleName(translate("run", "{axis} by hand").format(axis=name))
            tick.toggled.connect(self._ticked)
            self._quiet.over(tick)
            self._grid.addWidget(tick, place // _IN_A_ROW, place % _IN_A_ROW)
            self.ticks[name] = tick

    def _ticked(self) -> None:
        choice = self._link.choice
        by_hand = tuple(name for name, tick in self.ticks.items() if tick.isChecked())
        # what nobody records can become no keys
        records = choice.record or (not choice.by_hand and choice.cue is not None)
        self._choose(by_hand=by_hand, record=records)

    def _since(self, place: int) -> None:
        self._choose(punch_in=bool(self.since.itemData(place)))

    def _choose(self, **what: Any) -> None:
        self._link.choose(replace(self._link.choice, **what))

    def _face(self) -> None:
        tall = _TICK_PX if self._desk.face == "run" else 24
        self.setStyleSheet(f"QCheckBox {{ min-height: {tall}px; }}")


def _kept(choice: Choice) -> str:
    """Return that nothing of the performance would be kept, or nothing."""
    if not choice.by_hand or choice.record:
        return ""
    if choice.cue is None:
        return translate("run", "Nothing of it is kept: choose a cue, and record a take.")
    return translate("run", "Nothing of it is kept: record a take, and keys can be made of it.")
