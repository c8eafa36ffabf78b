"""What outputs this machine has now, by kind, each kind with an example; one press makes it the address.

It looks in a thread, when it comes in sight and when it is asked: a sound server or a serial bus may take its time.
"""

from collections.abc import Callable
from functools import partial

from PyQt6.QtCore import Qt
from PyQt6.QtGui import QShowEvent
from PyQt6.QtWidgets import QHBoxLayout, QListWidgetItem, QPushButton, QVBoxLayout, QWidget

from ui.acts.judging import Judging
from ui.acts.outlets import Offer, offers
from ui.desk import Desk
from ui.label import tip
from ui.language import translate
from ui.panels.fields import Picks, Told

_HIGH_PX = 190
_ADDRESS = Qt.ItemDataRole.UserRole


class FoundOutputs(QWidget):
    """A list of addresses under the names of their kinds. `axes` are those that an address is for; `use` takes one."""

    def __init__(self, desk: Desk, axes: Callable[[], tuple[str, ...]], use: Callable[[str], None]) -> None:
        super().__init__()
        self._desk, self._axes, self._use = desk, axes, use
        self._asked: tuple[str, ...] = ()
        self.judging: Judging[tuple[Offer, ...]] = Judging(self._show, self._failed, self)
        self.state = Told(desk, translate("setup", "Addresses that are found on this machine, and examples by kind."))
        self.list = Picks(translate("setup", "Addresses that are found, and examples"))
        self.list.setFixedHeight(_HIGH_PX)
        self.list.setTextElideMode(Qt.TextElideMode.ElideMiddle)
        self.take = QPushButton(translate("setup", "Use this address"))
        self.again = QPushButton(translate("setup", "Look again"))
        buttons = QHBoxLayout()
        for button in (self.take, self.again):
            button.setAutoDefault(False)
            button.setAccessibleName(button.text())
            buttons.addWidget(button)
        buttons.addStretch(1)
        self.list.currentItemChanged.connect(self._chosen)
        self.list.itemActivated.connect(lambda _: self._taken())
        self.take.clicked.connect(self._taken)
        self.again.clicked.connect(self.look)
        lines = QVBoxLayout(self)
        lines.setContentsMargins(0, 0, 0, 0)
        for one in (self.state, self.list):
            lines.addWidget(one)
        lines.addLayout(buttons)
        self._chosen()

    def showEvent(self, event: QShowEvent | None) -> None:
        super().showEvent(event)
        if self._asked != self._axes():
            self.look()

    def look(self) -> None:
        """Look what there is, for the axes that the output has now."""
        self._asked = names = self._axes()
        axes = tuple(axis for axis in self._desk.project.rig.axes if axis.name in names)
        self.again.setEnabled(False)
        self.state.tell(translate("setup", "Looking for outputs of this machine."))
        self.judging.ask(partial(offers, axes))

    def _show(self, found: tuple[Offer, ...]) -> None:
        self._done(translate("setup", "Addresses that are found on this machine, and examples by kind."))
        self.list.clear()
        for offer in found:
            self._head(offer.title if not offer.missing else f"{offer.title}: {offer.missing}")
            for address in offer.found:
                self._line(translate("setup", "found: {address}").format(address=address), address)
            for address in offer.examples:
                self._line(translate("setup", "example: {address}").format(address=address), address)
        self._chosen()

    def _head(self, words: str) -> None:
        item = QListWidgetItem(words)
        item.setFlags(Qt.ItemFlag.NoItemFlags)
        item.setToolTip(tip(words))
        self.list.addItem(item)

    def _line(self, words: str, address: str) -> None:
        item = QListWidgetItem(f"    {words}")
        item.setData(_ADDRESS, address)
        item.setToolTip(tip(address))
        self.list.addItem(item)

    def _failed(self, fault: Exception) -> None:
        self._done(str(fault))

    def _done(self, words: str) -> None:
        self.again.setEnabled(True)
        self.state.tell(words)

    def _chosen(self) -> None:
        item = self.list.currentItem()
        self.take.setEnabled(item is not None and bool(item.data(_ADDRESS)))

    def _taken(self) -> None:
        item = self.list.currentItem()
        if item is not None and item.data(_ADDRESS):
            self._use(item.data(_ADDRESS))
