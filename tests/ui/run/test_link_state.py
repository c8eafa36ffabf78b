"""The link to the rig: up, down, unknown, with its round trip and loss; what a drop leaves behind; seen and heard."""

from collections.abc import Iterator

import msgspec
import pytest
from PyQt6.QtCore import QRectF, Qt
from PyQt6.QtGui import QImage, QPainter
from PyQt6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from sequencer.shell.crew import CrewFailed
from sequencer.shell.messages import Reset, Status
from tests.ui.link.fakes import STATUS, Bench
from ui.desk import Desk
from ui.run.form import Form
from ui.run.link_plate import draw_link
from ui.run.link_state import NOTHING, LinkSeen, Word, link_words, see, tip, trouble
from ui.run.link_watch import LinkWatch
from ui.run.panel import RunPanel
from ui.run.strip import Strip
from ui.theme import DARK, STATE_PX, SUN, Theme, contrast


def status(**what: object) -> Status:
    return msgspec.structs.replace(STATUS, **what)


UP = status(link="up", round_trip_s=0.0123, lost_part=0.031)
DOWN = status(link="down", silent_s=3.2, phase="stopped", cause="the rig has not answered")
BACK = status(link="up", round_trip_s=0.012, lost_part=0.4, phase="stopped", cause="the rig has not answered")


@pytest.fixture(autouse=True)
def _no_ports(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Form, "look_for_ports", lambda form: None)


@pytest.mark.parametrize(
    ("seen", "words", "whole"),
    [
        (NOTHING, "none", "no rig is connected"),
        (see(NOTHING, UP), "up, 12 ms, 3 % lost", "Round trip: 12 ms. Lost on the way: 3.1%."),
        (see(NOTHING, status(link="up")), "up", "Round trip: not known. Lost on the way: not known."),
        (see(NOTHING, DOWN), "down 3 s", "no answer for 3 s"),
        (see(NOTHING, STATUS), "unknown", "never answers"),
    ],
)
def test_each_state_has_its_words(seen: LinkSeen, words: str, whole: str) -> None:
    assert link_words(seen) == words
    assert whole in tip(seen)


def test_where_there_is_little_room_the_worse_of_the_two_is_said() -> None:
    assert link_words(see(NOTHING, status(link="up", round_trip_s=0.012, lost_part=0.0)), brief=True) == "up, 12 ms"
    assert link_words(see(NOTHING, UP), brief=True) == "up, 3 % lost"


def test_a_drop_counts_until_the_stop_is_reset() -> None:
    seen = see(NOTHING, UP)
    assert not seen.dropped
    seen = see(seen, DOWN)
    assert seen.dropped
    assert not seen.back
    seen = see(seen, BACK)
    assert seen.back
    assert see(see(seen, DOWN), BACK).back
    assert not see(seen, status(link="up", phase="idle")).dropped
    assert not see(seen, None).dropped
    # a stop for another reason is no drop
    assert not see(see(NOTHING, UP), BACK).dropped


def test_after_the_return_it_is_said_where_the_rig_stands_and_what_to_do(desk: Desk) -> None:
    rig = desk.project.rig
    asked = (10.0, 5.0, 0.0, 300.0, 0.5)
    down, back = see(NOTHING, DOWN), see(see(NOTHING, DOWN), BACK)
    assert "Nothing is sent before it is back and you have reset" in trouble(down, rig, DOWN)
    there = msgspec.structs.replace(BACK, asked=asked, actual=(9.0, 5.001, 0.0, 180.0, 0.452))
    words = trouble(back, rig, there)
    # the farthest first for what each motor does in a second: 120 mm of 400, 0.048 of 1.2, 1 deg of 90
    assert words.startswith(
        "The rig is back. It stands elsewhere: slide at 180.00 mm, sent to 300.00 mm; focus at 0.452, sent to 0.500; "
        "pan at 9.00 deg, sent to 10.00 deg. "
    )
    assert "then Reset: nothing moves before" in words
    same = msgspec.structs.replace(BACK, asked=asked, actual=asked)
    assert "It stands where it was sent." in trouble(back, rig, same)
    silent = msgspec.structs.replace(BACK, asked=asked, actual=(None,) * 5)
    assert "It does not say where it stands." in trouble(back, rig, silent)
    assert trouble(see(NOTHING, UP), rig, UP) == ""


@pytest.fixture
def sounds(bench: Bench) -> Iterator[list[str]]:
    """What is heard, and the words that go with it, of a watch on the link."""
    heard: list[str] = []
    watch = LinkWatch(bench.link, bench.link, sound=lambda: heard.append("sound"))
    watch.told.connect(heard.append)
    yield heard
    watch.be_loud(True)


def test_a_drop_and_a_return_are_heard_once_and_told(bench: Bench, sounds: list[str]) -> None:
    bench.connect()
    bench.phase("idle", link="up")
    sounds.clear()
    bench.phase("running", link="up", round_trip_s=0.012)
    bench.phase("running", link="up", round_trip_s=0.019)
    assert sounds == []
    bench.phase("stopping", link="down")
    bench.phase("stopped", link="down")
    assert sounds == ["sound", "the link to the rig is down; nothing is sent before it is back, and reset"]
    bench.phase("stopped", link="up", round_trip_s=0.012, lost_part=0.25)
    bench.go()
    assert sounds[2:] == ["sound", "the link to the rig: up, 12 ms, 25 % lost"]
    bench.phase("idle", link="up")
    assert len(sounds) == 4


def test_a_rig_that_never_answers_makes_no_sound(bench: Bench, sounds: list[str]) -> None:
    bench.connect()
    bench.phase("idle", link="unknown")
    bench.phase("idle", link="up")
    assert "sound" not in sounds
    bench.link.leave()
    assert "sound" not in sounds


def test_the_sound_can_be_left_out_also_while_the_rig_moves(
    bench: Bench, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    heard: list[None] = []
    panel = RunPanel(bench.desk, bench.link)
    qtbot.addWidget(panel)
    monkeypatch.setattr(panel.watch, "_sound", lambda: heard.append(None))
    bench.connect()
    bench.phase("running", link="up")
    bench.phase("running", link="down")
    assert len(heard) == 1
    assert panel.form.beep.isChecked()
    assert panel.form.beep.isEnabled()
    assert not panel.form.record.isEnabled()
    qtbot.keyClick(panel.form.beep, Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    bench.phase("stopped", link="up")
    assert len(heard) == 1
    assert "the link to the rig: up" in panel.log.toPlainText()


def test_reset_waits_for_the_return(bench: Bench, qtbot: QtBot) -> None:
    panel = RunPanel(bench.desk, bench.link)
    qtbot.addWidget(panel)
    panel.watch.be_loud(False)
    panel.show()
    bench.connect()
    bench.phase("stopped", link="down", cause="the rig has not answered for 0.5 s")
    assert not panel.resetting.isEnabled()
    assert panel.next.text() == "The link to the rig is down. It can be reset when it is back."
    bench.phase("stopped", link="up")
    assert panel.next.text() == "The rig is back. Look at it, then reset; nothing moves before."
    qtbot.mouseClick(panel.resetting, Qt.MouseButton.LeftButton)
    assert [one for one in bench.crew.told if isinstance(one, Reset)] == [Reset()]
    bench.phase("idle", link="up")
    assert panel.next.text().startswith("Hold ARM")


def test_an_engine_that_is_lost_while_the_link_is_down_leaves_no_word_on_the_link(bench: Bench, qtbot: QtBot) -> None:
    panel, strip = RunPanel(bench.desk, bench.link), Strip(bench.desk, bench.link)
    qtbot.addWidget(panel)
    qtbot.addWidget(strip)
    panel.watch.be_loud(False)
    bench.connect()
    bench.phase("stopped", link="down", cause="the rig has not answered for 0.5 s")
    bench.crew.fault = CrewFailed("the io process ended by itself (status 1)")
    bench.go()
    assert strip.link.value == "none"
    assert "back" not in panel.next.text()
    assert panel.resetting.isEnabled()
    assert "the link to the rig is down, no answer" not in strip.trouble.text().lower()


@pytest.mark.parametrize("width", [1024, 1280, 1600])
def test_the_cause_of_a_stop_is_whole_somewhere(bench: Bench, qtbot: QtBot, width: int) -> None:
    strip = Strip(bench.desk, bench.link)
    qtbot.addWidget(strip)
    bench.desk.turn_to("run")
    strip.resize(width, strip.sizeHint().height())
    strip.show()
    bench.connect()
    QApplication.processEvents()
    cause = "the rig is not where it was sent (pan by 2.55 deg); look for what holds the axis"
    bench.phase("stopped", cause=cause)
    assert strip.trouble.isVisible()
    assert strip.trouble.text() == f"Last stop: {cause}"
    bench.phase("idle")
    assert not strip.trouble.isVisible()


@pytest.mark.parametrize("width", [1024, 1280, 1600])
def test_the_strip_shows_the_link_and_what_a_drop_left(bench: Bench, qtbot: QtBot, width: int) -> None:
    strip = Strip(bench.desk, bench.link)
    qtbot.addWidget(strip)
    bench.desk.turn_to("run")
    strip.resize(width, strip.sizeHint().height())
    strip.show()
    assert strip.link.value == "none"
    bench.connect()
    bench.phase("running", link="up", round_trip_s=0.012, lost_part=0.21)
    assert strip.link.value == ("up, 12 ms, 21 % lost" if width >= 1200 else "up, 21 % lost")
    QApplication.processEvents()
    assert strip.caution.width() >= strip.caution.sizeHint().width(), "no word of the caution is cut"
    assert strip.link.width() >= strip.link.sizeHint().width()
    assert not strip.trouble.isVisible()
    before = strip.sizeHint().height()
    count = len(bench.desk.project.rig.axes)
    bench.phase("stopped", link="down", silent_s=2.0, asked=(1.0,) * count, actual=(None,) * count)
    assert "down" in strip.link.value
    assert strip.trouble.isVisible()
    assert "no answer for 2 s" in strip.trouble.text()
    bench.phase("stopped", link="up", asked=(1.0,) * count, actual=(0.5,) * count)
    assert "pan at 0.50 deg, sent to 1.00 deg" in strip.trouble.text()
    strip.resize(width, strip.sizeHint().height())
    QApplication.processEvents()
    assert strip.sizeHint().height() > before
    assert strip.rect().contains(strip.trouble.geometry())
    assert strip.trouble.font().pixelSize() == STATE_PX or strip.trouble.fontInfo().pixelSize() >= STATE_PX
    assert not strip.trouble.geometry().intersects(strip.stop.geometry())
    assert not strip.link.geometry().intersects(strip.caution.geometry())
    assert strip.rect().contains(strip.link.geometry())
    bench.phase("idle", link="up")
    assert not strip.trouble.isVisible()
    bench.link.leave()
    assert strip.link.value == "none"


@pytest.mark.parametrize("theme", [DARK, SUN])
def test_what_a_drop_left_can_be_read(theme: Theme) -> None:
    # Source: WCAG 2.2, 1.4.6 (enhanced contrast), 7:1
    assert contrast(theme.over, theme.over_text) >= 7


def test_each_state_has_a_shape_of_its_own() -> None:
    drawn = set()
    words: tuple[Word, ...] = ("up", "down", "unknown", "none")
    for word in words:
        image = QImage(60, 30, QImage.Format.Format_Grayscale8)
        image.fill(Qt.GlobalColor.white)
        painter = QPainter(image)
        draw_link(painter, QRectF(5, 5, 50, 20), word, "#000000")
        painter.end()
        drawn.add(bytes(image.constBits().asarray(image.sizeInBytes())))
    assert len(drawn) == len(words)
