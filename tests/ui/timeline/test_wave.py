"""The playback's waveform: read beside the window, kept, and said in words where there is none."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from pytestqt.qtbot import QtBot

from sequencer.project.document import Playback
from ui.desk import Desk, Note
from ui.timeline.view import Timeline
from ui.timeline.wave import Sound


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with one file that is sound and one that only has the name."""
    samples = np.linspace(-1, 1, 24_000)[:, None] * [0.5, 0.25]
    soundfile.write(tmp_path / "right.wav", samples, 8000)
    (tmp_path / "wrong.wav").write_bytes(b"this is a letter, not a sound" * 50)
    return tmp_path


def put(desk: Desk, folder: Path, name: str) -> None:
    desk.open(replace(desk.project, playback=Playback(file=name)), folder)


def test_a_file_is_read_beside_the_window_and_kept(desk: Desk, qtbot: QtBot, folder: Path) -> None:
    sound = Sound(desk)
    put(desk, folder, "right.wav")
    assert sound.reading
    assert "right.wav" in sound.words
    qtbot.waitUntil(lambda: not sound.reading)
    first = sound.waveform
    assert first is not None
    assert first.lasts_s == 3.0
    assert (first.low[-1].min(), first.high[-1].max()) == pytest.approx((-0.5, 0.5), abs=1e-3)
    desk.edit("no music", replace(desk.project, playback=None))
    assert sound.waveform is None
    desk.undo()
    assert sound.waveform is first
    soundfile.write(folder / "right.wav", np.zeros((800, 1)), 8000)
    put(desk, folder, "right.wav")
    qtbot.waitUntil(lambda: not sound.reading)
    assert sound.waveform is not None
    assert sound.waveform.lasts_s == pytest.approx(0.1)


@pytest.mark.parametrize("name", ["wrong.wav", "gone.wav"])
def test_what_cannot_be_read_is_said_and_the_lanes_are_drawn(desk: Desk, qtbot: QtBot, folder: Path, name: str) -> None:
    notes: list[Note] = []
    desk.noted.connect(notes.append)
    view = Timeline(desk)
    qtbot.addWidget(view)
    view.resize(900, 500)
    put(desk, folder, name)
    qtbot.waitUntil(lambda: not view.sound.reading)
    assert name in view.sound.words
    assert [note.weight for note in notes] == ["told"]
    assert name in notes[0].words
    assert view.sound.waveform is None
    wave = view.layout_now().wave
    assert wave is not None
    picture = view.grab().toImage()
    colours = {picture.pixel(x, round(wave.top_px + wave.height_px / 2)) for x in range(150, 400)}
    assert len(colours) > 3  # the words


def test_another_file_is_read_though_the_first_was_not_done(desk: Desk, qtbot: QtBot, folder: Path) -> None:
    sound = Sound(desk)
    put(desk, folder, "wrong.wav")
    put(desk, folder, "right.wav")
    qtbot.waitUntil(lambda: not sound.reading)
    assert sound.waveform is not None
    assert sound.words == ""
