"""What the keyboard and the mouse do in the timeline, and the cautions, as a page inside the window.

It refuses to repeat the table of strokes: it reads it.
"""

from PyQt6.QtCore import QKeyCombination, Qt, pyqtSignal
from PyQt6.QtGui import QKeyEvent, QKeySequence
from PyQt6.QtWidgets import QGridLayout, QPushButton, QScrollArea, QStackedWidget, QVBoxLayout, QWidget

from ui.actions import Topic
from ui.acts.cautions import cautions
from ui.acts.strokes import Row, groups
from ui.desk import Desk
from ui.label import Label
from ui.language import translate
from ui.panels.fields import Heading
from ui.theme import GAP_PX, STATE_PX

_WIDE_PX = 900


class HelpPage(QWidget):
    """Shown in the place of the project until it is left. `active`: whether it is; show or hide the page by it."""

    active = pyqtSignal(bool)

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self.setAccessibleName(translate("help", "Help"))
        self.back = QPushButton(translate("help", "Back to the project"))
        self.back.setAccessibleName(self.back.text())
        self.back.setAutoDefault(False)
        self.back.clicked.connect(self.leave)
        self.topics = QStackedWidget()
        self._pages: dict[Topic, QScrollArea] = {
            "keys": _scrolled(_strokes(), translate("help", "Keys of the timeline")),
            "cautions": _scrolled(_cautions(), translate("help", "Cautions")),
        }
        for page in self._pages.values():
            self.topics.addWidget(page)
        lines = QVBoxLayout(self)
        lines.setContentsMargins(2 * GAP_PX, GAP_PX, 2 * GAP_PX, GAP_PX)
        lines.addWidget(self.topics, 1)
        lines.addWidget(self.back, 0, Qt.AlignmentFlag.AlignLeft)
        desk.opened.connect(self.leave)

    def tell(self, topic: Topic) -> None:
        """Show one topic."""
        page = self._pages[topic]
        self.topics.setCurrentWidget(page)
        self.active.emit(True)
        page.setFocus(Qt.FocusReason.OtherFocusReason)

    def leave(self) -> None:
        """Go back to what was shown before."""
        self.active.emit(False)

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        if event is not None and event.key() == Qt.Key.Key_Escape:
            self.leave()
        else:
            super().keyPressEvent(event)


def spoken(row: Row) -> str:
    """Return the strokes of a row as they stand on the keyboard: `Ctrl+Left, Ctrl+Right`."""
    texts = [
        QKeySequence(QKeyCombination(stroke.held, stroke.key)).toString(QKeySequence.SequenceFormat.NativeText)
        for stroke in row.strokes
    ]
    return ", ".join(texts)


def _strokes() -> QWidget:
    table = QWidget()
    grid = QGridLayout(table)
    grid.setHorizontalSpacing(4 * GAP_PX)
    grid.setVerticalSpacing(GAP_PX // 2)
    grid.setColumnStretch(1, 1)
    _group(grid, translate("help", "Mouse and touchpad"), _gestures())
    for group in groups():
        _group(grid, group.name, [(spoken(row), row.words) for row in group.rows])
    words = translate("help", "Escape ends a drag; while the rig is armed or moves, Escape and space stop it.")
    _group(grid, translate("help", "Anywhere"), [("Escape", words)])
    grid.setRowStretch(grid.rowCount(), 1)
    return table


def _group(grid: QGridLayout, name: str, rows: list[tuple[str, str]]) -> None:
    grid.addWidget(Heading(name), grid.rowCount(), 0, 1, 2)
    for strokes, words in rows:
        place = grid.rowCount()
        grid.addWidget(Label(strokes), place, 0, Qt.AlignmentFlag.AlignTop)
        label = Label(words)
        label.setWordWrap(True)
        grid.addWidget(label, place, 1)


def _gestures() -> list[tuple[str, str]]:
    return [
        (translate("help", "click, Ctrl+click, Shift+click"), translate("help", "choose a key, one more, up to here")),
        (translate("help", "double click"), translate("help", "add a key; on a key, type its numbers")),
        (translate("help", "drag a key"), translate("help", "move what is chosen; with Shift in one direction only")),
        (translate("help", "drag with Ctrl or Alt"), translate("help", "without snapping")),
        (translate("help", "drag over the lanes"), translate("help", "choose the keys in a box")),
        (translate("help", "drag a marker or the end of a cue"), translate("help", "put it elsewhere")),
        (translate("help", "press or drag above the lanes"), translate("help", "put the playhead there")),
        (translate("help", "drag with the middle button"), translate("help", "move what is in sight")),
        (translate("help", "wheel"), translate("help", "earlier or later; with Ctrl zoom, with Shift down the lanes")),
    ]


def _cautions() -> QWidget:
    page = QWidget()
    lines = QVBoxLayout(page)
    words = Label(cautions())
    words.setWordWrap(True)
    words.setStyleSheet(f"font-size: {STATE_PX}px;")
    lines.addWidget(Heading(translate("help", "Cautions")))
    lines.addWidget(words)
    lines.addStretch(1)
    return page


def _scrolled(page: QWidget, name: str) -> QScrollArea:
    page.setMaximumWidth(_WIDE_PX)
    area = QScrollArea()
    area.setAccessibleName(name)
    area.setWidget(page)
    area.setWidgetResizable(True)
    area.setFrameShape(QScrollArea.Shape.NoFrame)
    return area
