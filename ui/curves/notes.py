"""The words that stand on the curves: limits, peaks that break them, and jumps, each where there is room for it.

It refuses to write one over another: what comes first keeps its place.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from PyQt6.QtCore import QRectF, Qt
from PyQt6.QtGui import QColor, QFontMetrics, QPainter, QRegion

from sequencer.motion.peaks import Asked, number, unit_of
from sequencer.rig.axis import Axis
from ui.curves.geometry import JUMPING, OF, Floats, Ints, Over, Strip
from ui.language import translate
from ui.theme import LEFT_PX, Theme

MOST = 6  # in one strip
_ROOM_PX = 4
_HEAD_PX = 5.0  # half of a jump's arrow
_LABEL_PX = 160  # from a jump that is named to the next one


@dataclass(frozen=True, slots=True)
class Note:
    """Words in a box; `loud` ones stand on the colour of what is over."""

    box: QRectF
    words: str
    loud: bool


@dataclass(frozen=True, slots=True)
class Page:
    """What words are written into: pixels from the left edge, and how large letters are."""

    wide_px: int
    metrics: QFontMetrics


def notes(page: Page, axis: Axis, strip: Strip, broken: list[Over], jumps: tuple[Floats, Ints]) -> list[Note]:
    """Return the words of one strip; a jump is where it is drawn, in pixels from the left edge, and what jumps."""
    limit = (axis.speed, axis.acceleration, axis.jerk)[strip.number]
    unit = unit_of(axis.unit, OF[strip.number])
    taken = [_limit(page, strip, limit, unit)]
    last = -np.inf
    for at_px, jumping in zip(*(each.tolist() for each in jumps), strict=True):
        if len(taken) <= MOST and at_px >= last:
            _write(page, _jump(jumping), at_px - _HEAD_PX, strip.y_of(0.0) + 2, taken)
            last = at_px + _LABEL_PX
    for run in broken:
        size = abs(run.value)
        pair = number(size, 3), number(limit, 3)
        if pair[0] == pair[1]:
            pair = Asked(of=OF[strip.number], at_s=0.0, value=size, limit=limit, excess=0.0).numbers()
        words = translate("curves", "{asked} {unit}, limit {limit}").format(asked=pair[0], unit=unit, limit=pair[1])
        below = strip.top_px + strip.height_px - page.metrics.height() - 3
        _write(page, words, LEFT_PX + run.last + 4, min(max(strip.y_of(run.value), strip.top_px + 2), below), taken)
    return taken


def _limit(page: Page, strip: Strip, limit: float, unit: str) -> Note:
    """Return the limit at the right end of its line."""
    words = translate("curves", "limit ±{limit} {unit}").format(limit=number(limit, 3), unit=unit)
    wide, high = page.metrics.horizontalAdvance(words) + 2 * _ROOM_PX, page.metrics.height()
    y = min(max(strip.y_of(limit) + 1, strip.top_px + 1), strip.top_px + strip.height_px - high)
    return Note(QRectF(page.wide_px - wide - 2, y, wide, high), words, loud=False)


def _jump(what: int) -> str:
    words = {
        "position": translate("curves", "infinite: position jumps"),
        "speed": translate("curves", "infinite: speed jumps"),
        "acceleration": translate("curves", "infinite: acceleration jumps"),
    }
    return words[JUMPING[what]]


def _write(page: Page, words: str, x: float, y: float, taken: list[Note]) -> None:
    """Take a place, unless something else is written there."""
    wide = page.metrics.horizontalAdvance(words) + 2 * _ROOM_PX
    box = QRectF(min(x, page.wide_px - wide - 1), y, wide, page.metrics.height())
    if box.left() >= LEFT_PX and not any(box.intersects(other.box) for other in taken):
        taken.append(Note(box, words, loud=True))


def draw(painter: QPainter, theme: Theme, written: Iterable[Note], where: QRegion) -> None:
    """Write what lies in a part of the picture."""
    for note in written:
        box = note.box
        if not where.intersects(box.toAlignedRect().adjusted(-1, -1, 1, 1)):
            continue
        if note.loud:
            painter.fillRect(box.adjusted(-1, -1, 1, 1), QColor(theme.over_text))
        painter.fillRect(box, QColor(theme.over if note.loud else theme.ground))
        painter.setPen(QColor(theme.over_text if note.loud else theme.weak))
        painter.drawText(box, Qt.AlignmentFlag.AlignCenter, note.words)
