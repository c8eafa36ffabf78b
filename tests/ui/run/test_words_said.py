"""Sentences of the run's pages on what is not there."""

from dataclasses import replace

from pytestqt.qtbot import QtBot

from tests.ui.link.fakes import Bench
from tests.ui.run.test_going import AT_ZERO
from ui.acts.poses import Poses
from ui.run.going import GoPanel
from ui.run.slate import Slate


def test_where_there_are_no_marks_that_is_said(bench: Bench, qtbot: QtBot) -> None:
    bench.desk.open(replace(bench.desk.project, marks=()), bench.desk.folder)
    panel = GoPanel(Poses(bench.desk, bench.link))
    qtbot.addWidget(panel)
    bench.connect()
    bench.phase("idle", asked=AT_ZERO, actual=AT_ZERO)
    assert panel.ways.text() == "There are no marks; store one first."


def test_a_slate_without_sound_says_why(bench: Bench, qtbot: QtBot) -> None:
    slate = Slate(bench.desk, bench.link)
    qtbot.addWidget(slate)
    slate.sound.trouble = "no sound card is there; plug one in"
    assert slate._sound_words(slate.now()) == "no beep: no sound card is there; plug one in"
