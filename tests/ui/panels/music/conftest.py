"""What tests of the music panel share: a desk whose project has a playback and no tempo, and the panel on it."""

import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
import soundfile
from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QAbstractButton
from pytestqt.qtbot import QtBot

from sequencer.project.store import load
from sequencer.shell.kinds import laws
from sequencer.timebase.tempo import TempoMap
from tests.music import sounds
from tests.ui.conftest import LANTERNS
from ui.desk import Desk
from ui.panels.music import MusicPanel

LEFT = Qt.MouseButton.LeftButton


class Clock:
    """A clock that a test sets."""

    now_s = 0.0

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(LANTERNS, tmp_path / "harbour"))


@pytest.fixture
def bare(folder: Path, qtbot: QtBot) -> Desk:
    """A desk whose project has a playback and no tempo."""
    project = load(folder, laws())
    return Desk(replace(project, tempo=None), laws(), folder)


@pytest.fixture
def panel(bare: Desk, clock: Clock, qtbot: QtBot) -> Iterator[MusicPanel]:
    shown = MusicPanel(bare, clock)
    qtbot.addWidget(shown)
    shown.resize(420, 1000)
    shown.show()
    yield shown
    shown.hearing.cancel()


def find(panel: MusicPanel, qtbot: QtBot, button: QAbstractButton | None = None) -> None:
    qtbot.mouseClick(button or panel.listen, LEFT)
    qtbot.waitUntil(lambda: not panel.hearing.listening, timeout=20_000)


def tempo_of(desk: Desk) -> TempoMap:
    assert desk.project.tempo is not None
    return desk.project.tempo


def grid_of(panel: MusicPanel) -> TempoMap:
    assert panel.grid is not None
    return panel.grid


def sing(folder: Path, song: sounds.Song) -> None:
    soundfile.write(folder / "playback.wav", song.samples, song.rate_hz)
