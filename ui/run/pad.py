"""One pad on the screen, that springs back: pulled with the mouse, or pushed with the arrow keys.

It says how far it is pushed, and whether it was let go of or lost; it moves nothing by itself.
"""

from PyQt6.QtCore import QEvent, QPointF, QRectF, Qt, pyqtSignal
from PyQt6.QtGui import QColor, QFocusEvent, QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QPen
from PyQt6.QtWidgets import QWidget

from ui.desk import Desk
from ui.language import translate
from ui.run.deflection import Driven, deflection

_SIZE_PX = 132
_KNOB_PX = 22
_ARROWS = {
    Qt.Key.Key_Left: (-1.0, 0.0),
    Qt.Key.Key_Right: (1.0, 0.0),
    Qt.Key.Key_Up: (0.0, 1.0),
    Qt.Key.Key_Down: (0.0, -1.0),
}
_LOST = (QEvent.Type.UngrabMouse, QEvent.Type.WindowDeactivate, QEvent.Type.Hide, QEvent.Type.EnabledChange)


class Pad(QWidget):
    """`pushed`: how far it is pushed is another, or it was taken hold of or let go. `lost`: perhaps nobody holds it.

    It begins in the middle, and says so, whatever takes hold of it.
    """

    pushed = pyqtSignal()
    lost = pyqtSignal()

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
        self.setAccessibleDescription(
            translate(
                "run", "press and pull, or hold an arrow key; let go of it to stop, or to return where it springs back"
            )
        )
        desk.preferred.connect(self.update)

    def let_go(self) -> None:
        """Spring back to the middle."""
        if self._rest():
            self.pushed.emit()

    def lose(self) -> None:
        """Be in the middle, since its release may never come."""
        if self._rest():
            self.lost.emit()

    def _rest(self) -> bool:
        """Be let go; return whether it was held."""
        self._from = None
        self._arrows.clear()
        was, self.held, self.push = self.held, False, (0.0, 0.0)
        self.update()
        return was

    def _be(self, push: tuple[float, float]) -> None:
        self.held, self.push = True, push
        self.update()
        self.pushed.emit()

    def event(self, event: QEvent | None) -> bool:
        """Let go where a release might never come."""
        if event is not None and event.type() in _LOST:
            self.lose()
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
            self.lose()
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
            if not self.held:
                self._be((0.0, 0.0))
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
        self.lose()
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
