"""The form of controllers in sight, with pads that a test moves."""

from collections.abc import Callable, Iterator

import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QPushButton
from pytestqt.qtbot import QtBot

from sequencer.live.handling import Handling, Role
from tests.ui.watched import Table
from ui.acts.pad_roles import role_words
from ui.desk import Desk
from ui.panels.controllers import ControllersForm
from ui.panels.fields import Field, Pull


class Setting:
    """The form, and pads that a test moves."""

    def __init__(self, desk: Desk, qtbot: QtBot) -> None:
        self.desk, self.table, self.in_hand = desk, Table(), False
        self.form = ControllersForm(desk, lambda: self.in_hand, self.table.watch)
        qtbot.addWidget(self.form)
        self.form.resize(900, 1300)
        with qtbot.waitActive(self.form):
            self.form.show()
            self.form.activateWindow()
        self.table.watch.look()

    @property
    def hands(self) -> tuple[Handling, ...]:
        return self.desk.project.hands

    @property
    def roles(self) -> list[tuple[str, ...]]:
        """The table as it is read."""
        table = self.form.roles.table
        items = [[table.item(row, at) for at in range(table.columnCount())] for row in range(table.rowCount())]
        return [tuple("" if one is None else one.text() for one in row) for row in items]

    def row(self, role: Role) -> tuple[str, ...]:
        return next(one for one in self.roles if one[0] == role_words(role))

    def choose(self, role: Role) -> None:
        table = self.form.roles.table
        table.setCurrentCell([one[0] for one in self.roles].index(role_words(role)), 0)

    def learn(self, role: Role, move: Callable[[], None]) -> str:
        """Choose a line, press learn, move something on a pad; return what was said of it."""
        self.choose(role)
        press(self.form.roles.learn)
        move()
        return self.form.roles.told.text()


@pytest.fixture
def setting(desk: Desk, qtbot: QtBot) -> Iterator[Setting]:
    one = Setting(desk, qtbot)
    yield one
    one.form.hide()


def press(button: QPushButton) -> None:
    QtBot.mouseClick(button, Qt.MouseButton.LeftButton)


def write(field: Field, text: str) -> None:
    field.line.setFocus()
    field.line.selectAll()
    QtBot.keyClick(field.line, Qt.Key.Key_Delete)
    QtBot.keyClicks(field.line, text)
    QtBot.keyClick(field.line, Qt.Key.Key_Return)


def pull(choice: Pull, words: str) -> None:
    """Choose by the keyboard, as an operator without a mouse."""
    texts = [choice.box.itemText(place) for place in range(choice.box.count())]
    choice.box.setFocus()
    while choice.box.currentIndex() != texts.index(words):
        down = choice.box.currentIndex() < texts.index(words)
        QtBot.keyClick(choice.box, Qt.Key.Key_Down if down else Qt.Key.Key_Up)
