"""Fast strokes: many lines or points at once, and the marks of keys as small pictures.

It refuses to stroke polylines: wide ones that are smoothed cost fifteen times what their lines cost one by one.
"""

from dataclasses import dataclass
from functools import lru_cache
from math import cos, pi, sin
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PyQt6 import sip
from PyQt6.QtCore import QLineF, QPointF, QRectF, Qt
from PyQt6.QtGui import (
    QBrush,
    QColor,
    QFont,
    QFontMetricsF,
    QImage,
    QPainter,
    QPainterPath,
    QPen,
    QPixmap,
    QPolygonF,
)

from ui.theme import Mark

Floats = NDArray[np.float64]
Pixels = NDArray[np.uint32]

MARK_PX = 5.0  # half of a key's mark
CHOSEN_PX = 7.0
_ROUND = 2 * pi
_LITTLE = 1 << 15  # bytes of memory, which are there at once
_IMAGE: Any = QImage  # takes any buffer, which its stubs do not know
_SIP: Any = sip  # what its stubs know of arrays is too little


@dataclass(frozen=True, slots=True, eq=False)
class Canvas:
    """What is drawn on: with a painter, or as pixels of the screen in the same memory. Shape: (rows, columns).

    Of the lanes and the playback, only the columns from `left` up to `end` are drawn; of a lane, only the rows from
    `highest` up to `lowest`.
    """

    painter: QPainter
    pixels: Pixels
    left: int
    end: int
    highest: int = 0
    lowest: int = 1 << 30


def rule(painter: QPainter, lines: Floats) -> None:
    """Draw lines with the pen that is set. Shape: (L, 4), x and y of both ends."""
    if len(lines):
        painter.drawLines(_array(QLineF, lines))


def dot(painter: QPainter, points: Floats) -> None:
    """Draw points with the pen that is set. Shape: (N, 2)."""
    if len(points):
        painter.drawPoints(_array(QPointF, points))


def _array(kind: type, numbers: Floats) -> Any:
    """Return Qt's objects that lie in memory as these numbers do."""
    array = _SIP.array(kind, len(numbers))
    np.frombuffer(_SIP.voidptr(array, numbers.size * 8), np.float64)[:] = numbers.ravel()
    return array


def nearest(x_px: Floats) -> Floats:
    """Return the nearest whole numbers, halves going up wherever they are: what is scrolled comes out as it was."""
    made: Floats = np.floor(x_px + 0.5)
    return made


def upright(x_px: Floats, top_px: float, end_px: float) -> Floats:
    """Return upright lines at these places, as `rule` takes them."""
    out = np.empty((len(x_px), 4))
    out[:, 0] = out[:, 2] = nearest(x_px)
    out[:, 1], out[:, 3] = top_px, end_px
    return out


def fill(painter: QPainter, areas: Floats, brush: QBrush) -> None:
    """Fill areas. Shape: (N, 4), left, top, width, height."""
    if len(areas):
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(brush)
        painter.drawRects(_array(QRectF, areas))
        painter.setBrush(Qt.BrushStyle.NoBrush)


@lru_cache(maxsize=128)
def hair(colour: str) -> QPen:
    """Return a pen of one pixel of the screen."""
    made = QPen(QColor(colour), 1.0)
    made.setCosmetic(True)
    made.setCapStyle(Qt.PenCapStyle.FlatCap)
    return made


@lru_cache(maxsize=128)
def square(colour: str, width_px: float) -> QPen:
    """Return a pen whose points are squares."""
    made = QPen(QColor(colour), width_px)
    made.setCapStyle(Qt.PenCapStyle.SquareCap)
    return made


@lru_cache(maxsize=256)
def paint(colour: str, part: float = 1.0) -> QColor:
    """Return the colour, of which only a part covers what lies under it."""
    made = QColor(colour)
    made.setAlphaF(part)
    return made


@lru_cache(maxsize=256)
def pen(colour: str, width_px: float = 1.0, style: Qt.PenStyle = Qt.PenStyle.SolidLine, part: float = 1.0) -> QPen:
    """Return a pen with flat ends."""
    made = QPen(paint(colour, part), width_px, style)
    made.setCapStyle(Qt.PenCapStyle.FlatCap)
    return made


@lru_cache(maxsize=64)
def solid(colour: str) -> np.uint32:
    """Return the colour as a pixel."""
    return np.uint32(QColor(colour).rgba())


def blended(pixels: Pixels, colour: str, part: float) -> Pixels:
    """Return the pixels with a part of the colour over them, two channels at a time. Shape: any."""
    share, over = round(256 * part), int(solid(colour))
    evens, odds = np.uint32(0x00FF00FF), np.uint32(0xFF00FF00)
    low = pixels & evens
    low *= np.uint32(256 - share)
    low += np.uint32((over & 0x00FF00FF) * share)
    low >>= np.uint32(8)
    low &= evens
    high = (pixels >> np.uint32(8)) & evens
    high *= np.uint32(256 - share)
    high += np.uint32((over >> 8 & 0x00FF00FF) * share)
    high &= odds
    made: Pixels = low | high
    return made


def laid(under: Pixels | np.uint32, over: Pixels | np.uint32, where: Pixels) -> Pixels:
    """Return `over` where all bits of `where` are set, and `under` where none is: many times as quick as a choice."""
    made: Pixels = ((under ^ over) & where) ^ under
    return made


def image(pixels: Pixels, form: QImage.Format) -> QImage:
    """Return a picture in the memory of these pixels, which is there as long as they are: what is painted is in both.

    Shape: (rows, columns), one row after the other.
    """
    high, wide = pixels.shape
    # by its place alone: memory whose size is told is taken as not to be written, and painting makes a copy of it
    made: QImage = _IMAGE(_SIP.voidptr(pixels.ctypes.data), wide, high, 4 * wide, form)
    return made


def pixels(picture: QImage) -> Pixels:
    """Return the pixels of a picture, in its own memory: what is written there is drawn. Shape: (rows, columns)."""
    memory: Any = picture.bits()
    return np.frombuffer(memory.asarray(picture.sizeInBytes()), np.uint32).reshape(picture.height(), -1)


@lru_cache(maxsize=64)
def mixed(colour: str, ground: str, part: float) -> str:
    """Return what a part of the colour looks like on the ground: what is clear takes longer to draw."""
    pairs = [(int(colour[at : at + 2], 16), int(ground[at : at + 2], 16)) for at in (1, 3, 5)]
    return "#" + "".join(f"{round(over * part + under * (1 - part)):02x}" for over, under in pairs)


def fill_columns(into: Pixels, top: NDArray[Any], end: NDArray[Any], height: int, colour: str, first: int = 0) -> None:
    """Fill columns of a picture of this height from row `top` to row `end`.

    They are laid into the pixels `into`, which are the rows of that picture from `first` on: far quicker than as many
    upright lines, which meet another line of memory at each pixel. An `end` above the picture leaves its column empty.
    Shape: `top`, `end` (C,); `into` (R, C), R at most `height` less `first`. Unit: pixels of the screen.
    """
    if not len(top):
        return
    above = end < 0
    begin, last = (np.minimum(np.maximum(each, 0), height - 1).astype(np.int32) for each in (top, end))
    np.maximum(last, begin, out=last)
    # only the rows that any column reaches are looked at
    first_row = max(int(begin.min()) - first, 0)
    rows_end = min(int(last.max()) + 1 - first, len(into))
    if first_row >= rows_end:
        return
    rows, far, filled = _scratch(height, rows_end - first_row, len(top))
    last -= begin
    # below `begin` the difference goes round to a large number: one comparison does for both ends
    np.subtract(rows[first + first_row : first + rows_end], begin.astype(rows.dtype), out=far)
    np.less_equal(far, last.astype(rows.dtype), out=filled)
    if above.any():
        filled[:, above] = False
    np.copyto(into[first_row:rows_end], solid(colour), where=filled)


def _scratch(height: int, rows: int, wide: int) -> tuple[NDArray[Any], NDArray[Any], NDArray[np.bool_]]:
    """Return the rows' numbers, and memory for what is worked out of them. Shape: (height, 1), twice (rows, wide)."""
    all_rows = _rows(height)
    if rows * wide < _LITTLE:
        return all_rows, np.empty((rows, wide), all_rows.dtype), np.empty((rows, wide), np.bool_)
    far, filled = _memory(all_rows.itemsize, 1 << (rows * wide - 1).bit_length())
    size = rows * wide
    return all_rows, far[:size].reshape(rows, wide), filled[:size].reshape(rows, wide)


@lru_cache(maxsize=16)
def _rows(height: int) -> NDArray[Any]:
    return np.arange(height, dtype=np.uint8 if height < 256 else np.uint16)[:, None]


@lru_cache(maxsize=4)
def _memory(bytes_each: int, size: int) -> tuple[NDArray[Any], NDArray[np.bool_]]:
    """Return memory that is used again and again: to ask for it each time takes as long as drawing."""
    return np.empty(size, np.uint8 if bytes_each == 1 else np.uint16), np.empty(size, np.bool_)


@lru_cache(maxsize=1024)
def worded(words: str, font: QFont, colour: str, ground: str, ratio: float, room_px: float = 0.0) -> QPixmap:
    """Return words as a picture on their ground, with `room_px` at both sides: writing them takes ten times as long."""
    metrics = QFontMetricsF(font)
    wide, high = round(metrics.horizontalAdvance(words) + 2 * room_px), round(metrics.height())
    picture = QPixmap(max(1, round(wide * ratio)), max(1, round(high * ratio)))
    picture.setDevicePixelRatio(ratio)
    picture.fill(QColor(ground))
    painter = QPainter(picture)
    painter.setFont(font)
    painter.setPen(QColor(colour))
    painter.drawText(QPointF(room_px, metrics.ascent()), words)
    painter.end()
    return picture


def dashed(lines: Floats, zero_px: float, on_px: float = 6.0, off_px: float = 4.0) -> Floats:
    """Return the lines that lie in the dashes, counted across: they stay in their instants while a curve's values move.

    `zero_px` is where the project's start is.
    """
    middle = (lines[:, 0] + lines[:, 2]) / 2 - zero_px
    return lines[middle % (on_px + off_px) < on_px]


def outline(mark: Mark, half_px: float) -> QPainterPath:
    """Return the outline of a key's mark about (0, 0)."""
    path = QPainterPath()
    if mark == "circle":
        path.addEllipse(QPointF(0, 0), half_px, half_px)
    elif mark == "square":
        side = 0.86 * half_px
        path.addRect(-side, -side, 2 * side, 2 * side)
    elif mark == "cross":
        arm = 0.38 * half_px
        turns = [(arm, half_px), (arm, arm), (half_px, arm)]
        corners = []
        for across, down in ((1, 1), (1, -1), (-1, -1), (-1, 1)):
            there = [QPointF(across * x, down * y) for x, y in turns]
            corners += there if across * down > 0 else there[::-1]
        path.addPolygon(QPolygonF(corners))
        path.closeSubpath()
    else:
        count, first = {"diamond": (4, 0.0), "up": (3, -0.25), "down": (3, 0.25), "hexagon": (6, 0.0)}[mark]
        far = half_px * (1.18 if count < 6 else 1.05)
        angles = [(first + each / count) * _ROUND for each in range(count)]
        path.addPolygon(QPolygonF([QPointF(far * cos(angle), far * sin(angle)) for angle in angles]))
        path.closeSubpath()
    return path


@lru_cache(maxsize=256)
def stamp(mark: Mark, colour: str, ground: str, half_px: float, ratio: float, look: str = "plain") -> QPixmap:
    """Return a picture of a key's mark for a screen of this pixel ratio.

    `look`: plain; pinned, with a hole; chosen, in `colour` within a ring; ghost, an outline.
    """
    side = 2 * round(half_px + 5) + 1
    pixels = round(side * ratio)
    picture = QPixmap(pixels, pixels)
    picture.fill(Qt.GlobalColor.transparent)
    picture.setDevicePixelRatio(ratio)
    painter = QPainter(picture)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.translate(side / 2, side / 2)
    if look == "ghost":
        painter.setPen(QPen(QColor(colour), 1.5))
        painter.setBrush(QColor(ground))
        painter.drawPath(outline(mark, half_px))
    else:
        painter.setPen(QPen(QColor(ground), 2.0))
        painter.setBrush(QColor(colour))
        painter.drawPath(outline(mark, half_px))
        if look == "chosen":
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(QPen(QColor(colour), 1.5))
            painter.drawEllipse(QPointF(0, 0), half_px + 3.5, half_px + 3.5)
        elif look == "pinned":
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(QBrush(QColor(ground)))
            painter.drawEllipse(QPointF(0, 0), half_px * 0.38, half_px * 0.38)
    painter.end()
    return picture


def press(painter: QPainter, picture: QPixmap, points: Floats) -> None:
    """Draw the picture about each of the points. Shape: (N, 2)."""
    half = picture.deviceIndependentSize().width() / 2
    for x, y in (nearest(points) + 0.5 - half).tolist():
        painter.drawPixmap(QPointF(x, y), picture)
