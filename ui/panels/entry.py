"""A field with its label, and below it why what was typed is refused. It refuses to be changed by the wheel."""

from collections.abc import Callable

from PyQt6.QtCore import Qt, pyqtSignal
from PyQt6.QtGui import QFocusEvent
from PyQt6.QtWidgets import QHBoxLayout, QLineEdit, QVBoxLayout, QWidget

from ui.desk import Desk, Note
from ui.label import Label, tip
from ui.language import translate
from ui.panels.typed import Mistyped


class Line(QLineEdit):
    """Text that is chosen as a whole when the keyboard comes, so that typing replaces it."""

    def focusInEvent(self, event: QFocusEvent | None) -> None:
        super().focusInEvent(event)
        if event is not None and event.reason() != Qt.FocusReason.MouseFocusReason:
            self.selectAll()


class Entry(QWidget):
    """One number or instant. `entered`: the operator typed something else and ended it, by enter or by going on."""

    entered = pyqtSignal(str)

    def __init__(self, name: str, hint: str = "") -> None:
        super().__init__()
        self.line = Line()
        self.line.setAccessibleName(name)
        self.line.setToolTip(tip(hint))
        self.said = Label()
        self.said.setWordWrap(True)
        self.said.hide()
        label = Label(name)
        label.setBuddy(self.line)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(2)
        self._row = QHBoxLayout()
        self._row.addWidget(self.line, 1)
        column.addWidget(label)
        column.addLayout(self._row)
        column.addWidget(self.said)
        self._shown = ""
        self.line.editingFinished.connect(self._end)

    @property
    def text(self) -> str:
        return self.line.text()

    def stand_beside(self, widget: QWidget) -> None:
        """Put what belongs to the field beside it."""
        self._row.addWidget(widget)

    def show_text(self, text: str, otherwise: str = "") -> None:
        """Show `text`, unless something else is being typed; `otherwise` stands there weakly where there is none."""
        self.line.setPlaceholderText(otherwise)
        typing = self.line.hasFocus() and self.line.isModified()
        if not typing and (text != self._shown or self.line.text() != text):
            self.line.setText(text)
            self.say("")
        self._shown = text

    def forget(self) -> None:
        """Let what is being typed be, since it was meant for something else; the next text is shown in its place."""
        self.line.setModified(False)

    def say(self, words: str) -> None:
        """Say why what was typed is refused; with no words, that it is not."""
        self.said.setText(words)
        self.said.setVisible(bool(words))
        self.line.setAccessibleDescription(words)

    def answer(self, words: str) -> None:
        """Say what came of what was typed: refused, or done and shown anew."""
        self.say(words)
        if not words:
            self.line.setModified(False)
            self.line.setText(self._shown)

    def _end(self) -> None:
        if self.line.isModified() and self.line.text() != self._shown:
            self.entered.emit(self.line.text())
        elif self.line.text() == self._shown:
            self.line.setModified(False)
            self.say("")


def refusal(desk: Desk, act: Callable[[], object]) -> str:
    """Do an act; return why it was refused, in words, or nothing."""
    notes: list[Note] = []
    desk.noted.connect(notes.append)
    try:
        act()
    except Mistyped as fault:
        return translate("typed", fault.words).format(**fault.values)
    except ValueError as fault:
        return str(fault)
    finally:
        desk.noted.disconnect(notes.append)
    return next((note.words for note in notes if note.weight == "refused"), "")
