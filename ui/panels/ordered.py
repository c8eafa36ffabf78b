"""A list whose entries have an order, with the buttons that add, remove and shift one."""

from collections.abc import Callable
from functools import partial

from PyQt6.QtWidgets import QBoxLayout, QPushButton, QVBoxLayout

from ui.language import translate
from ui.panels.fields import Picks


class Ordered:
    """The list, its buttons by their names, and `layout`, which the panel that holds it may turn.

    `title` names the list, `of` what its entries are, `adds` is what the first button says. Unit: `size_px` of the
    list, across and down.
    """

    def __init__(
        self,
        title: str,
        of: str,
        adds: str,
        size_px: tuple[int, int],
        *,
        chosen: Callable[[], None],
        add: Callable[[], None],
        remove: Callable[[], None],
        shift: Callable[[int], None],
    ) -> None:
        self._of, self._wide_px = of, size_px[0]
        self.layout = QBoxLayout(QBoxLayout.Direction.TopToBottom)
        self.list = Picks(title)
        self.list.setFixedSize(*size_px)
        self.list.currentRowChanged.connect(chosen)
        self.layout.addWidget(self.list)
        self.buttons = {
            "add": self._button(adds, add),
            "remove": self._button(translate("setup", "Remove"), remove),
            "up": self._button(translate("setup", "Up"), partial(shift, -1)),
            "down": self._button(translate("setup", "Down"), partial(shift, 1)),
        }
        below = QVBoxLayout()
        for button in self.buttons.values():
            below.addWidget(button)
        below.addStretch(1)
        self.layout.addLayout(below)
        self.layout.addStretch(1)

    def _button(self, words: str, do: Callable[[], None]) -> QPushButton:
        button = QPushButton(words)
        button.setFixedWidth(self._wide_px)
        button.setAccessibleName(f"{words}, {self._of}")
        button.setAutoDefault(False)
        button.clicked.connect(lambda _: do())
        return button
