"""Game controllers in hand: whether they drive the rig, which pads are here, and what takes them and gives them back.

Taking them is held, as whatever lets the rig move; giving them back is one press. It drives nothing by itself.
"""

from PyQt6.QtCore import QRectF, QSize, Qt
from PyQt6.QtGui import QColor, QFontMetrics, QHideEvent, QPainter, QPaintEvent, QPen, QShowEvent
from PyQt6.QtWidgets import QHBoxLayout, QPushButton, QSizePolicy, QVBoxLayout, QWidget

from sequencer.live.handling import Handling, default_handlings
from sequencer.project.document import Project
from sequencer.shell.messages import PadSet, Said
from ui.acts.pad_roles import manner_words, set_words
from ui.acts.pads import Assigned, PadWatch, assigned, operator
from ui.desk import Desk
from ui.language import translate
from ui.link.link import Link
from ui.run.hold import Hold
from ui.run.lines import Lines
from ui.run.plate import CAPTION_PX, bold
from ui.run.quiet import Quiet
from ui.theme import BIG_TARGET_PX, GAP_PX, STATE_PX

_LEAST_PX = 280
_WORD_PX = STATE_PX + 2


class InHand(QWidget):
    """Whether controllers are in hand: two sticks, filled on a light ground or hollow and crossed out, and the word."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._taken = False
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        desk.preferred.connect(self.update)
        self.show_taken(False)

    @property
    def words(self) -> str:
        return translate("run", "IN HAND") if self._taken else translate("run", "NOT IN HAND")

    def show_taken(self, taken: bool) -> None:
        self._taken = taken
        self.setAccessibleName(translate("run", "Controllers: {state}").format(state=self.words.lower()))
        self.update()

    def sizeHint(self) -> QSize:
        wide = QFontMetrics(bold(self, _WORD_PX)).horizontalAdvance(translate("run", "NOT IN HAND"))
        return QSize(wide + 90, 2 * STATE_PX + CAPTION_PX)

    def minimumSizeHint(self) -> QSize:
        return self.sizeHint()

    def paintEvent(self, event: QPaintEvent | None) -> None:
        theme = self._desk.theme
        ground, ink = (theme.strip_text, theme.strip) if self._taken else (theme.strip, theme.strip_text)
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), QColor(ground))
        painter.setPen(QPen(QColor(ink), 2.5))
        painter.setBrush(QColor(theme.armed if self._taken else ground))
        middle = self.height() / 2
        body = QRectF(10, middle - 11, 48, 22)
        painter.drawRoundedRect(body, 11, 11)
        painter.setBrush(QColor(ink if self._taken else ground))
        for centre in (body.left() + 14, body.right() - 14):
            painter.drawEllipse(QRectF(centre - 5, middle - 5, 10, 10))
        if not self._taken:
            painter.drawLine(body.bottomLeft(), body.topRight())
        area = QRectF(self.rect()).adjusted(72, 0, -4, 0)
        painter.setFont(bold(self, CAPTION_PX, heavy=False))
        painter.drawText(area.adjusted(0, 4, 0, 0), Qt.AlignmentFlag.AlignLeft, translate("run", "controllers"))
        painter.setFont(bold(self, _WORD_PX))
        area.setTop(CAPTION_PX + 2)
        painter.drawText(area, Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft, self.words)


class PadsPanel(QWidget):
    """Takes the controllers in hand and gives them back, and returns the rig to its origin."""

    def __init__(self, desk: Desk, link: Link, watch: PadWatch | None = None) -> None:
        super().__init__()
        self._desk, self._link = desk, link
        self.watch = watch or PadWatch(self)
        self._quiet = Quiet(self)
        self._told = ""
        self.setMinimumWidth(_LEAST_PX)
        self.setAccessibleName(translate("run", "Game controllers"))
        self.state = InHand(desk)
        self.words, self.settings, self.pads, self.changed = Lines(), Lines(), Lines(), Lines()
        for label, name in (
            (self.words, translate("run", "Whether controllers drive")),
            (self.settings, translate("run", "How controllers are set now")),
            (self.pads, translate("run", "Controllers that are here")),
            (self.changed, translate("run", "What a controller said last")),
        ):
            label.setAccessibleName(name)
            label.setStyleSheet(f"font-size: {STATE_PX}px;")
        self.take = Hold(desk, translate("run", "Hold to take"))
        self.take.setAccessibleName(translate("run", "Hold to take the controllers in hand"))
        self.give = QPushButton(translate("run", "Give back"))
        self.give.setAccessibleName(translate("run", "Give the controllers back: they drive nothing more"))
        self.give.setAutoDefault(False)
        self.give.setStyleSheet(f"min-height: {BIG_TARGET_PX - 10}px; font-size: {STATE_PX}px;")
        self._quiet.over(self.give)
        self.origin = Hold(desk, translate("run", "Hold: return to origin"))
        self.origin.setAccessibleName(translate("run", "Hold to return to the origin"))
        self._lay_out()
        self.take.held.connect(self._take)
        self.give.clicked.connect(self.give_back)
        self.origin.held.connect(self._home)
        for signal in (link.standing, link.status, link.chosen, desk.changed, desk.faced, self.watch.seen):
            signal.connect(self.show_pads)
        link.said.connect(self._hear)
        self.show_pads()

    def _lay_out(self) -> None:
        pair = QHBoxLayout()
        pair.addWidget(self.take, 2)
        pair.addWidget(self.give, 1)
        lines = QVBoxLayout(self)
        lines.setContentsMargins(0, 0, 0, 0)
        lines.setSpacing(GAP_PX)
        lines.addWidget(self.state)
        lines.addWidget(self.words)
        lines.addWidget(self.settings)
        lines.addLayout(pair)
        lines.addWidget(self.origin)
        for label in (self.changed, self.pads):
            lines.addWidget(label)
        lines.addStretch(1)

    @property
    def taken(self) -> bool:
        return self._link.connected and self._link.hands.taken

    def give_back(self) -> None:
        """Have the controllers drive nothing more."""
        self._link.hands.take(False)

    def showEvent(self, event: QShowEvent | None) -> None:
        self.watch.begin()
        super().showEvent(event)
        self.show_pads()

    def hideEvent(self, event: QHideEvent | None) -> None:
        self.watch.end()
        super().hideEvent(event)

    def why_not(self) -> str:
        """Return why the controllers cannot be taken in hand now; empty where they can."""
        why = self._link.why_not_drive()
        if why:
            return why
        if self._link.loaded is None or self._link.loaded.hands != self._desk.history.now.hands:
            return translate("run", "the controllers were changed in the setup; disconnect, and connect again")
        watch = self.watch
        if not watch.here and not watch.looking and not watch.trouble:
            return translate("run", "no controller is here; plug one in, or pair it")
        return ""

    def _take(self) -> None:
        self._told = ""
        self._link.hands.take(True)
        self.show_pads()

    def _home(self) -> None:
        self._link.hands.home(self._desk.project.rig)

    def _hear(self, said: Said) -> None:
        if said.code == "hands":
            self._told = said.text
            self.show_pads()

    def show_pads(self) -> None:
        """Show whether they drive, and which are here."""
        status = self._link.newest
        if not self.isVisible():
            return
        why, taken = self.why_not(), self.taken
        self.state.show_taken(taken)
        self.take.setEnabled(not why and not taken)
        self.give.setEnabled(taken)
        self.origin.setEnabled(not self._link.why_not_drive())
        self.words.setText(self._state_words(why, taken))
        told = status.pads if self._link.connected and status is not None else ()
        self.settings.setText("\n".join(_set_now(one) for one in told if one.sticks))
        self.settings.setVisible(bool(self.settings.text()))
        found = _found(self._desk.project, self.watch)
        self.pads.setText("\n".join(_pad_words(one) for one in found) or self._no_pads())
        said = translate("run", "A controller said last: {words}.").format(words=self._told.rstrip("."))
        self.changed.setText(said if self._told else "")
        self.changed.setVisible(bool(self._told))

    def _no_pads(self) -> str:
        watch = self.watch
        if watch.trouble:
            return translate("run", "Controllers cannot be shown: {why}.").format(why=watch.trouble.rstrip("."))
        return translate("run", "Looking for controllers.") if watch.looking else translate("run", "No pad is here.")

    def _state_words(self, why: str, taken: bool) -> str:
        if taken:
            return translate("run", "Whoever holds a controller moves the rig. Keep people clear; give back when done.")
        if why:
            return translate("run", "Not to be taken in hand: {why}.").format(why=why)
        return translate("run", "Controllers move nothing before they are taken in hand.")


def _hands(project: Project) -> tuple[Handling, ...]:
    return project.hands or default_handlings(project.rig)


def _found(project: Project, watch: PadWatch) -> tuple[Assigned, ...]:
    return assigned(project.rig, _hands(project), watch.here)


def _set_now(one: PadSet) -> str:
    """Return how the engine has a pad set now."""
    words = translate("run", "Pad {number}, {name}, is set now to {how}.")
    return words.format(number=one.number + 1, name=one.name, how=set_words(one))


def _pad_words(one: Assigned) -> str:
    """Return whose a pad is, how it drives as it was set up, and what must be held."""
    words = translate("run", "Pad {number}, {name}: {whose}.")
    found = [words.format(number=one.pad.row.pad + 1, name=one.pad.name, whose=operator(one.place))]
    if one.handling.sticks:
        set_up = translate("run", "Set up as {how}.")
        found.append(set_up.format(how=manner_words(one.handling)))
        holds = translate("run", "Hold {control} to drive.")
        bare = translate("run", "Caution: nothing is held to drive.")
        enabling = one.handling.enabling
        found.append(bare if enabling is None else holds.format(control=enabling))
    return " ".join((*found, *(f"{words}." for words in one.lacks)))
