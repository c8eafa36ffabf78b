"""Questions wait for each other, take nobody's keyboard, and Escape gives the harmless answer."""

from dataclasses import replace

from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QApplication, QLineEdit, QVBoxLayout, QWidget
from pytestqt.qtbot import QtBot

from ui.acts.asking import Ask, Choice
from ui.desk import Desk
from ui.panels.question import QuestionBar


def asked(done: list[str], name: str, about: str = "") -> Ask:
    yes = Choice(f"do {name}", lambda: done.append(f"did {name}"))
    return Ask(f"{name}?", (yes, Choice(f"leave {name}", lambda: done.append(f"left {name}"))), about)


def test_they_are_answered_one_after_the_other(desk: Desk, qtbot: QtBot) -> None:
    bar, done = QuestionBar(desk), list[str]()
    qtbot.addWidget(bar)
    assert bar.isHidden()
    bar.ask(asked(done, "one"))
    bar.ask(asked(done, "two"))
    assert bar.words.text() == "one?"
    QtBot.mouseClick(bar.buttons[0], Qt.MouseButton.LeftButton)
    assert done == ["did one"]
    assert bar.words.text() == "two?"
    bar.reach()
    QtBot.keyClick(bar.buttons[-1], Qt.Key.Key_Escape)
    assert done == ["did one", "left two"]
    assert bar.isHidden()


def test_the_keyboard_stays_where_it_is_and_reaches_every_answer(desk: Desk, qtbot: QtBot) -> None:
    window = QWidget()
    lines = QVBoxLayout(window)
    typing = QLineEdit()
    bar, done = QuestionBar(desk), list[str]()
    lines.addWidget(bar)
    lines.addWidget(typing)
    qtbot.addWidget(window)
    with qtbot.waitActive(window):
        window.show()
        window.activateWindow()
    typing.setFocus()
    bar.ask(asked(done, "one"))
    QtBot.keyClicks(typing, "12")
    assert typing.text() == "12"
    assert QApplication.focusWidget() is typing
    bar.reach()
    assert QApplication.focusWidget() is bar.buttons[-1]
    QtBot.keyClick(bar.buttons[-1], Qt.Key.Key_Backtab)
    focused = QApplication.focusWidget()
    assert focused is bar.buttons[0]
    QtBot.keyClick(focused, Qt.Key.Key_Space)
    assert done == ["did one"]


def test_one_about_the_same_takes_the_place_of_the_other(desk: Desk, qtbot: QtBot) -> None:
    bar, done = QuestionBar(desk), list[str]()
    qtbot.addWidget(bar)
    bar.ask(asked(done, "old", "disk"))
    bar.ask(asked(done, "new", "disk"))
    assert [ask.words for ask in bar.asks] == ["new?"]
    assert done == ["left old"]
    bar.ask(asked(done, "other"))
    assert [ask.words for ask in bar.asks] == ["new?", "other?"]


def test_what_was_asked_about_one_project_is_not_done_to_another(desk: Desk, qtbot: QtBot) -> None:
    bar, done = QuestionBar(desk), list[str]()
    qtbot.addWidget(bar)
    bar.ask(asked(done, "recover"))
    bar.ask(asked(done, "read"))
    desk.open(replace(desk.project, name="another"), None)
    assert bar.asks == ()
    assert bar.isHidden()
    assert done == ["left recover", "left read"]
