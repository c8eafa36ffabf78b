"""Colours and sizes: a theme for a dark stage and one for bright sun, the same set of track colours in both.

It refuses to let colour alone mean anything: each track colour comes with a shape of its keys, each state with a word.

Source: tracks after the colour-blind-safe set of Okabe and Ito, darkened for a white ground where contrast asks for it;
contrast as in WCAG 2.2 (relative luminance); what red, yellow, black and white may mean: IEC 60204-1, 10.3 (from
memory). Sizes: 22 minutes of arc for what is read from afar is common practice, no source.
"""

from dataclasses import dataclass
from math import radians, tan
from typing import Literal

Mark = Literal["square", "diamond", "circle", "up", "down", "hexagon", "cross"]
MARKS: tuple[Mark, ...] = ("square", "diamond", "circle", "up", "down", "hexagon", "cross")
_ARCMIN = 1 / 60
_DOTS_A_M = 96 / 0.0254  # what a screen counts as its own pixels, whatever it has
_CAPITAL = 0.72  # of a font's size
GAP_PX = 8
LEFT_PX = 120  # of the timeline and of the curves below it, for names and scales
TARGET_PX = 32  # of a control in the face for preparing
BIG_TARGET_PX = 64  # in the face for running
STOP_PX = (176, 72)
TEXT_PX = 15
STATE_PX = 18  # at least, for whatever matters while the rig moves


@dataclass(frozen=True, slots=True, kw_only=True)
class Theme:
    """Colours as `#rrggbb`.

    `ground` lies under curves, `panel` under everything else, `raised` under what can be pressed; `strip` and
    `strip_text` are the strip that is always in sight. `text` is read, `weak` as well; `rule` are lines that help the
    eye, `edge` those that bound something. `wave` is the playback. `chosen` marks keys and rows, `focus` where the
    keyboard is, `playhead` the instant. `over` is a limit that is broken (`over_text` stands on it), `fault` a hazard.
    """

    name: str
    ground: str
    panel: str
    raised: str
    strip: str
    strip_text: str
    text: str
    weak: str
    rule: str
    edge: str
    wave: str
    chosen: str
    focus: str
    playhead: str
    over: str
    over_text: str
    armed: str
    armed_text: str
    fault: str
    fault_text: str
    tracks: tuple[str, ...]
    line_px: float

    def track(self, number: int) -> tuple[str, Mark]:
        """Return the colour of the axis with this place in the rig, and the shape of its keys."""
        return self.tracks[number % len(self.tracks)], MARKS[number % len(MARKS)]


DARK = Theme(
    name="dark",
    ground="#1b1b1b",
    panel="#242424",
    raised="#363636",
    strip="#000000",
    strip_text="#ffffff",
    text="#ffffff",
    weak="#c8c8c8",
    rule="#3c3c3c",
    edge="#8c8c8c",
    wave="#5a6470",
    chosen="#ffffff",
    focus="#7fd0ff",
    playhead="#ffffff",
    over="#ffd23c",
    over_text="#000000",
    armed="#ffd23c",
    armed_text="#000000",
    fault="#b00020",
    fault_text="#ffffff",
    tracks=("#E69F00", "#56B4E9", "#009E73", "#F0E442", "#4C9BD6", "#D55E00", "#CC79A7"),
    line_px=1.5,
)

SUN = Theme(
    name="sun",
    ground="#ffffff",
    panel="#ffffff",
    raised="#ffffff",
    strip="#ffffff",
    strip_text="#000000",
    text="#000000",
    weak="#000000",
    rule="#b4b4b4",
    edge="#000000",
    wave="#9a9a9a",
    chosen="#000000",
    focus="#003d8f",
    playhead="#000000",
    over="#ffd23c",
    over_text="#000000",
    armed="#ffd23c",
    armed_text="#000000",
    fault="#a00018",
    fault_text="#ffffff",
    tracks=("#8a5a00", "#1c6ea4", "#00664a", "#6b6400", "#0b4f8a", "#9c3f00", "#8d3d69"),
    line_px=2.0,
)

THEMES = {theme.name: theme for theme in (DARK, SUN)}


def luminance(colour: str) -> float:
    """Return the relative luminance of a colour. Source: WCAG 2.2, definition of relative luminance."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Return the contrast of two colours, from 1 to 21. Source: WCAG 2.2, definition of contrast ratio."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def font_px(minutes: float, distance_m: float) -> int:
    """Return the font size whose capitals are `minutes` of arc tall from `distance_m` away."""
    return round(2 * distance_m * tan(radians(minutes * _ARCMIN) / 2) * _DOTS_A_M / _CAPITAL)


def style(theme: Theme) -> str:
    """Return the style sheet of the whole window."""
    return f"""
    * {{ font-size: {TEXT_PX}px; color: {theme.text}; }}
    QWidget {{ background: {theme.panel}; }}
    QPushButton, QToolButton, QComboBox {{ background: {theme.raised}; border: 1px solid {theme.edge};
        border-radius: 4px; padding: 4px 10px; min-height: {TARGET_PX - 10}px; }}
    QPushButton:focus, QToolButton:focus, QComboBox:focus, QLineEdit:focus, QAbstractSpinBox:focus,
        QAbstractItemView:focus, QPlainTextEdit:focus, QCheckBox:focus, QTabBar::tab:focus, QSlider:focus
        {{ border: 2px solid {theme.focus}; }}
    QPushButton:pressed, QToolButton:pressed, QPushButton:checked, QToolButton:checked
        {{ background: {theme.text}; color: {theme.panel}; }}
    QPushButton:disabled, QToolButton:disabled {{ border-style: dashed; }}
    QLineEdit, QAbstractSpinBox, QPlainTextEdit {{ background: {theme.ground}; border: 1px solid {theme.edge};
        border-radius: 3px; padding: 3px 6px; min-height: {TARGET_PX - 10}px;
        selection-background-color: {theme.text}; selection-color: {theme.panel};
        placeholder-text-color: {theme.weak}; }}
    QAbstractItemView {{ background: {theme.ground}; border: 1px solid {theme.edge}; alternate-background-color:
        {theme.panel}; selection-background-color: {theme.text}; selection-color: {theme.panel};
        gridline-color: {theme.rule}; }}
    QHeaderView::section {{ background: {theme.raised}; border: 0; border-bottom: 1px solid {theme.edge};
        padding: 4px 8px; }}
    QTabWidget::pane {{ border-top: 1px solid {theme.edge}; }}
    QTabBar::tab {{ background: {theme.panel}; padding: 6px 14px; border: 1px solid {theme.rule};
        min-height: {TARGET_PX - 14}px; }}
    QTabBar::tab:selected {{ background: {theme.raised}; border: 1px solid {theme.edge};
        border-bottom: 3px solid {theme.text}; }}
    QMenu {{ border: 1px solid {theme.edge}; }}
    QMenu::item {{ padding: 6px 24px; }}
    QMenu::item:selected {{ background: {theme.text}; color: {theme.panel}; }}
    QToolTip {{ background: {theme.panel}; color: {theme.text}; border: 1px solid {theme.edge}; }}
    QCheckBox::indicator, QAbstractItemView::indicator {{ width: 16px; height: 16px; border: 2px solid {theme.edge};
        background: {theme.ground}; }}
    QCheckBox::indicator:checked, QAbstractItemView::indicator:checked {{ width: 12px; height: 12px;
        border: 4px solid {theme.ground}; background: {theme.text}; }}
    QProgressBar {{ background: {theme.ground}; border: 1px solid {theme.edge}; border-radius: 3px;
        text-align: center; }}
    QProgressBar::chunk {{ background: {theme.wave}; }}
    QSplitter::handle {{ background: {theme.rule}; }}
    """
