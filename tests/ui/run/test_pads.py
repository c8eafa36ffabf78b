"""Game controllers in hand: taken by holding, given back by a press, and told on the page and in the strip."""

from collections.abc import Iterator
from dataclasses import replace

import msgspec
import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from sequencer.live.handling import default_handlings
from sequencer.shell.crew import CrewFailed
from sequencer.shell.messages import Command, Go, PadSet, Said, TakeHands
from tests.ui.link.fakes import Bench
from tests.ui.watched import Table
from ui.run.drive import DrivePanel
from ui.run.hold import Hold
from ui.run.strip import Strip

LEFT = Qt.MouseButton.LeftButton


class InHand:
    """The page for driving, with pads that a test moves."""

    def __init__(self, bench: Bench, qtbot: QtBot) -> None:
        self.bench, self.qtbot, self.table = bench, qtbot, Table()
        self.page = DrivePanel(bench.desk, bench.link, self.table.watch)
        self.panel = self.page.controllers
        for hold in (self.page.unlock, self.panel.take, self.panel.origin):
            hold._now_ns = bench.clock
        qtbot.addWidget(self.page)
        self.page.resize(1200, 600)
        with qtbot.waitActive(self.page):
            self.page.show()
            self.page.activateWindow()
        self.table.watch.look()

    def hold(self, hold: Hold) -> None:
        self.qtbot.mousePress(hold, LEFT)
        for _ in range(18):
            self.bench.clock.go(0.05)
            hold.tick()
        self.qtbot.mouseRelease(hold, LEFT)
        self.bench.go()

    def taken(self, on: bool = True) -> None:
        """Have the engine say that controllers drive, or do not."""
        self.bench.crew.now = msgspec.structs.replace(self.bench.crew.now, hands=on)
        self.bench.go()

    def take(self) -> None:
        self.bench.connect()
        self.table.say()
        self.hold(self.panel.take)
        self.taken()

    @property
    def told(self) -> list[Command]:
        return self.bench.crew.told


@pytest.fixture
def hands(bench: Bench, qtbot: QtBot) -> Iterator[InHand]:
    one = InHand(bench, qtbot)
    yield one
    one.page.hide()


def test_a_click_takes_nothing_in_hand_a_hold_does(hands: InHand, qtbot: QtBot) -> None:
    hands.bench.connect()
    hands.table.say()
    qtbot.mouseClick(hands.panel.take, LEFT)
    for key in (Qt.Key.Key_Return, Qt.Key.Key_Space):
        qtbot.keyClick(hands.panel.take, key)
    assert hands.told == []
    assert hands.panel.state.words == "NOT IN HAND"
    hands.hold(hands.panel.take)
    assert hands.told == [TakeHands(True)]
    # only the engine's own word counts
    assert hands.panel.state.words == "NOT IN HAND"
    hands.taken()
    assert hands.panel.state.words == "IN HAND"
    assert hands.panel.state.accessibleName() == "Controllers: in hand"
    assert not hands.panel.take.isEnabled()


def test_they_are_given_back_by_one_press_or_by_escape(hands: InHand, qtbot: QtBot) -> None:
    assert not hands.panel.give.isEnabled()
    hands.take()
    qtbot.mouseClick(hands.panel.give, LEFT)
    assert hands.told[-1] == TakeHands(False)
    hands.taken(False)
    assert hands.panel.state.words == "NOT IN HAND"
    hands.hold(hands.panel.take)
    hands.taken()
    qtbot.keyClick(hands.page.unlock, Qt.Key.Key_Escape)
    assert hands.told[-2:] == [TakeHands(True), TakeHands(False)]


def test_the_same_must_be_clear_as_for_driving(hands: InHand) -> None:
    bench, panel = hands.bench, hands.panel
    hands.table.say()
    assert "connect a rig first" in panel.words.text()
    bench.link.choose(replace(bench.link.choice, rig="osc://127.0.0.1:9000"))
    bench.connect()
    assert "people are clear" in panel.words.text()
    assert not panel.take.isEnabled()
    assert not panel.origin.isEnabled()
    bench.link.clear(True)
    assert panel.take.isEnabled()
    assert panel.origin.isEnabled()
    bench.phase("ready")
    assert not panel.take.isEnabled()


def test_without_a_pad_there_is_nothing_to_take(hands: InHand) -> None:
    hands.bench.connect()
    assert "no controller is here" in hands.panel.words.text()
    assert hands.panel.pads.text() == "No pad is here."
    hands.table.say()
    assert hands.panel.take.isEnabled()
    hands.table.say(here=False)
    assert not hands.panel.take.isEnabled()
    # where they cannot be watched, the engine may well have some
    hands.table.break_down("game controllers need the SDL2 library")
    assert "SDL2" in hands.panel.pads.text()
    assert hands.panel.take.isEnabled()


def test_which_pads_are_here_and_how_they_were_set_up_is_said(hands: InHand) -> None:
    desk = hands.bench.desk
    first, second = default_handlings(desk.project.rig)
    desk.edit("spring", replace(desk.project, hands=(replace(first, manner="spring", enabling=None), second)))
    hands.bench.connect()
    hands.table.say()
    hands.table.say_odd(0.0, pad=1)
    lines = hands.panel.pads.text().split("\n")
    assert lines[0].startswith("Pad 1, Pad: first operator. Set up as spring-back over 90 degrees, 45 to each side;")
    assert "Caution: nothing is held to drive." in lines[0]
    assert "no left trigger" in lines[1]


def test_how_each_pad_is_set_now_stays_in_sight(hands: InHand) -> None:
    hands.take()
    assert not hands.panel.settings.isVisible()
    first = PadSet(number=0, name="Pad", sticks=True, manner="spring", range_deg=45.0, top=0.1, fine=True)
    second = msgspec.structs.replace(first, number=4, name="Third", manner="rate", fine=False, top=0.75)
    stops = msgspec.structs.replace(first, number=5, name="Spare", sticks=False)
    hands.bench.phase("driving", pads=(first, second, stops))
    assert hands.panel.settings.text().split("\n") == [
        "Pad 1, Pad, is set now to spring-back over 45 degrees, 22.5 to each side; fine, up to 10% of full speed.",
        "Pad 5, Third, is set now to rate control; coarse, up to 75% of full speed.",
    ]
    assert hands.panel.settings.isVisible()
    assert "Set up as rate control" in hands.panel.pads.text(), "and how it was set up is there as well"
    hands.bench.phase("idle", pads=(msgspec.structs.replace(first, fine=False, top=0.5),))
    assert "coarse, up to 50% of full speed" in hands.panel.settings.text()
    hands.bench.link.leave()
    hands.bench.go()
    assert not hands.panel.settings.isVisible()


def test_what_buttons_changed_is_told_in_the_engines_words_until_they_are_taken_anew(hands: InHand) -> None:
    hands.take()
    hands.bench.crew.says.append(Said(hands.bench.clock.ns, "hands", "fine: up to 10% of full speed"))
    hands.bench.crew.says.append(Said(hands.bench.clock.ns, "connected", "something else"))
    hands.bench.go()
    assert hands.panel.changed.text() == "A controller said last: fine: up to 10% of full speed."
    hands.taken(False)
    hands.hold(hands.panel.take)
    assert not hands.panel.changed.isVisible()


def test_an_engine_that_has_other_settings_is_not_driven_by_pads(hands: InHand) -> None:
    desk, bench = hands.bench.desk, hands.bench
    bench.connect()
    hands.table.say()
    assert hands.panel.take.isEnabled()
    hand = replace(default_handlings(desk.project.rig)[0], top=1.0)
    desk.edit("faster", replace(desk.project, hands=(hand,)))
    assert "connect again" in hands.panel.words.text()
    assert not hands.panel.take.isEnabled()
    desk.undo()
    assert hands.panel.take.isEnabled()
    desk.redo()
    bench.link.leave()
    bench.go()
    bench.connect()
    assert hands.panel.take.isEnabled()


def test_arming_loads_what_was_changed(hands: InHand) -> None:
    desk, bench = hands.bench.desk, hands.bench
    bench.connect()
    hands.table.say()
    desk.edit("faster", replace(desk.project, hands=(replace(default_handlings(desk.project.rig)[0], top=1.0),)))
    bench.link.arm()
    bench.phase("locating")
    bench.phase("ready")
    bench.phase("idle")
    assert hands.panel.take.isEnabled()


def test_the_pads_on_the_screen_drive_beside_controllers_which_come_first(hands: InHand) -> None:
    hands.bench.connect()
    hands.hold(hands.page.unlock)
    assert "Controllers" not in hands.page.words.text()
    hands.table.say()
    hands.hold(hands.panel.take)
    hands.taken()
    assert hands.page.unlocked
    assert hands.page.words.text().endswith("Controllers in hand come first.")


def test_the_rig_returns_to_its_origin_when_that_is_held(hands: InHand, qtbot: QtBot) -> None:
    hands.bench.connect()
    qtbot.mouseClick(hands.panel.origin, LEFT)
    assert hands.told == []
    hands.hold(hands.panel.origin)
    rig = hands.bench.desk.project.rig
    assert [dict(one.position) for one in hands.told if isinstance(one, Go)] == [
        {axis.name: axis.home for axis in rig.axes}
    ]


def test_pads_are_watched_only_while_the_page_is_in_sight(hands: InHand) -> None:
    hands.page.hide()
    assert (hands.table.begun, hands.table.ended) == (1, 1)
    hands.page.show()
    assert hands.table.begun == 2


@pytest.mark.parametrize("width", [580, 610, 700, 1200])
def test_there_is_room_for_both_at_any_width(hands: InHand, width: int) -> None:
    hands.bench.connect()
    hands.page.resize(width, 900)
    QApplication.processEvents()
    page, panel = hands.page, hands.panel
    assert (panel.x() > page.pads[0].geometry().right()) == (width >= 600)
    for one in page.pads:
        assert page.rect().contains(one.geometry())
        assert not one.geometry().intersects(panel.geometry())
    assert page.rect().contains(panel.geometry())


def test_an_engine_that_is_lost_has_nothing_in_hand(hands: InHand, qtbot: QtBot) -> None:
    strip = Strip(hands.bench.desk, hands.bench.link)
    qtbot.addWidget(strip)
    strip.show()
    hands.take()
    assert strip.hands.isVisible()
    hands.bench.crew.fault = CrewFailed("the engine ended by itself (status 1)")
    hands.bench.go()
    assert not strip.hands.isVisible()
    assert hands.panel.state.words == "NOT IN HAND"
    assert not hands.panel.give.isEnabled()


@pytest.mark.parametrize("width", [1024, 1280, 1920])
def test_the_strip_says_so_at_every_width_and_does_not_cover_stop(bench: Bench, qtbot: QtBot, width: int) -> None:
    strip = Strip(bench.desk, bench.link)
    qtbot.addWidget(strip)
    strip.resize(width, strip.sizeHint().height())
    strip.show()
    bench.connect()
    assert not strip.hands.isVisible()
    for face in ("prepare", "run"):
        bench.desk.turn_to(face)
        bench.crew.now = msgspec.structs.replace(bench.crew.now, hands=True)
        bench.go()
        QApplication.processEvents()
        assert strip.hands.isVisible()
        assert strip.hands.accessibleName() == "controllers: IN HAND"
        assert strip.hands.width() >= strip.hands.sizeHint().width(), "no word of it is cut"
        assert not strip.hands.geometry().intersects(strip.stop.geometry())
        assert strip.timecode.width() >= strip.timecode.sizeHint().width() - 8, "but for its margins"
        bench.crew.now = msgspec.structs.replace(bench.crew.now, hands=False)
        bench.go()
        assert not strip.hands.isVisible()
