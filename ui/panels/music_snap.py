"""Puts keys onto beats or onsets as a proposal, and lists which would move by how much.

It refuses to move any itself.
"""

from collections.abc import Callable
from fractions import Fraction

from PyQt6.QtWidgets import QComboBox, QGridLayout, QListWidget, QPushButton, QWidget

from sequencer.errors import SequencerError
from sequencer.score.edits.selection import everything
from sequencer.score.edits.snap import Beats, Lines, Stops, snap
from sequencer.score.move import Move
from sequencer.timebase.instants import labelled
from sequencer.timebase.timecode import Timebase
from ui.acts.disk import plain
from ui.desk import Desk
from ui.label import Label
from ui.language import translate
from ui.theme import GAP_PX

PARTS = (Fraction(1), Fraction(1, 2), Fraction(1, 3), Fraction(1, 4))
_LIST_PX = 120
_SMALLEST = Fraction(1, 1000)  # frames: less is no move that anybody sees


class SnapForm(QWidget):
    """What to snap onto, which keys, and a button that shows it; `onsets` gives the instants in frames."""

    def __init__(self, desk: Desk, onsets: Callable[[], tuple[Fraction, ...]]) -> None:
        super().__init__()
        self._desk, self._onsets = desk, onsets
        self._mine = False
        self.onto, self.which = QComboBox(), QComboBox()
        self.onto.setAccessibleName(translate("music", "Snap onto"))
        self.onto.addItems(
            [
                translate("music", "beats"),
                translate("music", "half beats"),
                translate("music", "thirds of a beat"),
                translate("music", "quarters of a beat"),
                translate("music", "onsets that were heard"),
            ]
        )
        self.which.setAccessibleName(translate("music", "Which keys"))
        self.which.addItems([translate("music", "the chosen keys"), translate("music", "all keys")])
        self.show_it = QPushButton(translate("music", "Show what would move"))
        self.show_it.setAccessibleName(translate("music", "Show which keys snapping would move"))
        self.show_it.setAutoDefault(False)
        self.said = Label()
        self.said.setWordWrap(True)
        self.moves = QListWidget()
        self.moves.setAccessibleName(translate("music", "Keys that would move"))
        self.moves.setFixedHeight(_LIST_PX)
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setSpacing(GAP_PX)
        for row, (words, combo) in enumerate(
            ((translate("music", "Snap onto"), self.onto), (translate("music", "Which keys"), self.which))
        ):
            label = Label(words)
            label.setBuddy(combo)
            grid.addWidget(label, row, 0)
            grid.addWidget(combo, row, 1)
        for row, widget in enumerate((self.show_it, self.said, self.moves), 2):
            grid.addWidget(widget, row, 0, 1, 2)
        grid.setColumnStretch(1, 1)
        self.show_it.clicked.connect(self._propose)
        desk.proposed.connect(self._follow)
        desk.faced.connect(self._follow)
        self._follow()

    def _lines(self) -> Lines:
        """Return what keys snap onto. Error: ValueError in words where there is nothing."""
        number = self.onto.currentIndex()
        if number == len(PARTS):
            instants = self._onsets()
            if not instants:
                raise ValueError(translate("music", "no onsets were heard yet; find the beat first"))
            return Stops(instants)
        project = self._desk.project
        if project.tempo is None:
            raise ValueError(translate("music", "the project has no beats yet; put a tempo on the grid first"))
        return Beats(project.tempo, project.timebase.rate, PARTS[number])

    def _propose(self) -> None:
        desk = self._desk
        project, timebase = desk.project, desk.project.timebase
        selection = desk.selection if self.which.currentIndex() == 0 else everything(project.move)
        try:
            if not any(selection.values()):
                raise ValueError(translate("music", "no key is chosen; choose some, or take all keys"))
            after = snap(project.move, selection, self._lines())
        except (SequencerError, ValueError) as fault:
            desk.leave_proposal()
            self._say(labelled(plain(fault), lambda at: timebase.label(round(at, 2))))
            return
        lines = moved(project.move, after, timebase)
        if not lines:
            desk.leave_proposal()
            self._say(translate("music", "all of them stand there already"))
            return
        words = translate("music", "snap {count} keys onto {lines}")
        desk.propose(after, words.format(count=len(lines), lines=self.onto.currentText()), lines)
        self._mine = True
        self._say(
            translate("music", "{count} keys would move, dashed on the timeline:").format(count=len(lines)), lines
        )

    def _follow(self) -> None:
        self.show_it.setEnabled(not self._desk.locked)
        if self._mine and self._desk.proposal is None:
            self._mine = False
            self._say("")
        self.moves.setVisible(self.moves.count() > 0)

    def _say(self, words: str, lines: tuple[str, ...] = ()) -> None:
        self.said.setText(words)
        self.said.setVisible(bool(words))
        self.moves.clear()
        self.moves.addItems(lines)
        self.moves.setVisible(bool(lines))


def moved(before: Move, after: Move, timebase: Timebase) -> tuple[str, ...]:
    """Return a line for each key that moves, the farthest first."""
    found = [
        (new.at - old.at, track.axis, number, old.at)
        for track, other in zip(before.tracks, after.tracks, strict=True)
        for number, (old, new) in enumerate(zip(track.keys, other.keys, strict=True))
        if abs(new.at - old.at) >= _SMALLEST
    ]
    words = translate("music", "{axis}, key {number} at {label}: {by} frames")
    return tuple(
        words.format(axis=axis, number=number + 1, label=timebase.label(round(at, 2)), by=f"{float(by):+.2f}")
        for by, axis, number, at in sorted(found, key=lambda one: (-abs(one[0]), one[1], one[2]))
    )
