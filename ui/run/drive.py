"""Driving by hand: pads on the screen that spring back, unlocked by holding first; and game controllers.

The rig moves only for as long as each push is said anew: the engine lets go when it hears no more. Where axes are
performed while others play, the pads have these. It plans nothing; limits are kept in the engine.
"""

from PyQt6.QtCore import QSize, Qt, QTimer
from PyQt6.QtGui import QGuiApplication, QHideEvent, QKeyEvent, QResizeEvent
from PyQt6.QtWidgets import QBoxLayout, QGridLayout, QLabel, QPushButton, QSizePolicy, QVBoxLayout, QWidget

from sequencer.live.screen import swings
from sequencer.shell.messages import Drive
from ui.acts.pads import PadWatch
from ui.acts.written import value_text
from ui.desk import Desk
from ui.label import Label
from ui.language import translate
from ui.link.link import Link
from ui.run.deflection import pads, parts
from ui.run.hold import Hold
from ui.run.manner import Manner
from ui.run.pad import Pad
from ui.run.pads import PadsPanel
from ui.run.quiet import Quiet
from ui.theme import GAP_PX, STATE_PX

SAY_MS = 30
UNLOCKED_MS = 30_000  # without a push
_RETURNS_SAID = 10  # at least, after a pad was let go: the engine may not yet have said that the rig moves
_WIDE_PX = 940  # where there is room for four pads beside the game controllers
_LEAST_PX = 600  # and for two
_LOCKS = (Qt.Key.Key_Escape, Qt.Key.Key_Space)


class DrivePanel(QWidget):
    """Hold to unlock, then press and pull. It locks by itself after a while, or when the rig does something else."""

    def __init__(self, desk: Desk, link: Link, watch: PadWatch | None = None) -> None:
        super().__init__()
        self._desk = desk
        self._link = link
        self.controllers = PadsPanel(desk, link, watch)
        self._quiet = Quiet(self)
        self.setAccessibleName(translate("run", "Drive by hand"))
        self.unlock = Hold(desk, translate("run", "Hold to unlock"), self)
        self.unlock.setAccessibleName(translate("run", "Hold to unlock driving on the screen"))
        self.manner = Manner(self)
        self.fastest = self.manner.fastest
        self.relock, self.punch = QPushButton(translate("run", "Lock"), self), QPushButton(self)
        self.relock.setAccessibleName(translate("run", "Lock driving on the screen"))
        for button in (self.relock, self.punch):
            button.setAutoDefault(False)
            self._quiet.over(button)
        self.words = Label(self)
        self.words.setWordWrap(True)
        self.words.setStyleSheet(f"font-size: {STATE_PX}px;")
        self.pads: list[Pad] = []
        self._labels: list[QLabel] = []
        self._rig = desk.project.rig  # that the pads are for
        self._unlocked = False
        self._performs: tuple[str, ...] = ()  # the axes that it was unlocked to perform
        self._rests = _RETURNS_SAID  # how often it was said that no pad is pushed any more
        self._unread = ""  # why what was typed is no range
        self._grid = QGridLayout()
        self._lay_out()
        self._say = QTimer(self)
        self._say.setInterval(SAY_MS)
        self._say.timeout.connect(self.tell)
        self._idle = QTimer(self)
        self._idle.setSingleShot(True)
        self._idle.setInterval(UNLOCKED_MS)
        self._idle.timeout.connect(self.lock)
        self.unlock.held.connect(self._open)
        self.relock.clicked.connect(self.lock)
        self.punch.clicked.connect(self._punch)
        self.manner.changed.connect(self._turn)
        self.manner.refused.connect(self._misread)
        for signal in (link.standing, link.status, link.chosen, desk.faced):
            signal.connect(self._stand)
        link.stopping.connect(self.lock)
        for signal in (desk.opened, desk.changed):
            signal.connect(self._look_at_rig)
        app = QGuiApplication.instance()
        if isinstance(app, QGuiApplication):
            app.applicationStateChanged.connect(self._turned_to)
        self._build()

    def _lay_out(self) -> None:
        self.manner.put_beside(self.punch, self.relock)
        left = QVBoxLayout()
        left.addWidget(self.words)
        left.addWidget(self.unlock)
        left.addWidget(self.manner)
        left.addLayout(self._grid)
        left.addStretch(1)
        whole = self._whole = QBoxLayout(QBoxLayout.Direction.TopToBottom, self)
        whole.setContentsMargins(GAP_PX, GAP_PX, GAP_PX, GAP_PX)
        whole.setSpacing(2 * GAP_PX)
        whole.setSizeConstraint(QBoxLayout.SizeConstraint.SetNoConstraint)
        whole.addLayout(left, 3)
        whole.addWidget(self.controllers, 2)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Preferred)

    def minimumSizeHint(self) -> QSize:
        return QSize(280, self._whole.minimumSize().height())

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        self._place()
        super().resizeEvent(event)

    def _place(self) -> None:
        """Put the game controllers at the side where there is room, else below, and the pads in as many columns."""
        across, down = QBoxLayout.Direction.LeftToRight, QBoxLayout.Direction.TopToBottom
        beside = self.width() >= _LEAST_PX
        in_a_row = 2 if beside and self.width() < _WIDE_PX else 4
        self._whole.setDirection(across if beside else down)
        for place, (label, pad) in enumerate(zip(self._labels, self.pads, strict=True)):
            column, row = place % in_a_row, place // in_a_row * 2
            self._grid.addWidget(label, row, column)
            self._grid.addWidget(pad, row + 1, column, Qt.AlignmentFlag.AlignCenter)

    @property
    def unlocked(self) -> bool:
        return self._unlocked

    def lock(self) -> None:
        """Let go of everything; nothing is driven before it is unlocked again, and then slowly."""
        self._lose()
        self._unlocked = False
        self._idle.stop()
        self.manner.be_slow()
        self._show()

    def tell(self) -> None:
        """Tell the engine how far the pads are pushed: all the time while one is held, or what it moved returns."""
        pushed = {pad.driven: pad.push for pad in self.pads if pad.held}
        if pushed:
            self._idle.start()  # a pad that is held is not left alone
            self._rests = 0
        else:
            self._rests += 1
            if not self._returns():
                self._say.stop()
        if not self._unlocked or self._link.hands.waits:
            return
        only = self._performs or None
        order = Drive(parts(self._rig, pushed, only), top=self.manner.top, range_deg=self.manner.range_deg)
        if not self._link.hands.drive(order):
            self.lock()

    def _returns(self) -> bool:
        """Whether the rig may still be on its way back to where it was before it was pushed."""
        if self.manner.range_deg is None:
            return False
        newest = self._link.newest
        moves = newest is not None and (newest.phase == "driving" or bool(self._performs))
        return self._rests < _RETURNS_SAID or moves

    def _lose(self) -> None:
        """Have what is held or returns brake, and stay where it then is."""
        told = self._say.isActive()
        self._say.stop()
        self._rests = _RETURNS_SAID
        for pad in self.pads:
            pad.lose()
        if told and self._unlocked:
            self._link.hands.drive(Drive((0.0,) * len(self._rig.axes), held=False))

    def hideEvent(self, event: QHideEvent | None) -> None:
        """Lock where nobody sees that it is unlocked."""
        self.lock()
        super().hideEvent(event)

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        """Lock by the keys that stop: while nothing moves yet, there is nothing else for them to do here."""
        if event is not None and event.key() in _LOCKS and (self._unlocked or self.controllers.taken):
            self.lock()
            self.controllers.give_back()
        else:
            super().keyPressEvent(event)

    def _turned_to(self, state: Qt.ApplicationState) -> None:
        if self._unlocked and state != Qt.ApplicationState.ApplicationActive:
            self.lock()

    def _look_at_rig(self) -> None:
        if self._desk.project.rig != self._rig:
            self.lock()
            self._rig = self._desk.project.rig
            self._build()
        else:
            self._stand()

    def _build(self) -> None:
        self.pads, self._labels = [], []
        while (item := self._grid.takeAt(0)) is not None:
            if (widget := item.widget()) is not None:
                widget.hide()
                widget.deleteLater()
        names = self._rig.names
        for driven in pads(self._rig):
            named = tuple("" if at is None else names[at] for at in (driven.across, driven.up))
            pad = Pad(self._desk, driven, (named[0], named[1]))
            pad.pushed.connect(self._pushed)
            pad.lost.connect(self._lose)
            label = Label()
            label.setAlignment(Qt.AlignmentFlag.AlignCenter)
            self.pads.append(pad)
            self._labels.append(label)
        self._place()
        self._show()

    def _open(self) -> None:
        if not self._link.hands.why_not_drive():
            self._unlocked = True
            self._performs = self._link.hands.performed
            self._idle.start()
        self._show()

    def _punch(self) -> None:
        newest = self._link.newest
        if newest is not None:
            self._link.hands.punch(not newest.punched)

    def _turn(self) -> None:
        """Drive in another manner from here on; what was begun in the one before does not go on."""
        self._lose()
        self._show()

    def _misread(self, why: str) -> None:
        self._unread = why
        self._show()

    def _pushed(self) -> None:
        if not self._say.isActive():
            self._say.start()
        self.tell()

    def _stand(self) -> None:
        """Lock where the rig does something else."""
        hands = self._link.hands
        if self._unlocked and (hands.why_not_drive() or hands.performed != self._performs):
            self.lock()
        else:
            self._show()

    def _show(self) -> None:
        """Say what a push would do, or why there is none."""
        hands, performed = self._link.hands, self._link.hands.performed
        why_not = hands.why_not_drive()
        names = self._rig.names
        for pad in self.pads:
            own = [names[at] for at in (pad.driven.across, pad.driven.up) if at is not None]
            pad.setEnabled(self._unlocked and (not performed or any(name in performed for name in own)))
        self.unlock.setEnabled(not why_not and not self._unlocked)
        # where there is little height, what is unlocked already makes room
        self.unlock.setVisible(not self._unlocked)
        self.relock.setVisible(self._unlocked)
        self.fastest.setEnabled(self._unlocked)
        self._show_punch()
        self._name_pads()
        words = self._words(why_not)
        watch = self.controllers.watch
        if self.controllers.taken and (watch.here or watch.trouble) and not why_not:
            words += translate("run", " Controllers in hand come first.")
        if self._unread:
            words += translate("run", " Not taken: {why}.").format(why=self._unread)
        self.words.setText(words)

    def _words(self, why_not: str) -> str:
        performed = translate("run", ", ").join(self._link.hands.performed)
        if why_not:
            return translate("run", "Not to be driven: {why}.").format(why=why_not)
        returns = self.manner.range_deg is not None
        if not self._unlocked:
            if performed:
                words = translate("run", "Locked. Hold to unlock; then the pads perform {axes}. Keep people clear.")
                return words.format(axes=performed)
            if returns:
                return translate(
                    "run", "Locked. Hold to unlock; then pads move the rig, and let go it RETURNS. Keep people clear."
                )
            return translate(
                "run", "Locked. Hold to unlock; then the rig moves while a pad is held. Keep people clear."
            )
        if self._link.hands.waits:
            words = translate("run", "Unlocked: the pads have {axes} while the move runs and you are punched in.")
            return words.format(axes=performed)
        if returns:
            return translate(
                "run", "Unlocked: pull a pad, or hold an arrow key. Let go, and the rig RETURNS. Escape stops it."
            )
        return translate("run", "Unlocked: pull a pad, or hold an arrow key on it. Let go to stop; Escape locks.")

    def _show_punch(self) -> None:
        newest = self._link.newest
        within = newest is not None and newest.punched
        self.punch.setVisible(bool(self._link.hands.performed))
        self.punch.setText(translate("run", "Punch out") if within else translate("run", "Punch in"))

    def _name_pads(self) -> None:
        """Name the axes of each pad, and under spring-back how far each goes."""
        range_deg, loaded = self.manner.range_deg, self._link.loaded if self._link.connected else None
        # an engine swings as it was loaded, whatever was changed in the setup since
        far = () if range_deg is None else swings(self._rig, (loaded or self._desk.project).hands, range_deg)
        for pad, label in zip(self.pads, self._labels, strict=True):
            places = [at for at in (pad.driven.across, pad.driven.up) if at is not None]
            words = translate("run", " and ").join(self._rig.names[at] for at in places)
            if range_deg is not None:
                sides = {_side(far[at] if at < len(far) else None, self._rig.axes[at].unit) for at in places}
                words = f"{words}, {' / '.join(sorted(sides))}"
            if label.text() != words:
                label.setText(words)


def _side(swing: float | None, unit: str) -> str:
    return translate("run", "rate") if swing is None else f"±{value_text(swing, unit)}"
