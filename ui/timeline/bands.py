"""What lies above the lanes: the ruler, the markers and cues, and the playback's waveform.

It refuses to write one name over another.
"""

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from PyQt6.QtCore import QPointF, QRectF, Qt
from PyQt6.QtGui import QColor, QPainter, QPen, QPixmap, QPolygonF

from sequencer.music.waveform import Waveform
from ui.language import translate
from ui.timeline import ink
from ui.timeline.geometry import ROW_PX, Band, Layout
from ui.timeline.ink import Canvas
from ui.timeline.look import Look
from ui.timeline.ticks import Ticks

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Pixels = NDArray[np.uint32]

_FLAG_PX = 7.0
_LEAST_PX = 22.0  # for a name
_BEATS = 0.8  # how much of their colour covers the sound


def draw_ruler(painter: QPainter, look: Look, layout: Layout, ticks: Ticks) -> None:
    """Draw the lines of the ruler and what is written at them."""
    theme, end = look.theme, layout.ruler_px
    _ground(painter, look, QRectF(0, 0, layout.width_px, end))
    painter.setPen(ink.pen(theme.edge))
    ink.rule(painter, ink.upright(layout.across(np.array(ticks.finer_s)), end - 6, end - 1))
    labelled = layout.across(np.array([at_s for at_s, _ in ticks.labelled]))
    ink.rule(painter, ink.upright(labelled, end - 12, end - 1))
    for x, (_, words) in zip(labelled.tolist(), ticks.labelled, strict=True):
        if x + 4 + look.width_px(words) <= layout.width_px:
            label = ink.worded(words, look.small, theme.text, theme.panel, look.ratio)
            painter.drawPixmap(QPointF(round(x) + 4, 2), label)
    _line(painter, look, layout, end)


def draw_music(
    painter: QPainter,
    look: Look,
    layout: Layout,
    band: Band,
    markers: Sequence[tuple[float, str]],
    cues: Sequence[tuple[float, float, str]],
) -> None:
    """Draw the markers as flags and the cues as spans, each with its name. Unit: seconds from the project's start."""
    _ground(painter, look, QRectF(0, band.top_px, layout.width_px, band.height_px))
    painter.save()
    painter.setClipRect(QRectF(layout.left_px, band.top_px, layout.width_px - layout.left_px, band.height_px))
    top_px = band.top_px
    if markers:
        _markers(painter, look, layout, top_px, sorted(markers))
        top_px += ROW_PX
    if cues:
        _cues(painter, look, layout, top_px, cues)
    painter.restore()
    _row_names(painter, look, layout, band, bool(markers), bool(cues))
    _line(painter, look, layout, band.end_px)


def draw_wave(
    canvas: Canvas,
    look: Look,
    layout: Layout,
    band: Band,
    sound: tuple[Waveform | None, float, str],
    beats: tuple[Floats, Floats],
) -> None:
    """Draw the playback, the bars and the beats. `sound`: the waveform, the second at which it begins, and words."""
    theme, painter, ratio = look.theme, canvas.painter, look.ratio
    waveform, begin_s, words = sound
    name_px = QRectF(0, band.top_px, layout.left_px, band.height_px)
    _ground(painter, look, name_px, translate("timeline", "playback"))
    top, foot = round(band.top_px * ratio), round((band.end_px - 1) * ratio)
    there = canvas.pixels[top:foot, canvas.left : canvas.end]
    there[:] = ink.solid(theme.panel)
    canvas.pixels[foot : round(band.end_px * ratio), canvas.left : canvas.end] = ink.solid(theme.edge)
    if waveform is not None:
        _lay_sound(there, look, layout, waveform, begin_s, canvas.left)
    for places, first in ((beats[0], 0), (beats[1], round((band.height_px - 7) * ratio))):
        columns = _columns(places, ratio) - canvas.left
        columns = columns[(columns >= 0) & (columns < there.shape[1])]
        there[first:, columns] = ink.blended(there[first:, columns], theme.edge, _BEATS)
    if words:
        painter.setFont(look.small)
        wide_px = layout.width_px - layout.left_px - 20
        shown = look.shortened(words, wide_px)
        plate = QRectF(layout.left_px + 8, band.top_px + band.height_px / 2 - 10, look.width_px(shown) + 12, 20)
        painter.fillRect(plate, QColor(theme.panel))
        painter.setPen(ink.paint(theme.text))
        painter.drawText(plate, Qt.AlignmentFlag.AlignCenter, shown)
    _line(painter, look, layout, band.end_px)


def _lay_sound(there: Pixels, look: Look, layout: Layout, waveform: Waveform, begin_s: float, left: int) -> None:
    """Lay the sound into the pixels from column `left` of the screen on, each from its least to its largest sample."""
    height, width = there.shape
    edge_s = (left - layout.zero_px * look.ratio + np.arange(width + 1.0)) / (layout.px_a_s * look.ratio)
    edge_s -= begin_s
    low, high = waveform.columns(edge_s)
    half = (height - 1) / 2
    top, end = np.round(half - high * (half - look.ratio)), np.round(half - low * (half - look.ratio))
    end[(edge_s[1:] <= 0) | (edge_s[:-1] >= waveform.lasts_s)] = -1
    ink.fill_columns(there, top, end, height, look.theme.wave)


def _columns(places_px: Floats, ratio: float) -> Ints:
    """Return the columns of the screen in which upright lines at these places are."""
    first = ink.nearest(ink.nearest(places_px) * ratio).astype(np.int64)
    made: Ints = (first[:, None] + np.arange(max(1, round(ratio)))).ravel()
    return made


def _ground(painter: QPainter, look: Look, area: QRectF, name: str = "") -> None:
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
    painter.fillRect(area, QColor(look.theme.panel))
    if name:
        words = ink.worded(name, look.small, look.theme.weak, look.theme.panel, look.ratio)
        painter.drawPixmap(QPointF(12, area.top() + 5), words)


def _row_names(painter: QPainter, look: Look, layout: Layout, band: Band, markers: bool, cues: bool) -> None:
    top_px = band.top_px
    for there, name in ((markers, translate("timeline", "markers")), (cues, translate("timeline", "cues"))):
        if there:
            words = ink.worded(name, look.small, look.theme.weak, look.theme.panel, look.ratio)
            painter.drawPixmap(QPointF(12, top_px + 4), words)
            top_px += ROW_PX


def _line(painter: QPainter, look: Look, layout: Layout, end_px: float) -> None:
    painter.fillRect(QRectF(0, end_px - 1, layout.width_px, 1), QColor(look.theme.edge))


def _markers(
    painter: QPainter, look: Look, layout: Layout, top_px: float, markers: Sequence[tuple[float, str]]
) -> None:
    theme = look.theme
    places = layout.across(np.array([at_s for at_s, _ in markers]))
    nexts = np.append(places[1:], layout.width_px)
    shown = np.flatnonzero((places >= layout.left_px - 400) & (places <= layout.width_px)).tolist()
    flag = _flag(theme.text, look.ratio)
    for number in shown:
        x, name = float(places[number]), markers[number][1]
        painter.drawPixmap(QPointF(round(x), top_px + 3), flag)
        room_px = min(float(nexts[number]), layout.width_px) - x - _FLAG_PX - 8
        if room_px >= _LEAST_PX:
            words = ink.worded(_short(look, name, room_px), look.small, theme.text, theme.panel, look.ratio)
            painter.drawPixmap(QPointF(round(x) + _FLAG_PX + 4, top_px + 3), words)


@lru_cache(maxsize=8)
def _flag(colour: str, ratio: float) -> QPixmap:
    """Return the picture of a marker's flag."""
    flag = QPixmap(round((_FLAG_PX + 1) * ratio), round((ROW_PX - 3) * ratio))
    flag.setDevicePixelRatio(ratio)
    flag.fill(Qt.GlobalColor.transparent)
    painter = QPainter(flag)
    painter.fillRect(QRectF(0, 0, 1, ROW_PX - 3), ink.paint(colour))
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(ink.paint(colour))
    painter.drawPolygon(QPolygonF([QPointF(0, 0), QPointF(_FLAG_PX, 4), QPointF(0, 8)]))
    painter.end()
    return flag


def _cues(
    painter: QPainter, look: Look, layout: Layout, top_px: float, cues: Sequence[tuple[float, float, str]]
) -> None:
    theme = look.theme
    painter.setFont(look.small)
    for begin_s, end_s, name in cues:
        from_px, to_px = round(layout.x(begin_s)), round(layout.x(end_s))
        if to_px < layout.left_px or from_px > layout.width_px:
            continue
        span = QRectF(from_px, top_px + 2, max(2, to_px - from_px), ROW_PX - 6)
        painter.fillRect(span, QColor(theme.raised))
        painter.setPen(QPen(QColor(theme.edge), 1))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRect(span.adjusted(0, 0, -1, -1))
        begin_px = max(from_px, layout.left_px) + 6
        room_px = min(to_px, layout.width_px) - begin_px - 4
        if room_px >= _LEAST_PX:
            words = ink.worded(_short(look, name, room_px), look.small, theme.text, theme.raised, look.ratio)
            painter.drawPixmap(QPointF(begin_px, top_px + 3), words)


def _short(look: Look, name: str, room_px: float) -> str:
    return name if look.width_px(name) <= room_px else look.shortened(name, room_px)
