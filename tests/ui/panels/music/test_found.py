"""The beat is found elsewhere, from nothing else than the playback, and what cannot be heard is said."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from PyQt6.QtCore import QPoint
from pytestqt.qtbot import QtBot

from sequencer.project import audiofile
from sequencer.timebase.tempo import TempoMap
from tests.music import sounds
from tests.ui.panels.music.conftest import LEFT, find, grid_of, sing, tempo_of
from ui.desk import Desk
from ui.panels import hearing
from ui.panels.music import MusicPanel


def test_the_beat_is_found_and_changes_nothing_until_it_is_put_on_the_grid(
    panel: MusicPanel, bare: Desk, qtbot: QtBot
) -> None:
    first = bare.project
    assert not panel.put.isEnabled()
    find(panel, qtbot)
    assert "96 BPM (sure)" in panel.said.text()
    assert "within 1 ms" in panel.quality.text()
    assert bare.project is first
    qtbot.mouseClick(panel.put, LEFT)
    assert tempo_of(bare) == TempoMap(Fraction(96), 4)
    assert [step.words for step in bare.history.past] == ["tempo 96 BPM in 4/4"]
    assert not panel.put.isEnabled()
    bare.undo()
    assert bare.project == first


def test_listening_can_be_stopped(panel: MusicPanel, bare: Desk, folder: Path, qtbot: QtBot) -> None:
    sing(folder, sounds.clicks(120, 60))
    qtbot.mouseClick(panel.listen, LEFT)
    assert panel.cancel.isVisible()
    assert "listening to playback.wav" in panel.said.text()
    thread = panel.hearing._thread
    assert thread is not None
    qtbot.mouseClick(panel.cancel, LEFT)
    thread.join(20)
    assert (thread.heard, thread.over) == (None, False)
    assert "stopped; nothing was changed" in panel.said.text()
    assert not panel.cancel.isVisible()
    assert panel.grid is None
    assert bare.project.tempo is None
    find(panel, qtbot)
    assert grid_of(panel).bpm == 120


def test_what_was_heard_is_kept_until_the_file_is_another(
    panel: MusicPanel, folder: Path, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    read: list[Path] = []

    def counted(path: Path, *rest: Any) -> Any:
        read.append(path)
        return loaded(path, *rest)

    loaded = audiofile.load
    monkeypatch.setattr(hearing, "load", counted)
    find(panel, qtbot)
    qtbot.mouseClick(panel.leave, LEFT)
    find(panel, qtbot)
    assert len(read) == 1
    assert grid_of(panel).bpm == 96
    sing(folder, sounds.clicks(110, 12, 12_000))
    find(panel, qtbot)
    assert len(read) == 2
    assert grid_of(panel).bpm == 110


def test_the_beat_is_found_near_a_typed_tempo(panel: MusicPanel, qtbot: QtBot) -> None:
    panel.tempo.line.setFocus()
    qtbot.keyClicks(panel.tempo.line, "47 ")
    find(panel, qtbot, panel.near)
    assert panel.grid is not None
    assert panel.grid.bpm == 48


def test_music_that_gets_faster_is_followed_or_not(panel: MusicPanel, bare: Desk, folder: Path, qtbot: QtBot) -> None:
    sing(folder, sounds.drums(106, 30, at_s=sounds.gliding(103, 109, 30), rate_hz=12_000))
    panel.tempo.line.setFocus()
    qtbot.keyClicks(panel.tempo.line, "106")
    find(panel, qtbot, panel.near)
    assert "they are not even" in panel.said.text()
    assert panel.steps.isChecked()
    assert panel.grid is not None
    assert len(panel.grid.changes) >= 1
    assert "tempi from 10" in panel.quality.text()
    qtbot.mouseClick(panel.put, LEFT)
    assert tempo_of(bare).changes
    qtbot.mouseClick(panel.steps, LEFT, pos=QPoint(8, panel.steps.height() // 2))
    assert panel.grid is not None
    assert panel.grid.changes == ()
    assert "the farthest" in panel.quality.text()


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda path: path.unlink(), "playback.wav is not there; copy it into"),
        (lambda path: path.write_bytes(b"no sound at all"), "no audio file that can be read"),
        (lambda path: path.write_bytes(path.read_bytes()[:30]), "no audio file that can be read"),
        (lambda path: soundfile.write(path, np.zeros(120_000), 12_000), "no steady beat found: the audio is silent"),
        (lambda path: soundfile.write(path, sounds.noise(9, 12_000), 12_000), "no steady beat found: nothing"),
        (lambda path: soundfile.write(path, np.zeros(0), 12_000), "no steady beat found: the audio lasts 0.0 s"),
        (
            lambda path: soundfile.write(path, np.full(120_000, np.nan), 12_000, subtype="FLOAT"),
            "has samples that are no numbers; export it again",
        ),
    ],
    ids=["gone", "text", "cut", "silent", "noise", "empty", "nan"],
)
def test_a_playback_that_cannot_be_used_is_said_with_the_mend(
    panel: MusicPanel, bare: Desk, folder: Path, qtbot: QtBot, spoil: Any, words: str
) -> None:
    spoil(folder / "playback.wav")
    find(panel, qtbot)
    assert words in panel.said.text()
    assert panel.grid is None
    assert not panel.put.isEnabled()
    assert bare.project.tempo is None


def test_without_a_playback_or_a_folder_it_says_what_to_do(panel: MusicPanel, bare: Desk, qtbot: QtBot) -> None:
    bare.open(bare.project, None)
    find(panel, qtbot)
    assert "save the project first" in panel.said.text()
    bare.edit("no playback", replace(bare.project, playback=None))
    find(panel, qtbot)
    assert "has no playback" in panel.said.text()
    qtbot.mouseClick(panel.double, LEFT)
    assert "there is no tempo to change yet" in panel.said.text()
