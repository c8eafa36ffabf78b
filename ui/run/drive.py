"""Driving by mouse or arrow keys, where no controller is there: pads that spring back, unlocked by holding first.

The rig moves only while a pad is held: each push is said anew all the time, and the engine lets go when it hears no
more. It plans nothing; limits are kept in the engine.
"""

from PyQt6.QtCore import QPointF, QRectF, QSize, Qt, QTimer, pyqtSignal
from PyQt6.QtGui import QColor, QFocusEvent, QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QPen
from PyQt6.QtWidgets import QComboBox, QGridLayout, QHBoxLayout, QLabel, QSizePolicy, QVBoxLayout, QWidget

from ui.desk import Desk
from ui.language import translate
from ui.link.link import Link
from ui.run.deflection import Driven, deflection, pads, parts
from ui.run.hold import Hold
from ui.run.quiet import Quiet
from ui.theme import GAP_PX, STATE_PX

SAY_MS = 30
UNLOCKED_MS = 30_000  # without a push
SPEEDS = (5, 10, 25, 50, 100)
_SIZE_PX = 132
_KNOB_PX = 22
_ARROWS = {
    Qt.Key.Key_Left: (-1.0, 0.0),
    Qt.Key.Key_Right: (1.0, 0.0),
    Qt.Key.Key_Up: (0.0, 1.0),
    Qt.Key.Key_Down: (0.0, -1.0),
}


class Pad(QWidget):
    """One pad. `pushed`: how far it is pushed is another, or it was taken hold of or let go."""

    pushed = pyqtSignal()

    def __init__(self, desk: Desk, driven: Driven, names: tuple[str, str]) -> None:
        super().__init__()
        self._desk = desk
        self.driven = driven
        self.held = False
        self.push = (0.0, 0.0)
        self._arrows: set[int] = set()
        both = driven.across is not None and driven.up is not None
        self.setFixedSize(_SIZE_PX, _SIZE_PX if both or driven.across is None else _SIZE_PX // 2)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setAccessibleName(translate("run", "Drive {axes}").format(axes=" ".join(name for name in names if name)))
        self.setAccessibleDescription(translate("run", "press and pull, or hold an arrow key; let go to stop"))
        desk.preferred.connect(self.update)

    def let_go(self) -> None:
        """Spring back to the middle."""
        self._arrows.clear()
        if self.held or self.push != (0.0, 0.0):
            self.held, self.push = False, (0.0, 0.0)
            self.update()
            self.pushed.emit()

    def _pull(self, at: QPointF) -> None:
        middle, reach = QRectF(self.rect()).center(), (min(self.width(), self.height()) - _KNOB_PX) / 2
        reach_across = (self.width() - _KNOB_PX) / 2
        across = deflection(at.x() - middle.x(), reach_across) if self.driven.across is not None else 0.0
        up = deflection(middle.y() - at.y(), max(reach, 1.0)) if self.driven.up is not None else 0.0
        self._be((across, up))

    def _be(self, push: tuple[float, float]) -> None:
        self.held, self.push = True, push
        self.update()
        self.pushed.emit()

    def mousePressEvent(self, event: QMouseEvent | None) -> None:
        if event is not None and event.button() == Qt.MouseButton.LeftButton and self.isEnabled():
            self._pull(event.position())

    def mouseMoveEvent(self, event: QMouseEvent | None) -> None:
        if event is not None and self.held and not self._arrows:
            self._pull(event.position())

    def mouseReleaseEvent(self, event: QMouseEvent | None) -> None:
        if event is not None and event.button() == Qt.MouseButton.LeftButton:
            self.let_go()

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        if event is None or event.key() not in _ARROWS:
            super().keyPressEvent(event)
            return
        if not event.isAutoRepeat() and self.isEnabled():
            self._arrows.add(event.key())
            self._arrowed()

    def keyReleaseEvent(self, event: QKeyEvent | None) -> None:
        if event is None or event.key() not in _ARROWS:
            super().keyReleaseEvent(event)
        elif not event.isAutoRepeat():
            self._arrows.discard(event.key())
            self._arrowed()

    def _arrowed(self) -> None:
        if not self._arrows:
            self.let_go()
            return
        pulls = [_ARROWS[Qt.Key(key)] for key in self._arrows]
        self._be((sum(across for across, _ in pulls), sum(up for _, up in pulls)))

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

    def __init__(self, desk: Desk, link: Link) -> None:
        super().__init__()
        self._desk = desk
        self._link = link
        self._quiet = Quiet(self)
        self.setAccessibleName(translate("run", "Drive by hand"))
        self.unlock = Hold(desk, translate("run", "Hold to unlock driving"), self)
        self.fastest = QComboBox(self)
        self.fastest.addItems([translate("run", "{percent} % of full speed").format(percent=one) for one in SPEEDS])
        self.fastest.setCurrentIndex(SPEEDS.index(10))
        self.fastest.setAccessibleName(translate("run", "Fastest while driving"))
        self._quiet.over(self.fastest)
        self.words = QLabel(self)
        self.words.setWordWrap(True)
        self.pads: list[Pad] = []
        self._unlocked = False
        self._said_rest = True
        self._grid = QGridLayout()
        top = QHBoxLayout()
        top.addWidget(self.unlock, 1)
        top.addWidget(self.fastest)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(GAP_PX, GAP_PX, GAP_PX, GAP_PX)
        whole.addWidget(self.words)
        whole.addLayout(top)
        whole.addLayout(self._grid)
        whole.addStretch(1)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Preferred)
        self._say = QTimer(self)
        self._say.setInterval(SAY_MS)
        self._say.timeout.connect(self.tell)
        self._idle = QTimer(self)
        self._idle.setSingleShot(True)
        self._idle.setInterval(UNLOCKED_MS)
        self._idle.timeout.connect(self.lock)
        self.unlock.held.connect(self._open)
        link.standing.connect(lambda _: self._stand())
        link.stopping.connect(self.lock)
        desk.opened.connect(self._build)
        desk.faced.connect(self._stand)
        self._build()

    def minimumSizeHint(self) -> QSize:
        return QSize(280, 200)

    @property
    def unlocked(self) -> bool:
        return self._unlocked

    def lock(self) -> None:
        """Let go of everything; nothing is driven before it is unlocked again."""
        self._unlocked = False
        self._idle.stop()
        for pad in self.pads:
            pad.let_go()
        self._stand()

    def tell(self) -> None:
        """Tell the engine how far the pads are pushed, once; what is no longer held is said to rest."""
        rig = self._desk.project.rig
        pushed = {pad.driven: pad.push for pad in self.pads if pad.held}
        fastest = SPEEDS[self.fastest.currentIndex()] / 100
        if not self._link.drive(parts(rig, pushed, fastest)):
            self.lock()
        if not pushed:
            self._say.stop()

    def _build(self) -> None:
        self._unlocked = False
        for pad in self.pads:
            pad.deleteLater()
        self.pads = []
        while (item := self._grid.takeAt(0)) is not None:
            if (widget := item.widget()) is not None:
                widget.deleteLater()
        rig = self._desk.project.rig
        names = rig.names
        for place, driven in enumerate(pads(rig)):
            named = tuple("" if at is None else names[at] for at in (driven.across, driven.up))
            pad = Pad(self._desk, driven, (named[0], named[1]))
            pad.pushed.connect(self._pushed)
            label = QLabel(translate("run", " and ").join(name for name in named if name))
            label.setAlignment(Qt.AlignmentFlag.AlignCenter)
            column, row = place % 3, place // 3 * 2
            self._grid.addWidget(label, row, column)
            self._grid.addWidget(pad, row + 1, column, Qt.AlignmentFlag.AlignCenter)
            self.pads.append(pad)
        self._stand()

    def _open(self) -> None:
        if self._link.can_drive:
            self._unlocked = True
            self._idle.start()
        self._stand()

    def _pushed(self) -> None:
        self._idle.start()
        if not self._say.isActive():
            self._say.start()
        self.tell()

    def _stand(self) -> None:
        """Lock where the rig does something else, and say what a push would do."""
        able = self._link.can_drive
        if self._unlocked and not able:
            self._unlocked = False
            self._idle.stop()
        for pad in self.pads:
            pad.setEnabled(self._unlocked)
            if not self._unlocked:
                pad.let_go()
        self.unlock.setEnabled(able and not self._unlocked)
        if not able:
            words = translate("run", "Connect a rig on which nothing is armed, and it can be driven from here.")
        elif not self._unlocked:
            words = translate(
                "run", "Locked. Hold to unlock; then the rig moves while a pad is held. Keep people clear."
            )
        else:
            words = translate("run", "Unlocked: press and pull a pad, or hold an arrow key on it. Let go to stop.")
        self.words.setText(words)
        self.words.setStyleSheet(f"font-size: {STATE_PX}px;")
