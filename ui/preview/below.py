"""What of the lens view stays as the camera moves, kept as pictures: the words under it, and the lines of its frame.

It refuses to write over the edge: words that are too long end in dots.
"""

from dataclasses import dataclass, field

import numpy as np
from PyQt6.QtCore import QPointF, Qt
from PyQt6.QtGui import QFont, QPainter, QPixmap

from ui.language import translate
from ui.preview.frame import EDGE_PX, Frame
from ui.preview.strokes import clear, label, pen, rectangle, rule
from ui.theme import Theme

ROW_PX = 19
RIBBON_PX = (1.5, 3.0, 5.0)  # calm, quick, hasty
RIBBON_TRACKS = (1, 0, 5)  # of the theme's track colours


@dataclass(frozen=True, slots=True)
class Below:
    """Rows of words under the picture.

    `keyed`: whether the ribbon's key is written. `room`: width, and the screen's pixel ratio.
    """

    rows: tuple[str, ...]
    keyed: bool
    room: tuple[int, float]
    theme: Theme
    font: str
    _picture: list[QPixmap] = field(default_factory=list, compare=False, repr=False)

    def height(self) -> int:
        return len(self.rows) * ROW_PX + 1

    def draw(self, painter: QPainter, top: int) -> None:
        """Draw it over the whole width, from `top` on."""
        if not self._picture:
            self._picture.append(self._drawn())
        painter.drawPixmap(0, top, self._picture[0])

    def _drawn(self) -> QPixmap:
        width, ratio = self.room
        picture = QPixmap(round(width * ratio), round(self.height() * ratio))
        picture.setDevicePixelRatio(ratio)
        picture.fill(clear(self.theme.panel, 1.0))
        painter, font = QPainter(picture), QFont()
        font.fromString(self.font)
        painter.setFont(font)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        metrics = painter.fontMetrics()
        taken = self._draw_key(painter) if self.keyed else 0.0
        painter.setPen(pen(self.theme.text))
        for number, words in enumerate(self.rows):
            wide = width - 2 * EDGE_PX - (taken if number == 0 else 0.0)
            short = metrics.elidedText(words, Qt.TextElideMode.ElideRight, int(wide))
            painter.drawText(QPointF(EDGE_PX, number * ROW_PX + metrics.ascent()), short)
        painter.end()
        return picture

    def _draw_key(self, painter: QPainter) -> float:
        """Write what the widths of the ribbon mean, at the right; return how much room that took."""
        x, metrics = self.room[0] - EDGE_PX, painter.fontMetrics()
        names = (translate("preview", "calm"), translate("preview", "quick"), translate("preview", "hasty"))
        for words, track, width_px in reversed(list(zip(names, RIBBON_TRACKS, RIBBON_PX, strict=True))):
            x -= metrics.horizontalAdvance(words)
            painter.setPen(pen(self.theme.text))
            painter.drawText(QPointF(x, metrics.ascent()), words)
            painter.setPen(pen(self.theme.tracks[track], width_px))
            rule(painter, np.array([[[x - 26, metrics.height() / 2], [x - 5, metrics.height() / 2]]]))
            x -= 40
        return self.room[0] - EDGE_PX - x


@dataclass(frozen=True, slots=True)
class Over:
    """What lies over the picture: bars, thirds, the part that every screen shows, its middle, and `words`."""

    frame: Frame
    words: str
    ratio: float
    theme: Theme
    font: str
    _picture: list[QPixmap] = field(default_factory=list, compare=False, repr=False)

    def draw(self, painter: QPainter) -> None:
        """Draw it over the sensor's frame."""
        if not self._picture:
            self._picture.append(self._drawn())
        painter.drawPixmap(rectangle(self.frame.sensor).topLeft(), self._picture[0])

    def _drawn(self) -> QPixmap:
        frame, theme, room = self.frame, self.theme, rectangle(self.frame.sensor)
        picture = QPixmap(round(room.width() * self.ratio), round(room.height() * self.ratio))
        picture.setDevicePixelRatio(self.ratio)
        picture.fill(Qt.GlobalColor.transparent)
        painter, font = QPainter(picture), QFont()
        font.fromString(self.font)
        painter.setFont(font)
        painter.translate(-room.topLeft().toPointF())
        for bar in frame.bars:
            painter.fillRect(rectangle(bar), clear(theme.panel, 0.72))
        painter.setPen(pen(theme.edge, 1.0, Qt.PenStyle.DotLine))
        rule(painter, frame.thirds)
        painter.setPen(pen(theme.edge, 1.0, Qt.PenStyle.DashLine))
        rule(painter, frame.safe.sides)
        painter.setPen(pen(theme.text, 2.0))
        rule(painter, frame.cross)
        inner = rectangle(frame.picture)
        painter.drawRect(inner.adjusted(1, 1, -1, -1))
        label(painter, room.left() + 6, room.top() + 3, self.words, (theme.text, theme.ground))
        painter.end()
        return picture
