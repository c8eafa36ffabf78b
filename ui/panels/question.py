"""Questions as a bar below the strip: what is asked, and a button for each answer. Several wait for each other.

It refuses to stand in the way: it covers nothing, takes the keyboard from nobody, and Escape gives the answer that
harms nothing.
"""

from PyQt6.QtCore import Qt
from PyQt6.QtGui import QKeyEvent
from PyQt6.QtWidgets import QFrame, QHBoxLayout, QPushButton, QSizePolicy, QWidget

from ui.acts.asking import Ask, Choice
from ui.desk import Desk
from ui.label import Label
from ui.language import translate
from ui.theme import GAP_PX


class QuestionBar(QFrame):
    """Shows the first question that waits; hidden where none does."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self._asks: list[Ask] = []
        self.setObjectName("question")
        self.setAccessibleName(translate("question", "Question"))
        self._row = QHBoxLayout(self)
        self._row.setContentsMargins(2 * GAP_PX, GAP_PX, 2 * GAP_PX, GAP_PX)
        self._row.setSpacing(GAP_PX)
        self.words = Label()
        self.words.setWordWrap(True)
        self.words.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)
        self._more = Label()
        self._row.addWidget(self.words, 1)
        self._row.addWidget(self._more)
        self.buttons: list[QPushButton] = []
        desk.opened.connect(self.dismiss)
        desk.preferred.connect(self._dress)
        self._dress()
        self.hide()

    @property
    def asks(self) -> tuple[Ask, ...]:
        """The questions that wait, the one that is shown first."""
        return tuple(self._asks)

    def ask(self, ask: Ask) -> None:
        """Ask, now or when the others are answered; one about the same takes the place of the other."""
        for place, other in enumerate(self._asks):
            if ask.about and other.about == ask.about:
                self._asks[place] = ask
                self._show()
                other.harmless.do()
                return
        self._asks.append(ask)
        self._show()

    def reach(self) -> None:
        """Put the keyboard on the harmless answer."""
        if self.buttons:
            self.buttons[-1].setFocus(Qt.FocusReason.ShortcutFocusReason)

    def dismiss(self) -> None:
        """Give every question that waits its harmless answer: they were about another project."""
        while self._asks:
            self._answer(self._asks[0], self._asks[0].harmless)

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        if event is not None and event.key() == Qt.Key.Key_Escape and self._asks:
            self._answer(self._asks[0], self._asks[0].harmless)
            return
        super().keyPressEvent(event)

    def _show(self) -> None:
        had_focus = any(button.hasFocus() for button in self.buttons)
        for button in self.buttons:
            self._row.removeWidget(button)
            button.hide()
            button.deleteLater()
        self.buttons = []
        self.setVisible(bool(self._asks))
        if not self._asks:
            return
        first = self._asks[0]
        self.words.setText(first.words)
        self.setAccessibleDescription(first.words)
        more = translate("question", "1 of {count}").format(count=len(self._asks))
        self._more.setText(more if len(self._asks) > 1 else "")
        self._more.setVisible(len(self._asks) > 1)
        for choice in first.choices:
            self._add(first, choice)
        if had_focus:
            self.reach()

    def _add(self, ask: Ask, choice: Choice) -> None:
        button = QPushButton(choice.label)
        button.setAccessibleName(choice.label)
        button.setAccessibleDescription(ask.words)
        button.setAutoDefault(False)
        button.clicked.connect(lambda: self._answer(ask, choice))
        self._row.addWidget(button)
        button.show()  # now: the keyboard may be put on it at once
        if self.buttons:
            QWidget.setTabOrder(self.buttons[-1], button)
        self.buttons.append(button)

    def _answer(self, ask: Ask, choice: Choice) -> None:
        if ask in self._asks:
            self._asks.remove(ask)
            self._show()
            choice.do()

    def _dress(self) -> None:
        theme = self._desk.theme
        # yellow: something abnormal that asks for an answer, and no hazard
        self.setStyleSheet(
            f"#question {{ background: {theme.raised}; border-left: 10px solid {theme.over}; "
            f"border-top: 1px solid {theme.edge}; border-bottom: 1px solid {theme.edge}; }} "
            f"#question QLabel {{ background: {theme.raised}; }}"
        )
