"""Where the parts of the music panel stand: find, look, mend, put, snap, from top to bottom. It does nothing."""

from typing import TYPE_CHECKING

from PyQt6.QtWidgets import QFrame, QHBoxLayout, QLabel, QLayout, QVBoxLayout, QWidget

from ui.label import Label
from ui.language import translate
from ui.theme import GAP_PX

if TYPE_CHECKING:
    from ui.panels.music import MusicPanel


def laid_out(panel: "MusicPanel") -> QWidget:
    """Return one widget with all parts of the panel in it."""
    for label in (panel.said, panel.quality):
        label.setWordWrap(True)
    inside = QWidget()
    column = QVBoxLayout(inside)
    column.setContentsMargins(GAP_PX, GAP_PX, GAP_PX, GAP_PX)
    column.setSpacing(GAP_PX)
    column.addLayout(_row(panel.listen, panel.cancel, None))
    column.addWidget(panel.said)
    column.addWidget(panel.strip)
    column.addWidget(panel.quality)
    column.addWidget(panel.steps)
    column.addLayout(_row(panel.put, panel.leave, None))
    column.addWidget(_rule())
    column.addWidget(panel.tempo)
    column.addLayout(_row(panel.double, panel.halve, panel.near, None))
    column.addWidget(panel.others)
    column.addLayout(_row(panel.tap, None))
    column.addLayout(_row(panel.one, panel.onto_beat, None))
    column.addLayout(
        _row(_named(translate("music", "All beats"), panel.earlier), panel.earlier, panel.later, panel.half, None)
    )
    column.addLayout(_row(_named(translate("music", "Beats in a bar"), panel.metre), panel.metre, None))
    column.addLayout(_row(_named(translate("music", "Onsets from"), panel.threshold), panel.threshold, panel.counted))
    column.addWidget(_rule())
    column.addWidget(panel.snap)
    column.addStretch(1)
    return inside


def _row(*parts: QWidget | None) -> QLayout:
    row = QHBoxLayout()
    row.setSpacing(GAP_PX)
    for part in parts:
        if part is None:
            row.addStretch(1)
        else:
            row.addWidget(part)
    return row


def _named(words: str, widget: QWidget) -> QLabel:
    label = Label(words)
    label.setBuddy(widget)
    return label


def _rule() -> QFrame:
    line = QFrame()
    line.setFrameShape(QFrame.Shape.HLine)
    return line
