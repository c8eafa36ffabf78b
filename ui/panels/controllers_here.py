"""Which pads are here, what each says now, whose it is, and what it lacks. It refuses to change anything."""

from PyQt6.QtCore import Qt
from PyQt6.QtGui import QHideEvent, QShowEvent
from PyQt6.QtWidgets import QHBoxLayout, QSizePolicy, QVBoxLayout, QWidget

from sequencer.live.handling import default_handlings
from ui.acts.pads import Assigned, PadWatch, assigned, operator
from ui.desk import Desk
from ui.label import Label
from ui.language import translate
from ui.panels.controllers_meters import Meters, pushed_words
from ui.panels.fields import Told
from ui.theme import GAP_PX


class PadsHere(QWidget):
    """A card for each pad; it has them watched while it is in sight."""

    def __init__(self, desk: Desk, watch: PadWatch) -> None:
        super().__init__()
        self._desk, self._watch = desk, watch
        self.cards: list[PadCard] = []
        self.none = Told(desk)
        self.trouble = Told(desk, fault=True)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Maximum)
        self._lines = QVBoxLayout(self)
        self._lines.setContentsMargins(0, 0, 0, 0)
        self._lines.setSpacing(GAP_PX)
        for label in (self.none, self.trouble):
            self._lines.addWidget(label)
        watch.seen.connect(self.follow)
        self.follow()

    def showEvent(self, event: QShowEvent | None) -> None:
        self._watch.begin()
        super().showEvent(event)

    def hideEvent(self, event: QHideEvent | None) -> None:
        self._watch.end()
        super().hideEvent(event)

    def follow(self) -> None:
        """Show what the pads say."""
        project, watch = self._desk.project, self._watch
        found = assigned(project.rig, project.hands or default_handlings(project.rig), watch.here)
        while len(self.cards) > len(found):
            card = self.cards.pop()
            card.hide()
            card.deleteLater()
        while len(self.cards) < len(found):
            self.cards.append(PadCard(self._desk))
            self._lines.addWidget(self.cards[-1])
        for card, one in zip(self.cards, found, strict=True):
            card.show_pad(one)
        self.trouble.tell(
            " ".join((watch.trouble, *(one for one in watch.notices if not one.startswith("pad ")))).strip()
        )
        if watch.trouble or found:
            self.none.tell("")
        elif watch.looking:
            self.none.tell(translate("pads", "Looking for controllers."))
        else:
            self.none.tell(
                translate(
                    "pads", "No controller is here. Plug one in, or pair it with this machine; it comes by itself."
                )
            )
        self.none.setVisible(bool(self.none.text()))


class PadCard(QWidget):
    """One pad."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self.title, self.pushed = Label(), Told(desk)
        self.title.setStyleSheet("font-weight: bold;")
        self.title.setWordWrap(True)
        self.meters = Meters(desk)
        self.lacks = Told(desk, fault=True)
        words = QVBoxLayout()
        words.addWidget(self.title)
        words.addWidget(self.pushed)
        words.addWidget(self.lacks)
        words.addStretch(1)
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(2 * GAP_PX)
        row.addWidget(self.meters, 0, Qt.AlignmentFlag.AlignTop)
        row.addLayout(words, 1)

    def show_pad(self, one: Assigned) -> None:
        """Show what it says, and what it lacks."""
        title = translate("pads", "Pad {number}, {name}: {whose}")
        self.title.setText(title.format(number=one.pad.row.pad + 1, name=one.pad.name, whose=operator(one.place)))
        self.setAccessibleName(self.title.text())
        self.meters.show_pad(one.pad, one.handling.dead_band)
        self.pushed.tell(pushed_words(one.pad))
        known = (
            () if one.pad.row.known else (translate("pads", "Its controls have only numbers; give each by moving it."),)
        )
        self.lacks.tell(" ".join((*known, *(f"{words}." for words in one.lacks))))
