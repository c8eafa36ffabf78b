"""Driving by hand: pads on the screen that spring back, unlocked by holding first; and game controllers.

The rig moves only while a pad is held: each push is said anew all the time, and the engine lets go when it hears no
more. It plans nothing; limits are kept in the engine.
"""

from PyQt6.QtCore import QEvent, QPointF, QRectF, QSize, Qt, QTimer, pyqtSignal
from PyQt6.QtGui import (
    QColor,
    QFocusEvent,
    QGuiApplication,
    QHideEvent,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QResizeEvent,
)
from PyQt6.QtWidgets import QBoxLayout, QComboBox, QGridLayout, QHBoxLayout, QLabel, QSizePolicy, QVBoxLayout, QWidget

from ui.acts.pads import PadWatch
from ui.desk import Desk
from ui.language import translate
from ui.link.link import Link
from ui.run.deflection import Driven, deflection, pads, parts
from ui.run.hold import Hold
from ui.run.pads import PadsPanel
from ui.run.quiet import Quiet
from ui.theme import GAP_PX, STATE_PX

SAY_MS = 30
UNLOCKED_MS = 30_000  # without a push
SPEEDS = (5, 10, 25, 50, 100)
_SLOW = SPEEDS.index(10)
_WIDE_PX = 940  # where there is room for four pads beside the game controllers
_LEAST_PX = 600  # and for two
_SIZE_PX = 132
_KNOB_PX = 22
_ARROWS = {
    Qt.Key.Key_Left: (-1.0, 0.0),
    Qt.Key.Key_Right: (1.0, 0.0),
    Qt.Key.Key_Up: (0.0, 1.0),
    Qt.Key.Key_Down: (0.0, -1.0),
}
_LOST = (QEvent.Type.UngrabMouse, QEvent.Type.WindowDeactivate, QEvent.Type.Hide, QEvent.Type.EnabledChange)
_LOCKS = (Qt.Key.Key_Escape, Qt.Key.Key_Space)


class Pad(QWidget):
    """One pad. `pushed`: how far it is pushed is another, or it was taken hold of or let go."""

    pushed = pyqtSignal()

    def __init__(self, desk: Desk, driven: Driven, names: tuple[str, str]) -> None:
        super().__init__()
        self._desk = desk
        self.driven = driven
        self.held = False
        self.push = (0.0, 0.0)
        self._from: QPointF | None = None  # where the mouse took hold of it
        self._arrows: set[int] = set()
        both = driven.across is not None and driven.up is not None
        self.setFixedSize(_SIZE_PX, _SIZE_PX if both or driven.across is None else _SIZE_PX // 2)
        self.setMouseTracking(True)  # so that a move without a button tells of a release that never came
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setAccessibleName(translate("run", "Drive {axes}").format(axes=" ".join(name for name in names if name)))
        self.setAccessibleDescription(translate("run", "press and pull, or hold an arrow key; let go to stop"))
        desk.preferred.connect(self.update)

    def let_go(self) -> None:
        """Spring back to the middle."""
        self._from = None
        self._arrows.clear()
        if self.held or self.push != (0.0, 0.0):
            self.held, self.push = False, (0.0, 0.0)
            self.update()
            self.pushed.emit()

    def _be(self, push: tuple[float, float]) -> None:
        self.held, self.push = True, push
        self.update()
        self.pushed.emit()

    def event(self, event: QEvent | None) -> bool:
        """Let go where a release might never come."""
        if event is not None and event.type() in _LOST:
            self.let_go()
        return super().event(event)

    def mousePressEvent(self, event: QMouseEvent | None) -> None:
        """Take hold; wherever it is pressed, nothing is asked for before it is pulled."""
        if event is not None and event.button() == Qt.MouseButton.LeftButton and self.isEnabled():
            self._arrows.clear()
            self._from = event.position()
            self._be((0.0, 0.0))

    def mouseMoveEvent(self, event: QMouseEvent | None) -> None:
        if event is None or self._from is None:
            return
        if not event.buttons() & Qt.MouseButton.LeftButton:  # it was let go of where nobody said so
            self.let_go()
            return
        pulled = event.position() - self._from
        across = deflection(pulled.x(), (self.width() - _KNOB_PX) / 2) if self.driven.across is not None else 0.0
        up = deflection(-pulled.y(), (self.height() - _KNOB_PX) / 2) if self.driven.up is not None else 0.0
        self._be((across, up))

    def mouseReleaseEvent(self, event: QMouseEvent | None) -> None:
        self.let_go()

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        if event is None or event.key() not in _ARROWS:
            super().keyPressEvent(event)
        elif not event.isAutoRepeat() and self.isEnabled() and self._from is None:
            self._arrows.add(event.key())
            self._arrowed()

    def keyReleaseEvent(self, event: QKeyEvent | None) -> None:
        if event is None or event.key() not in _ARROWS:
            super().keyReleaseEvent(event)
        elif not event.isAutoRepeat() and event.key() in self._arrows:
            self._arrows.discard(event.key())
            self._arrowed()

    def _arrowed(self) -> None:
        if not self._arrows:
            self.let_go()
            return
        pulls = [_ARROWS[Qt.Key(key)] for key in self._arrows]
        across, up = (sum(pull) for pull in zip(*pulls, strict=True))
        self._be((across if self.driven.across is not None else 0.0, up if self.driven.up is not None else 0.0))

    def focusOutEvent(self, event: QFocusEvent | None) -> None:
        self.let_go()
        super().focusOutEvent(event)

    def paintEvent(self, event: QPaintEvent | None) -> None:
        theme = self._desk.theme
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        box = QRectF(self.rect()).adjusted(1.5, 1.5, -1.5, -1.5)
        pen = QPen(QColor(theme.focus if self.hasFocus() else theme.edge), 3.0 if self.hasFocus() else 1.5)
        if not self.isEnabled():
            pen.setStyle(Qt.PenStyle.DashLine)
        painter.setPen(pen)
        painter.setBrush(QColor(theme.ground))
        painter.drawRoundedRect(box, 8, 8)
        painter.setPen(QPen(QColor(theme.edge), 1.0))
        middle = box.center()
        if self.driven.across is not None:
            painter.drawLine(QPointF(box.left() + 8, middle.y()), QPointF(box.right() - 8, middle.y()))
        if self.driven.up is not None:
            painter.drawLine(QPointF(middle.x(), box.top() + 8), QPointF(middle.x(), box.bottom() - 8))
        if not self.isEnabled():
            return
        reach = QPointF((self.width() - _KNOB_PX) / 2, (self.height() - _KNOB_PX) / 2)
        across, up = (max(-1.0, min(1.0, one)) for one in self.push)
        knob = middle + QPointF(across * reach.x(), -up * reach.y())
        painter.setPen(QPen(QColor(theme.text), 2.0))
        painter.setBrush(QColor(theme.text if self.held else theme.raised))
        painter.drawEllipse(knob, _KNOB_PX / 2 - 2, _KNOB_PX / 2 - 2)


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
        self.fastest = QComboBox(self)
        self.fastest.addItems([translate("run", "up to {percent} %").format(percent=one) for one in SPEEDS])
        self.fastest.setCurrentIndex(_SLOW)
        self.fastest.setAccessibleName(translate("run", "Fastest while driving, of full speed"))
        self.fastest.setToolTip(self.fastest.accessibleName())
        self._quiet.over(self.fastest)
        self.words = QLabel(self)
        self.words.setWordWrap(True)
        self.words.setStyleSheet(f"font-size: {STATE_PX}px;")
        self.pads: list[Pad] = []
        self._labels: list[QLabel] = []
        self._rig = desk.project.rig  # that the pads are for
        self._unlocked = False
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
        top = QHBoxLayout()
        top.addWidget(self.unlock, 1)
        top.addWidget(self.fastest)
        left = QVBoxLayout()
        left.addWidget(self.words)
        left.addLayout(top)
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
        for pad in self.pads:
            pad.let_go()
        self._unlocked = False
        for timer in (self._idle, self._say):
            timer.stop()
        self.fastest.setCurrentIndex(_SLOW)
        self._show()

    def tell(self) -> None:
        """Tell the engine how far the pads are pushed; what is no longer held is said to rest, once."""
        pushed = {pad.driven: pad.push for pad in self.pads if pad.held}
        if pushed:
            self._idle.start()  # a pad that is held is not left alone
        else:
            self._say.stop()
        fastest = SPEEDS[self.fastest.currentIndex()] / 100
        if self._unlocked and not self._link.hands.drive(parts(self._rig, pushed, fastest)):
            self.lock()

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
            label = QLabel(translate("run", " and ").join(name for name in named if name))
            label.setAlignment(Qt.AlignmentFlag.AlignCenter)
            self.pads.append(pad)
            self._labels.append(label)
        self._place()
        self._show()

    def _why_not(self) -> str:
        """Return why the pads on the screen drive nothing now; empty where they may."""
        in_hand = translate("run", "game controllers are in hand; give them back first")
        return self._link.why_not_drive() or (in_hand if self.controllers.taken else "")

    def _open(self) -> None:
        if not self._why_not():
            self._unlocked = True
            self._idle.start()
        self._show()

    def _pushed(self) -> None:
        if not self._say.isActive():
            self._say.start()
        self.tell()

    def _stand(self) -> None:
        """Lock where the rig does something else."""
        if self._unlocked and self._why_not():
            self.lock()
        else:
            self._show()

    def _show(self) -> None:
        """Say what a push would do, or why there is none."""
        why_not = self._why_not()
        for pad in self.pads:
            pad.setEnabled(self._unlocked)
        self.unlock.setEnabled(not why_not and not self._unlocked)
        self.fastest.setEnabled(self._unlocked)
        if why_not:
            words = translate("run", "Not to be driven: {why}.").format(why=why_not)
        elif not self._unlocked:
            words = translate(
                "run", "Locked. Hold to unlock; then the rig moves while a pad is held. Keep people clear."
            )
        else:
            words = translate(
                "run", "Unlocked: press and pull a pad, or hold an arrow key on it. Let go to stop; Escape locks."
            )
        self.words.setText(words)
