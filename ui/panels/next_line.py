"""The line along the bottom: what was just done or refused, and what the next press will do. It refuses to be long."""

from PyQt6.QtCore import Qt, QTimer
from PyQt6.QtWidgets import QHBoxLayout, QWidget

from ui.desk import Desk, Note
from ui.label import Label
from ui.language import translate
from ui.theme import GAP_PX, STATE_PX

_SHOWN_MS = 12_000  # a refusal stays until the next note or edit


class NextLine(QWidget):
    """Two sentences: the newest note at the left, what comes next at the right."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self.note, self.next = Label(), Label()
        self.note.setAccessibleName(translate("next", "What was done or refused"))
        self.next.setAccessibleName(translate("next", "What comes next"))
        self.note.setWordWrap(True)
        self.next.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        row = QHBoxLayout(self)
        row.setContentsMargins(GAP_PX, GAP_PX // 2, GAP_PX, GAP_PX // 2)
        row.addWidget(self.note, 1)
        row.addWidget(self.next)
        self._weight = "told"
        self._working = ""
        self._fade = QTimer(self)
        self._fade.setSingleShot(True)
        self._fade.timeout.connect(self._fade_out)  # a bare function would be called even when this is gone
        desk.noted.connect(self._show)
        desk.preferred.connect(self._dress)
        desk.changed.connect(self._forget)
        desk.changed.connect(self._coming)
        desk.selected.connect(self._coming)
        desk.faced.connect(self._coming)
        desk.opened.connect(self._coming)
        self._dress()
        self._coming()

    def busy(self, words: str) -> None:
        """Say what is being done in place of what comes next, until it is called with nothing."""
        self._working = words
        self._coming()

    def _fade_out(self) -> None:
        self._show(Note(""))

    def _show(self, note: Note) -> None:
        self._weight = note.weight
        sign = translate("next", "Refused: ") if note.weight == "refused" else ""
        self.note.setText(sign + note.words)
        self._dress()
        self._fade.stop()
        if note.weight != "refused" and note.words:
            self._fade.start(_SHOWN_MS)

    def _forget(self) -> None:
        """Let a refusal go once something else was done."""
        if self._weight == "refused":
            self._show(Note(""))

    def _dress(self) -> None:
        theme = self._desk.theme
        ground, text = (theme.over, theme.over_text) if self._weight == "refused" else (theme.panel, theme.text)
        self.note.setStyleSheet(f"background: {ground}; color: {text}; font-size: {STATE_PX}px; padding: 2px 6px;")
        self.next.setStyleSheet(f"font-size: {STATE_PX}px;")

    def _coming(self) -> None:
        self.next.setText(self._working or _coming(self._desk))


def _coming(desk: Desk) -> str:
    """Say what the next press does, as far as the document knows."""
    if desk.face == "run":
        return desk.locked  # the run panel says the rest
    count = sum(len(numbers) for numbers in desk.selection.values())
    if count:
        return translate("next", "{count} chosen: arrows choose, Ctrl+arrows move, Delete removes").format(count=count)
    steps = desk.history.past
    if steps:
        return translate("next", "Ctrl+Z undoes: {words}").format(words=steps[-1].words)
    if desk.folder is None:
        return translate("next", "open a project, or begin a new one")
    return translate("next", "double click adds a key")
