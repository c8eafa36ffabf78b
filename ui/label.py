"""Words on the screen as words: what is shown comes from files, devices and networks, and none of it is markup.

Qt guesses: a name like `<img src=...>` would be drawn, from a file or a share of the network that it names.
"""

from html import escape
from typing import Any

from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QLabel


class Label(QLabel):
    """A label in which nothing is markup."""

    def __init__(self, *given: Any) -> None:
        super().__init__(*given)
        self.setTextFormat(Qt.TextFormat.PlainText)


def tip(words: str) -> str:
    """Return words for a tool tip, which has no format of its own to be set, such that none of them is markup."""
    drawn = Qt.mightBeRichText(words)  # type: ignore[attr-defined]  # PyQt has it, and its types do not
    return f"<p style='white-space:pre-wrap'>{escape(words)}</p>" if drawn else words
