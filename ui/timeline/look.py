"""How the timeline looks now: the theme's colours, the fonts, the pixels of the screen, and what is in motion.

It refuses to draw.
"""

from dataclasses import dataclass, field
from functools import lru_cache

from PyQt6.QtCore import Qt
from PyQt6.QtGui import QFont, QFontMetricsF

from ui.theme import TEXT_PX, Theme

SMALL_PX = 12


@lru_cache(maxsize=8)
def _font(size_px: int, bold: bool = False) -> QFont:
    font = QFont()
    font.setPixelSize(size_px)
    font.setBold(bold)
    return font


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Look:
    """The curves of axes in motion, `thin`, are a pixel wide: a frame is worth more than a fine stroke then."""

    theme: Theme
    ratio: float = 1.0
    thin: frozenset[str] = frozenset()
    small: QFont = field(default_factory=lambda: _font(SMALL_PX))
    name: QFont = field(default_factory=lambda: _font(TEXT_PX - 1))
    strong: QFont = field(default_factory=lambda: _font(TEXT_PX - 1, bold=True))

    def shortened(self, words: str, room_px: float) -> str:
        """Return as much of small words as there is room for."""
        return _metrics().elidedText(words, Qt.TextElideMode.ElideRight, room_px)

    def width_px(self, words: str) -> float:
        """Return how wide small words are."""
        return _width_px(words)


@lru_cache(maxsize=1)
def _metrics() -> QFontMetricsF:
    return QFontMetricsF(_font(SMALL_PX))


@lru_cache(maxsize=4096)
def _width_px(words: str) -> float:
    return _metrics().horizontalAdvance(words)
