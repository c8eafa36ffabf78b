"""The page for homing: what is said before anything moves, what a click does not do, and what is held."""

from collections.abc import Iterator
from dataclasses import replace

import msgspec
import pytest
from PyQt6.QtCore import Qt
from pytestqt.qtbot import QtBot

from sequencer.rig.axis import Homing as Switch
from sequencer.shell.messages import Drive
from tests.ui.link.fakes import Bench
from ui.link.homing import Homing
from ui.panels.typed import typed_number
from ui.run.hold import Hold
from ui.run.homing import HomingPanel

LEFT = Qt.MouseButton.LeftButton
STOOD = (-48.0, 9.0, 0.0, 837.0, 0.3)


class Page:
    """The page, beside fake engines; the slide has a switch."""

    def __init__(self, bench: Bench, qtbot: QtBot) -> None:
        desk = bench.desk
        rig = desk.project.rig
        slide = replace(rig.axes[3], homing=Switch(towards="low", speed=40.0, at=-4.0))
        desk.edit("a switch", replace(desk.project, rig=replace(rig, axes=(*rig.axes[:3], slide, rig.axes[4]))))
        self.bench, self.qtbot = bench, qtbot
        self.told: list[tuple[str, float]] = []
        homing = Homing(bench.link, declare=lambda ground, axis, value: self._take(axis.name, value))
        self.panel = HomingPanel(desk, bench.link, typed_number, homing)
        for hold in (self.panel.search, self.panel.here):
            hold._now_ns = bench.clock
        qtbot.addWidget(self.panel)
        self.panel.resize(700, 600)
        with qtbot.waitActive(self.panel):
            self.panel.show()
            self.panel.activateWindow()

    def _take(self, axis: str, value: float) -> str:
        self.told.append((axis, value))
        return ""

    def connect(self) -> None:
        self.bench.connect()
        self.say("idle")

    def say(self, phase: str, **more: object) -> None:
        switches = (None, None, None, False, None)
        self.bench.phase(phase, **{"actual": STOOD, "asked": STOOD, "switches": switches, "link": "up"} | more)

    def turn(self, place: int) -> None:
        self.panel.axis.setCurrentIndex(place)
        self.panel.axis.activated.emit(place)

    def hold(self, hold: Hold) -> None:
        self.qtbot.mousePress(hold, LEFT)
        for _ in range(18):
            self.bench.clock.go(0.05)
            hold.tick()
        self.qtbot.mouseRelease(hold, LEFT)
        self.bench.go()


@pytest.fixture
def page(bench: Bench, qtbot: QtBot) -> Iterator[Page]:
    one = Page(bench, qtbot)
    yield one
    one.panel.hide()


def test_the_cautions_and_what_would_move_are_there_before_anything_is_held(page: Page) -> None:
    assert "hard-wired emergency stop" in page.panel.caution.text()
    assert page.panel.caution.isVisible()
    page.turn(3)
    assert "connect a rig first" in page.panel.words.text()
    assert not page.panel.search.isEnabled()
    page.connect()
    assert "slide will go towards its low end at 40 mm a second" in page.panel.way.text()
    assert "keep its whole way clear" in page.panel.way.text()
    assert page.panel.search.isEnabled()


def test_a_click_or_a_key_homes_nothing_a_hold_does(page: Page, qtbot: QtBot) -> None:
    page.connect()
    page.turn(3)
    qtbot.mouseClick(page.panel.search, LEFT)
    for key in (Qt.Key.Key_Return, Qt.Key.Key_Space):
        qtbot.keyClick(page.panel.search, key)
    assert len(page.bench.crews) == 1
    page.bench.crew.now = msgspec.structs.replace(page.bench.crew.now, actual=STOOD, asked=STOOD)
    page.hold(page.panel.search)
    assert len(page.bench.crews) == 2
    page.say("idle")
    page.say("idle")
    assert page.bench.crew.told[-1] == Drive((0.0, 0.0, 0.0, -1.0, 0.0))
    assert "It goes to its switch." in page.panel.words.text()
    assert not page.panel.search.isEnabled()
    assert not page.panel.axis.isEnabled()
    page.say("stopped", cause="stop was pressed")
    assert "Stopped. Look at the rig, then reset" in page.panel.words.text()


def test_people_must_be_clear_of_a_real_rig(page: Page) -> None:
    link = page.bench.link
    link.choose(replace(link.choice, rig="osc://127.0.0.1:9000"))
    page.connect()
    page.turn(3)
    assert "people are clear" in page.panel.words.text()
    assert not page.panel.search.isEnabled()
    link.clear(True)
    assert page.panel.search.isEnabled()


def test_where_an_axis_stands_is_typed_and_held_for(page: Page, qtbot: QtBot) -> None:
    page.connect()
    page.turn(0)
    panel = page.panel
    assert not panel.search.isEnabled()
    assert "no switch is set up for it" in panel.way.text()
    assert not panel.here.isEnabled()
    for text, words in (("far", "not told: "), ("500", "cannot stand at 500, outside its travel"), ("3 mm", "deg")):
        panel.place.setText(text)
        page.hold(panel.here)
        assert words in panel.words.text()
        assert page.told == []
    panel.place.setText("-47,5 deg")
    qtbot.mouseClick(panel.here, LEFT)
    assert page.told == []
    page.hold(panel.here)
    page.bench.go()
    assert page.told == [("pan", -47.5)]
    assert "pan counts from here: it stands at -47.5 deg." in panel.words.text()
    page.turn(1)
    assert panel.place.text() == "", "a number is of one axis"


def test_axes_that_are_changed_in_the_setup_are_offered_as_they_are_then(page: Page) -> None:
    desk = page.bench.desk
    page.turn(3)
    rig = desk.project.rig
    desk.edit(
        "fewer", replace(desk.project, rig=replace(rig, axes=rig.axes[:2]), move=replace(desk.project.move, tracks=()))
    )
    assert [page.panel.axis.itemText(place) for place in range(page.panel.axis.count())] == ["pan", "tilt"]
    assert page.panel.axis.currentText() == "pan"


def test_a_switch_that_cannot_be_homed_by_says_why_also_where_nothing_is_connected(page: Page) -> None:
    desk = page.bench.desk
    rig = desk.project.rig
    slow = replace(rig.axes[3], speed=30.0)
    desk.edit("slower", replace(desk.project, rig=replace(rig, axes=(*rig.axes[:3], slow, rig.axes[4]))))
    page.turn(3)
    assert "slide shall home at 40, which is above its own speed 30" in page.panel.way.text()
    assert not page.panel.search.isEnabled()
