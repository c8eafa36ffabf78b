"""The playback with its growth, onsets and beats, over the stretch of time in sight; the grid that is proposed on it.

It only draws: nothing in it can be pressed.
"""

from collections.abc import Iterable
from fractions import Fraction
from itertools import islice

import numpy as np
from PyQt6.QtCore import QLineF, QPointF, QRectF, QSize, Qt
from PyQt6.QtGui import QColor, QPainter, QPaintEvent, QPen, QPixmap, QPolygonF
from PyQt6.QtWidgets import QSizePolicy, QWidget

from sequencer.music.onsets import STEPS_A_S
from sequencer.timebase.tempo import TempoMap
from ui.desk import Desk
from ui.label import tip
from ui.language import translate
from ui.panels.hearing import Heard

_HIGH_PX = 132
_NAMES_PX = 18  # at the top: the numbers of bars
_MARKS_PX = 14  # at the bottom: onsets
_MOST = 4000  # lines
_CLOSEST_PX = 5.0  # nearer than that beats are left out, and only bars are drawn


class BeatStrip(QWidget):
    """Bars are long thick lines with their number, beats long thin ones; found beats are short ticks with a dot."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._heard: Heard | None = None
        self._found_s = np.zeros(0)
        self._onsets_s = np.zeros(0)
        self._grid: TempoMap | None = None
        self._proposed = False
        self.setAccessibleName(translate("music", "Playback with its beats"))
        words = translate("music", "dots: beats that were heard; triangles: onsets; lines: bars and beats of the grid")
        self.setToolTip(tip(words))
        self.setAccessibleDescription(words)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setFixedHeight(_HIGH_PX)
        self._drawn: QPixmap | None = None  # all but the playhead, which moves often
        desk.placed.connect(self.update)
        for signal in (desk.zoomed, desk.preferred):
            signal.connect(self._anew)

    def sizeHint(self) -> QSize:
        return QSize(360, _HIGH_PX)

    def show_all(
        self, heard: Heard | None, start_s: float, onsets_s: np.ndarray, grid: TempoMap | None, proposed: bool
    ) -> None:
        """Draw what was heard, the file beginning at `start_s`; `onsets_s` from the project's start, as the grid."""
        found = None if heard is None else heard.beats
        self._heard, self._start_s = heard, start_s
        self._found_s = getattr(found, "at_s", np.zeros(0)) + start_s
        self._onsets_s, self._grid, self._proposed = onsets_s, grid, proposed
        self._anew()

    def x_px(self, at_s: float) -> float:
        """Return where an instant is drawn."""
        begin_s, end_s = self._desk.span_s
        return (at_s - begin_s) / (end_s - begin_s) * self.width()

    def paintEvent(self, event: QPaintEvent | None) -> None:
        if self._drawn is None or self._drawn.size() != self.size() * self.devicePixelRatioF():
            self._drawn = self._draw()
        theme = self._desk.theme
        painter = QPainter(self)
        painter.drawPixmap(0, 0, self._drawn)
        x = self.x_px(self._desk.playhead_s)
        for colour, width in ((theme.ground, 4), (theme.playhead, 2)):
            painter.setPen(QPen(QColor(colour), width))
            painter.drawLine(QLineF(x, 0, x, self.height()))

    def _anew(self) -> None:
        self._drawn = None
        self.update()

    def _draw(self) -> QPixmap:
        theme, ratio = self._desk.theme, self.devicePixelRatioF()
        picture = QPixmap(self.size() * ratio)
        picture.setDevicePixelRatio(ratio)
        painter = QPainter(picture)
        painter.setFont(self.font())
        painter.fillRect(self.rect(), QColor(theme.ground))
        if self._heard is not None:
            self._draw_wave(painter)
            self._draw_growth(painter)
        if self._grid is not None:
            self._draw_grid(painter, self._grid)
        self._draw_found(painter)
        painter.setPen(QPen(QColor(theme.edge), 1))
        painter.drawRect(QRectF(self.rect()).adjusted(0.5, 0.5, -0.5, -0.5))
        if self._heard is None and self._grid is None:
            painter.setPen(QColor(theme.text))
            painter.drawText(self.rect(), Qt.AlignmentFlag.AlignCenter, translate("music", "nothing heard yet"))
        painter.end()
        return picture

    def _draw_wave(self, painter: QPainter) -> None:
        assert self._heard is not None
        begin_s, end_s = self._desk.span_s
        width = max(1, self.width())
        low, high = self._heard.waveform.columns(np.linspace(begin_s, end_s, width + 1) - self._start_s)
        most = max(1e-6, float(max(np.abs(part).max(initial=0.0) for part in self._heard.waveform.high)))
        top, bottom = _NAMES_PX, self.height() - _MARKS_PX
        middle, half = (top + bottom) / 2, (bottom - top) / 2
        painter.setPen(QPen(QColor(self._desk.theme.wave), 1))
        there = np.flatnonzero(high > low)
        for x in there.tolist():
            up, down = middle - half * min(1.0, high[x] / most), middle - half * max(-1.0, low[x] / most)
            painter.drawLine(QLineF(x + 0.5, up, x + 0.5, down))

    def _draw_growth(self, painter: QPainter) -> None:
        """Draw how strongly the sound grows, the strongest step of each column, as a line from the bottom up."""
        assert self._heard is not None
        begin_s, end_s = self._desk.span_s
        flux, width = self._heard.grown.flux, max(1, self.width())
        edges = np.round((np.linspace(begin_s, end_s, width + 1) - self._start_s) * STEPS_A_S).astype(int)
        inside = np.flatnonzero((edges[:-1] >= 0) & (edges[:-1] < len(flux)))
        if len(inside) < 2:
            return
        bottom, tall = self.height() - _MARKS_PX, (self.height() - _NAMES_PX - _MARKS_PX) * 0.5
        most = max(float(np.quantile(flux, 0.995)), 1e-6)
        columns = np.maximum.reduceat(flux, edges[inside])
        heights = bottom - tall * np.minimum(1.0, columns / most)
        painter.setPen(QPen(QColor(self._desk.theme.weak), 1))
        painter.drawPolyline(QPolygonF([QPointF(x, y) for x, y in zip(inside.tolist(), heights.tolist(), strict=True)]))

    def _draw_grid(self, painter: QPainter, grid: TempoMap) -> None:
        theme = self._desk.theme
        begin_s, end_s = (Fraction(each) for each in self._desk.span_s)
        style = Qt.PenStyle.DashLine if self._proposed else Qt.PenStyle.SolidLine
        bottom = self.height() - _MARKS_PX
        beat_px = self.width() / float(end_s - begin_s) * float(grid.stretches[0].beat_s)
        if beat_px >= _CLOSEST_PX:
            painter.setPen(QPen(QColor(theme.text), 1, style))
            self._lines(painter, (grid.seconds(b) for b in grid.grid(begin_s, end_s)), _NAMES_PX + 8, bottom)
        every = 1
        while beat_px * grid.beats_per_bar * every < 34:
            every *= 2
        bars = [(bar, grid.seconds(beat)) for bar, beat in islice(grid.bars(begin_s, end_s), _MOST) if bar % every == 0]
        painter.setPen(QPen(QColor(theme.text), 2, style))
        self._lines(painter, (at for _, at in bars), 0, bottom)
        for bar, at in bars:
            painter.drawText(QPointF(self.x_px(float(at)) + 4, _NAMES_PX - 4), str(bar + 1))

    def _draw_found(self, painter: QPainter) -> None:
        """Draw found beats as dots on a short line, and onsets as triangles below."""
        theme = self._desk.theme
        begin_s, end_s = self._desk.span_s
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        found = self._found_s[(self._found_s >= begin_s) & (self._found_s <= end_s)]
        colour = QColor(theme.tracks[1])
        top = _NAMES_PX + 4
        if len(found) and self.width() / len(found) >= _CLOSEST_PX:
            painter.setPen(QPen(colour, 2))
            self._lines(painter, found.tolist(), top, top + 18)
            painter.setBrush(colour)
            for at_s in found.tolist():
                painter.drawEllipse(QPointF(self.x_px(at_s), top), 3, 3)
        onsets = self._onsets_s[(self._onsets_s >= begin_s) & (self._onsets_s <= end_s)]
        if len(onsets) and self.width() / len(onsets) >= 2:
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(QColor(theme.tracks[0]))
            bottom = self.height() - 3
            for at_s in onsets.tolist():
                x = self.x_px(at_s)
                painter.drawPolygon(QPolygonF([QPointF(x, bottom - 9), QPointF(x - 4, bottom), QPointF(x + 4, bottom)]))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        painter.setBrush(Qt.BrushStyle.NoBrush)

    def _lines(self, painter: QPainter, at_s: Iterable[Fraction | float], top: float, bottom: float) -> None:
        for at in islice(at_s, _MOST):
            x = round(self.x_px(float(at))) + 0.5
            painter.drawLine(QLineF(x, top, x, bottom))
