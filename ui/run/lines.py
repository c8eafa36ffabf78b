"""Words that are broken into lines and have their room. It says nothing by itself."""

from PyQt6.QtGui import QResizeEvent
from PyQt6.QtWidgets import QWidget

from ui.label import Label


class Lines(Label):
    """Words that are broken into lines, each of which has its room: a layout that is squeezed does not ask anew.

    Not so where they are `cramped`: what is held comes first.
    """

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.cramped = False
        self.setWordWrap(True)

    def setText(self, words: str | None) -> None:
        super().setText(words)
        self._fit()

    def resizeEvent(self, event: QResizeEvent | None) -> None:
        super().resizeEvent(event)
        self._fit()

    def _fit(self) -> None:
        self.setMinimumHeight(0 if self.cramped else max(0, self.heightForWidth(self.width())))
