"""What the engine told of the outputs, where the rig is armed: how many, what ends how, and the whole at a press.

It only shows what was said.
"""

from PyQt6.QtCore import QSize
from PyQt6.QtGui import QTextCursor
from PyQt6.QtWidgets import QPlainTextEdit, QPushButton, QWidget

from ui.label import Label, tip
from ui.language import translate
from ui.link.outputs import Outputs

_LEAST_PX = 60


class OutputsTold:
    """Three parts for whoever lays them out: a button, a few words, and the whole, which is read in the log's place."""

    def __init__(self, outputs: Outputs, parent: QWidget) -> None:
        self._outputs = outputs
        self.button = NarrowButton(parent)
        self.button.setCheckable(True)
        self.button.setAutoDefault(False)
        self.brief = Label(parent)
        self.brief.setWordWrap(True)
        self.whole = QPlainTextEdit(parent)
        self.whole.setReadOnly(True)
        self.whole.setTabChangesFocus(True)
        self.whole.setAccessibleName(translate("run", "What the outputs do"))
        for part in (self.button, self.brief, self.whole):
            part.hide()

    @property
    def read(self) -> bool:
        """Whether the whole is asked for."""
        return bool(self._outputs.whole) and self.button.isChecked()

    def show(self, *, brief: bool, busy: bool) -> None:
        """Show what was told, `brief` the few words too. Armed or moving it is `busy`: nobody reads the whole."""
        outputs = self._outputs
        if busy:
            self.button.setChecked(False)
        words = "\n\n".join(outputs.whole)
        if words != self.whole.toPlainText():
            self.whole.setPlainText(words)
        self.button.setText(outputs.number)
        self.button.setAccessibleName(outputs.number)
        self.button.setAccessibleDescription(outputs.brief)
        self.button.setToolTip(tip(words))
        self.button.setEnabled(not busy)
        self.button.setVisible(bool(words))
        self.brief.setText(outputs.brief)
        self.brief.setVisible(bool(words) and brief)
        if self.read and self.whole.isHidden():
            self.whole.moveCursor(QTextCursor.MoveOperation.Start)
        self.whole.setVisible(self.read)


class NarrowButton(QPushButton):
    """A button that may be narrower than its words."""

    def minimumSizeHint(self) -> QSize:
        return QSize(_LEAST_PX, super().minimumSizeHint().height())
