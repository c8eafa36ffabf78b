"""The slate shows what will be shot, claps once at a time, and the take's log has the clap."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

import msgspec
import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtGui import QColor
from pytestqt.qtbot import QtBot

from sequencer.errors import LinkError
from sequencer.shell.messages import Clapped
from tests.ui.link.fakes import STATUS, Bench, Straight
from ui.run.slate import FLASH_FRAMES, Slate
from ui.run.slate_sound import SlateSound
from ui.run.slate_words import NO_TIMECODE, logged, shown
from ui.run.stop import StopKeys


class Card:
    """A sound card that beeps when it is told to, or breaks."""

    def __init__(self) -> None:
        self.claps: list[int] = []
        self.left: list[dict[str, Any]] = []
        self.fault = ""
        self.ended = 0
        self.asked: tuple[str, float] = ("", 0.0)

    @contextmanager
    def start(self, device: str, length_s: float) -> Iterator["Card"]:
        self.asked = (device, length_s)
        self.left = [{"device": "quay, ALSA"}]
        yield self
        self.ended += 1

    def say(self, message: dict[str, Any]) -> None:
        if self.fault:
            raise LinkError(self.fault)
        self.claps.append(message["clap"])

    def hear(self) -> list[dict[str, Any]]:
        if self.fault:
            raise LinkError(self.fault)
        left, self.left = self.left, []
        return left


@pytest.fixture
def card() -> Card:
    return Card()


@pytest.fixture
def slate(bench: Bench, card: Card, qtbot: QtBot) -> Slate:
    sound = SlateSound(start=card.start, aside=Straight())
    one = Slate(bench.desk, bench.link, sound=sound, now_ns=bench.clock)
    qtbot.addWidget(one)
    one.resize(1280, 720)
    one.show()
    sound.look()
    return one


def recording(bench: Bench) -> None:
    """Have a take be recorded, and timecode run."""
    bench.link.choose(replace(bench.link.choice, record=True))
    bench.ready()
    bench.phase("ready", lock="locked", timeline_s=2.0)


def flash(slate: Slate, bench: Bench, qtbot: QtBot) -> None:
    """Clap, and wait for the flash; the engine says nothing new meanwhile."""
    if bench.crews:
        bench.crew.silent = True
    slate.clap()
    bench.clock.go(0.25)
    qtbot.waitUntil(lambda: slate.flashing, timeout=3000)


def test_it_shows_cue_pass_take_and_running_timecode(slate: Slate, bench: Bench) -> None:
    assert slate.now().timecode == NO_TIMECODE
    assert slate.now().take == "-"
    assert not slate.now().recorded
    recording(bench)
    one = slate.now()
    assert (one.project, one.cue, one.run) == ("Harbour lanterns", "lantern turn", "band")
    assert one.take == "001"
    assert one.recorded
    assert one.timecode == "10:00:02:00"
    # between two reports time runs on
    bench.clock.go(0.5)
    assert slate.now().timecode == "10:00:02:12"


def test_a_clap_flashes_the_whole_screen_and_is_in_the_takes_log(
    slate: Slate, bench: Bench, card: Card, qtbot: QtBot
) -> None:
    recording(bench)
    assert _ground(slate) == QColor("black")
    flash(slate, bench, qtbot)
    assert _ground(slate) == QColor("white")
    flash_ns = bench.clock.ns
    assert card.claps == [flash_ns], "the beep was ordered for the instant of the flash"
    assert not [one for one in bench.crew.told if isinstance(one, Clapped)], "what the beep did is not known yet"
    card.left.append({"sounded": flash_ns + 2_500_000})
    slate.sound.look()
    (told,) = [one for one in bench.crew.told if isinstance(one, Clapped)]
    assert told.at_ns == flash_ns
    assert told.text == "slate: flash at 10:00:02:06 and 0.25 of a frame; beep +2.5 ms from it"
    qtbot.waitUntil(lambda: not slate.flashing, timeout=3000)
    assert _ground(slate) == QColor("black")


def test_one_clap_at_a_time(slate: Slate, bench: Bench, card: Card, qtbot: QtBot) -> None:
    recording(bench)
    slate.clap()
    slate.clap()
    assert len(card.claps) == 1
    bench.clock.go(0.25)
    qtbot.waitUntil(lambda: slate.flashing, timeout=3000)
    slate.clap()
    assert len(card.claps) == 1
    card.left.append({"sounded": None})
    slate.sound.look()
    assert "no beep" in next(one for one in bench.crew.told if isinstance(one, Clapped)).text
    slate.clap()
    assert len(card.claps) == 2


def test_without_sound_it_flashes_and_says_why_it_does_not_beep(
    slate: Slate, bench: Bench, card: Card, qtbot: QtBot
) -> None:
    recording(bench)
    card.fault = "the sound card was pulled out"
    slate.sound.look()
    assert slate.sound.trouble == "the sound card was pulled out"
    flash(slate, bench, qtbot)
    (told,) = [one for one in bench.crew.told if isinstance(one, Clapped)]
    assert told.text.endswith("no beep is known of")


def test_a_clap_that_no_take_keeps_is_said_and_sent_to_nobody(
    slate: Slate, bench: Bench, card: Card, qtbot: QtBot
) -> None:
    bench.connect()
    flash(slate, bench, qtbot)
    card.left.append({"sounded": bench.clock.ns})
    slate.sound.look()
    assert not [one for one in bench.crew.told if isinstance(one, Clapped)]
    assert bench.said[-1].code == "slate"
    assert "no take is recorded" in bench.said[-1].text


def test_keys_clap_and_take_it_away_and_the_card_is_let_go(slate: Slate, card: Card, qtbot: QtBot) -> None:
    qtbot.keyClick(slate, Qt.Key.Key_Return)
    assert len(card.claps) == 1
    qtbot.keyClick(slate, Qt.Key.Key_F7)
    assert not slate.isVisible()
    assert card.ended == 1
    slate.turn()
    slate.sound.look()
    assert slate.isVisible()
    assert slate.sound.device == "quay, ALSA"
    slate.turn()
    assert not slate.isVisible()


def test_stop_is_on_it_and_stops(slate: Slate, bench: Bench, qtbot: QtBot) -> None:
    bench.ready()
    assert slate.rect().contains(slate.stop.geometry())
    qtbot.mousePress(slate.stop, Qt.MouseButton.LeftButton)
    assert bench.crew.stops == 1


@pytest.mark.parametrize("key", [Qt.Key.Key_Escape, Qt.Key.Key_Space])
def test_escape_and_space_stop_the_rig_there_too(slate: Slate, bench: Bench, qtbot: QtBot, key: Qt.Key) -> None:
    keys = StopKeys(bench.link, slate)
    qtbot.keyClick(slate, key)
    assert bench.crews == [], "nothing is connected, and nothing happens"
    bench.ready()
    qtbot.keyClick(slate, key)
    assert bench.crew.stops == 1
    assert slate.isVisible()
    assert keys.parent() is slate


def test_a_clap_is_kept_when_the_slate_is_taken_away_at_once(
    slate: Slate, bench: Bench, card: Card, qtbot: QtBot
) -> None:
    recording(bench)
    flash(slate, bench, qtbot)
    slate.hide()
    (told,) = [one for one in bench.crew.told if isinstance(one, Clapped)]
    assert told.text.endswith("no beep is known of")
    assert not slate.flashing


def test_a_clap_that_has_not_flashed_yet_is_in_no_log(slate: Slate, bench: Bench, card: Card) -> None:
    recording(bench)
    slate.clap()
    slate.hide()
    assert not [one for one in bench.crew.told if isinstance(one, Clapped)]


def test_a_window_that_flashes_late_still_has_when_the_beep_was(
    slate: Slate, bench: Bench, card: Card, qtbot: QtBot
) -> None:
    recording(bench)
    bench.crew.silent = True
    slate.clap()
    (beep_ns,) = card.claps
    bench.clock.go(0.35)
    card.left.append({"sounded": beep_ns})
    slate.sound.look()
    assert not [one for one in bench.crew.told if isinstance(one, Clapped)]
    qtbot.waitUntil(lambda: slate.flashing, timeout=3000)
    (told,) = [one for one in bench.crew.told if isinstance(one, Clapped)]
    assert told.text.endswith("; beep -100.0 ms from it")


def test_the_card_of_the_music_beeps_for_as_long_as_it_flashes(slate: Slate, bench: Bench, card: Card) -> None:
    bench.link.choose(replace(bench.link.choice, audio_out="lantern"))
    device, length_s = card.asked
    assert device == "lantern"
    assert length_s == pytest.approx(FLASH_FRAMES / 25)


def test_drop_frame_is_said_and_an_unknown_clock_has_no_timecode(bench: Bench) -> None:
    status = msgspec.structs.replace(STATUS, lock="locking", timeline_s=3.0)
    one = shown(bench.desk.project, bench.link.choice, "", status, 0)
    assert one.timecode == NO_TIMECODE
    assert one.rate == "25"
    assert logged(bench.desk.project.timebase, status, 0, None) == "slate: flash, no timecode; no beep is known of"


def _ground(slate: Slate) -> QColor:
    """The colour of the slate's lower left corner, as it is drawn."""
    return slate.grab().toImage().pixelColor(2, slate.height() - 2)
