"""The rig is sent to marks by what is held only, and where it is among them is said in words."""

from dataclasses import replace

import pytest
from PyQt6.QtCore import QPoint, QRect, Qt
from PyQt6.QtGui import QFontMetrics
from PyQt6.QtWidgets import QApplication, QPushButton
from pytestqt.qtbot import QtBot

from sequencer.score.marks import Mark
from sequencer.shell.messages import Go, Said
from tests.ui.link.fakes import Bench
from ui.acts.poses import Poses
from ui.desk import Face
from ui.pages import PosesPage
from ui.run.going import GoPanel
from ui.run.hold import Hold
from ui.run.plate import bold
from ui.theme import STATE_PX, TARGET_PX, style

LEFT = Qt.MouseButton.LeftButton
DOORWAY, WINDOW = Mark("doorway", (("pan", -20.0),)), Mark("window", (("pan", 35.0),))
FAR = Mark("far", (("pan", 900.0),))
AT_ZERO = (0.0,) * 5


@pytest.mark.parametrize("face", ["prepare", "run"])
def test_at_its_least_no_word_on_what_is_pressed_or_held_is_cut(bench: Bench, qtbot: QtBot, face: Face) -> None:
    desk = bench.desk
    desk.open(replace(desk.project, marks=(DOORWAY, WINDOW)), desk.folder)
    desk.turn_to(face)
    page = PosesPage(Poses(desk, bench.link))
    page.setStyleSheet(style(desk.theme))
    qtbot.addWidget(page)
    page.resize(page.minimumSizeHint())
    page.show()
    bench.connect()
    QApplication.processEvents()
    for hold in page.findChildren(Hold):
        assert page.rect().contains(QRect(hold.mapTo(page, QPoint()), hold.size()))
        letters = QFontMetrics(bold(hold, STATE_PX - 2))
        assert letters.horizontalAdvance(hold._words) <= hold.width() - 16, hold._words
    buttons = [one for one in page.findChildren(QPushButton) if one.isVisible()]
    assert len(buttons) == (3 if face == "run" else 5)
    for button in buttons:
        assert page.rect().contains(QRect(button.mapTo(page, QPoint()), button.size()))
        assert button.fontMetrics().horizontalAdvance(button.text()) <= button.width() - 4, button.text()
        assert button.height() >= (44 if face == "run" else TARGET_PX) - 2, button.text()


class Sent:
    """The panel, with three marks of which the rig cannot go to the last."""

    def __init__(self, bench: Bench, qtbot: QtBot) -> None:
        bench.desk.open(replace(bench.desk.project, marks=(DOORWAY, WINDOW, FAR)), bench.desk.folder)
        self.bench, self.qtbot = bench, qtbot
        self.poses = Poses(bench.desk, bench.link)
        self.panel = GoPanel(self.poses)
        for hold in self.holds:
            hold._now_ns = bench.clock
        qtbot.addWidget(self.panel)
        self.panel.resize(320, 300)
        self.panel.show()

    @property
    def holds(self) -> tuple[Hold, ...]:
        return self.panel.back, self.panel.on, self.panel.there, self.panel.origin

    def connect(self) -> None:
        self.bench.connect()
        self.bench.phase("idle", asked=AT_ZERO, actual=AT_ZERO)

    def hold(self, hold: Hold) -> None:
        self.qtbot.mousePress(hold, LEFT)
        for _ in range(18):
            self.bench.clock.go(0.05)
            hold.tick()
        self.qtbot.mouseRelease(hold, LEFT)
        self.bench.go()

    def says(self, code: str) -> None:
        self.bench.crew.says.append(Said(self.bench.clock.ns, code, ""))
        self.bench.go()

    def told(self) -> list[str]:
        return [one.name for one in self.bench.crew.told if isinstance(one, Go)]


@pytest.fixture
def sent(bench: Bench, qtbot: QtBot) -> Sent:
    return Sent(bench, qtbot)


def test_a_click_or_a_key_sends_nobody_anywhere(sent: Sent) -> None:
    sent.connect()
    sent.poses.choose(("window",), "window")
    for hold in sent.holds:
        hold.setFocus()
        sent.qtbot.mouseClick(hold, LEFT)
        sent.qtbot.keyClick(hold, Qt.Key.Key_Space)
        sent.qtbot.keyClick(hold, Qt.Key.Key_Return)
        sent.qtbot.keyClick(hold, Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    assert sent.bench.crew.told == []


def test_each_hold_sends_the_rig_where_it_says(sent: Sent) -> None:
    sent.connect()
    sent.poses.choose(("window",), "window")
    sent.hold(sent.panel.there)
    sent.says("at mark")
    sent.hold(sent.panel.back)
    sent.says("at mark")
    sent.hold(sent.panel.on)
    sent.hold(sent.panel.origin)
    assert sent.told() == ["window", "doorway", "window", "the origin"]


def test_nothing_can_be_held_without_a_rig_and_why_is_said(sent: Sent) -> None:
    sent.poses.choose(("window",), "window")
    assert not any(hold.isEnabled() for hold in sent.holds)
    assert "connect a rig first" in sent.panel.ways.text()
    sent.connect()
    sent.bench.link.choose(replace(sent.bench.link.choice, rig="osc://127.0.0.1:9000"))
    sent.connect()
    assert not any(hold.isEnabled() for hold in sent.holds)
    assert "people are clear" in sent.panel.ways.text()
    sent.bench.link.clear(True)
    assert sent.panel.on.isEnabled()
    sent.bench.link.arm()
    sent.bench.phase("ready")
    assert not any(hold.isEnabled() for hold in sent.holds)
    assert "stop it first" in sent.panel.ways.text()


def test_a_mark_to_which_the_rig_cannot_go_is_not_offered(sent: Sent) -> None:
    sent.connect()
    sent.poses.choose(("far",), "far")
    assert not sent.panel.there.isEnabled()
    assert "outside pan's travel [-170, 170]; store the mark anew" in sent.panel.fault.text()
    assert sent.panel.fault.isVisible()
    sent.poses.choose(("window",), "window")
    assert sent.panel.fault.isHidden()
    assert sent.panel.there.isEnabled()
    sent.poses.go("window")
    sent.says("at mark")
    assert not sent.panel.on.isEnabled(), "the next one is the one that is far"
    assert sent.panel.back.isEnabled()


def test_where_the_rig_is_among_the_marks_is_said(sent: Sent) -> None:
    assert sent.panel.words.isHidden()
    sent.connect()
    assert sent.panel.words.text() == "At no mark."
    sent.poses.step(1)
    sent.says("going")
    assert sent.panel.words.text() == "On the way to doorway; a touch of the stick takes over."
    sent.says("driving")
    assert sent.panel.words.text() == "Interrupted on the way to doorway; next goes on."
    sent.poses.step(1)
    sent.says("going")
    sent.says("at mark")
    there = (-20.0, 0.0, 0.0, 0.0, 0.0)
    sent.bench.phase("idle", asked=there)
    assert sent.panel.words.text() == "At doorway."
    assert sent.panel.ways.text() == "Previous: none. Next: window. Chosen: none."
    sent.bench.phase("idle", asked=AT_ZERO)
    assert sent.panel.words.text() == "Away from doorway, where it was last."


@pytest.mark.parametrize(
    ("send", "says"),
    [
        (lambda poses: poses.home(), "origin; return to it goes on"),
        (lambda poses: poses.go("window"), "window; choose it, and send the rig there again"),
        (lambda poses: poses.step(-1), "far; previous goes on"),
    ],
)
def test_how_an_interrupted_leg_goes_on_is_said(sent: Sent, send: object, says: str) -> None:
    assert callable(send)
    sent.connect()
    send(sent.poses)
    sent.says("going")
    sent.bench.phase("stopping")
    assert says in sent.panel.words.text()


def test_every_hold_says_what_it_does_and_none_is_cut(sent: Sent) -> None:
    names = [hold.accessibleName() for hold in sent.holds]
    assert len(set(names)) == len(names)
    assert all(name.startswith("Hold to ") for name in names)
    faces: tuple[Face, ...] = ("run", "prepare")
    for face in faces:
        sent.bench.desk.turn_to(face)
        assert min(hold.height() for hold in sent.holds) >= 44
