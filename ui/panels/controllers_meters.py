"""What a pad says, drawn: sticks as dots in squares, triggers and other axes as bars, and what is held in words.

It refuses to mean anything: what a control is for stands elsewhere.
"""

from PyQt6.QtCore import QPointF, QRectF, QSize, Qt
from PyQt6.QtGui import QColor, QPainter, QPaintEvent, QPen
from PyQt6.QtWidgets import QSizePolicy, QWidget

from sequencer.shell.pad_watch import Watched
from ui.desk import Desk
from ui.language import translate
from ui.theme import GAP_PX

_SIDE_PX = 72
_BAR_PX = 14
_DOT_PX = 6
_STICKS = (("left x", "left y"), ("right x", "right y"))
_BARS = ("left trigger", "right trigger")


class Meters(QWidget):
    """The axes of one pad. `dead_band` is drawn as what a push must leave before it counts."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._axes: dict[str, float] = {}
        self._dead_band = 0.0
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        desk.preferred.connect(self.update)

    def show_pad(self, pad: Watched, dead_band: float) -> None:
        """Show what it says now."""
        axes = pad.axes
        if axes.keys() != self._axes.keys():
            self.updateGeometry()
        if (axes, dead_band) != (self._axes, self._dead_band):
            self._axes, self._dead_band = axes, dead_band
            self.update()
        self.setAccessibleName(translate("pads", "Sticks of {pad}").format(pad=pad.name))
        self.setAccessibleDescription(pushed_words(pad))

    @property
    def _sticks(self) -> list[tuple[float, float]]:
        return [(self._axes[x], self._axes[y]) for x, y in _STICKS if x in self._axes and y in self._axes]

    @property
    def _bars(self) -> list[tuple[float, bool]]:
        """The other axes, and whether they begin at one end."""
        shown = {name for pair in _STICKS for name in pair} if self._sticks else set()
        return [(value, name in _BARS) for name, value in self._axes.items() if name not in shown]

    def sizeHint(self) -> QSize:
        wide = len(self._sticks) * (_SIDE_PX + GAP_PX) + len(self._bars) * (_BAR_PX + GAP_PX)
        return QSize(max(wide, _SIDE_PX) + 2, _SIDE_PX + 2)

    def minimumSizeHint(self) -> QSize:
        return self.sizeHint()

    def paintEvent(self, event: QPaintEvent | None) -> None:
        theme = self._desk.theme
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        left = 1.0
        for across, up in self._sticks:
            self._draw_stick(painter, QRectF(left, 1, _SIDE_PX, _SIDE_PX), across, up)
            left += _SIDE_PX + GAP_PX
        for value, from_end in self._bars:
            box = QRectF(left, 1, _BAR_PX, _SIDE_PX)
            painter.setPen(QPen(QColor(theme.edge), 1.0))
            painter.setBrush(QColor(theme.ground))
            painter.drawRect(box)
            zero = box.bottom() if from_end else box.center().y()
            reach = box.height() if from_end else box.height() / 2
            painter.fillRect(QRectF(box.left() + 2, zero, box.width() - 4, -value * reach), QColor(theme.text))
            left += _BAR_PX + GAP_PX

    def _draw_stick(self, painter: QPainter, box: QRectF, across: float, up: float) -> None:
        theme, middle, reach = self._desk.theme, box.center(), _SIDE_PX / 2 - _DOT_PX
        painter.setPen(QPen(QColor(theme.edge), 1.0))
        painter.setBrush(QColor(theme.ground))
        painter.drawRect(box)
        painter.setPen(QPen(QColor(theme.edge), 1.0, Qt.PenStyle.DotLine))
        band = self._dead_band * reach + _DOT_PX
        painter.drawRect(QRectF(middle.x() - band, middle.y() - band, 2 * band, 2 * band))
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(theme.text))
        painter.drawEllipse(middle + QPointF(across * reach, -up * reach), _DOT_PX, _DOT_PX)


def pushed_words(pad: Watched) -> str:
    """Return what is pushed and held, by name, in parts of its way."""
    pushed = [f"{name} {value:+.0%}" for name, value in pad.axes.items() if abs(value) >= 0.01]
    said = [*pushed, *pad.held]
    return ", ".join(said) if said else translate("pads", "all let go")
