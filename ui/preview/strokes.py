"""Fast strokes of the views: many lines in one call, from numbers as they lie in memory. It strokes no polylines."""

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PyQt6 import sip
from PyQt6.QtCore import QLineF, QRect, Qt
from PyQt6.QtGui import QColor, QFont, QFontMetrics, QPainter, QPen, QPixmap

from ui.preview.frame import Rect

Floats = NDArray[np.float64]
# a thin line that is not smoothed: many long ones that are cost more than all else that is drawn
BARE_PX = 1.0
_SIP: Any = sip  # what its stubs know of arrays is too little


def rule(painter: QPainter, lines: Floats) -> None:
    """Draw lines with the pen that is set. Shape: (N, 2, 2)."""
    if len(lines):
        array = _SIP.array(QLineF, len(lines))
        np.frombuffer(_SIP.voidptr(array, lines.size * 8), np.float64)[:] = lines.ravel()
        painter.drawLines(array)


@lru_cache(maxsize=64)
def pen(colour: str, width_px: float = 1.0, style: Qt.PenStyle = Qt.PenStyle.SolidLine) -> QPen:
    """Return a pen with flat ends."""
    made = QPen(QColor(colour), width_px, style)
    made.setCapStyle(Qt.PenCapStyle.FlatCap)
    return made


@lru_cache(maxsize=64)
def clear(colour: str, part: float) -> QColor:
    """Return the colour, of which only a part covers what lies under it."""
    made = QColor(colour)
    made.setAlphaF(part)
    return made


def rectangle(rect: Rect) -> QRect:
    """Return the rectangle in whole pixels: to fill parts of pixels costs ten times as much."""
    left, top = round(rect.left), round(rect.top)
    return QRect(left, top, round(rect.right) - left, round(rect.bottom) - top)


@lru_cache(maxsize=256)
def wide_px(family: str, size_px: int, words: str) -> int:
    """Return how wide words are in a font."""
    font = QFont(family)
    font.setPixelSize(size_px)
    return QFontMetrics(font).horizontalAdvance(words)


@lru_cache(maxsize=256)
def stamp(words: str, family: str, size_px: int, colours: tuple[str, str], ratio: float) -> QPixmap:
    """Return words on a ground of their own, as a picture. `colours`: of the words, of the ground."""
    font = QFont(family)
    font.setPixelSize(size_px)
    metrics = QFontMetrics(font)
    width, height = metrics.horizontalAdvance(words) + 6, metrics.height()
    picture = QPixmap(round(width * ratio), round(height * ratio))
    picture.setDevicePixelRatio(ratio)
    picture.fill(QColor(colours[1]))
    painter = QPainter(picture)
    painter.setFont(font)
    painter.setPen(pen(colours[0]))
    painter.drawText(3, metrics.ascent(), words)
    painter.end()
    return picture


def label(painter: QPainter, x: float, y: float, words: str, colours: tuple[str, str], middle: bool = False) -> None:
    """Write words on a ground of their own, that begin at (x, y) from above, or have their middle there.

    `colours`: of the words, of the ground. To write them anew each time would cost more than all lines of the set.
    """
    font, device = painter.font(), painter.device()
    ratio = 1.0 if device is None else device.devicePixelRatioF()
    picture = stamp(words, font.family(), font.pixelSize(), colours, ratio)
    wide = picture.width() / ratio
    painter.drawPixmap(round(x - wide / 2 if middle else x - 3), round(y), picture)
