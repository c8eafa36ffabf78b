"""The whole editor in a process of its own is killed while it is edited; the next one offers what was not saved."""

import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from PyQt6.QtCore import Qt
from pytestqt.qtbot import QtBot

from sequencer.project.store import load
from sequencer.score.edits.offset import offset
from sequencer.shell.kinds import laws
from tests.ui.conftest import LANTERNS
from ui.app import compose
from ui.window import Window

pytestmark = pytest.mark.real_time
LEFT = Qt.MouseButton.LeftButton
LOST_S, LASTS_S = 2.0, 3.0


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(LANTERNS, tmp_path / "lanterns"))


@contextmanager
def opened(folder: Path, root: Path, qtbot: QtBot) -> Iterator[Window]:
    window = compose(folder, root=root)
    qtbot.addWidget(window)
    window.resize(1280, 720)
    window.show()
    qtbot.waitUntil(lambda: window.desk.folder == folder, timeout=10_000)
    yield window
    window.link.end()
    window.files.end()


def test_a_killed_editor_loses_at_most_two_seconds_and_is_known_to_others_while_it_lives(
    folder: Path, tmp_path: Path, qtbot: QtBot
) -> None:
    root, saved = tmp_path / "state", load(folder, laws())
    child = subprocess.Popen(
        [sys.executable, "-m", "tests.ui.edited_until_killed", str(folder), str(root)],
        stdout=subprocess.PIPE,
        text=True,
        env=os.environ | {"QT_QPA_PLATFORM": "offscreen"},
    )
    assert child.stdout is not None
    told = [child.stdout.readline()]
    with opened(folder, root, qtbot) as second:
        words = second.next_line.note
        qtbot.waitUntil(lambda: f"another editor as well (process {child.pid})" in words.text(), timeout=10_000)
        assert not second.questions.buttons  # what a living editor keeps is nobody else's
    made_s: dict[int, float] = {}
    while len(made_s) < 2 or max(made_s.values()) - min(made_s.values()) < LASTS_S:
        number, at_s = (told.pop() if told else child.stdout.readline()).split()
        made_s[int(number)] = float(at_s)
    child.send_signal(signal.SIGKILL)
    made_s |= {int(line.split()[0]): float(line.split()[1]) for line in child.stdout if line.endswith("\n")}
    child.stdout.close()
    assert child.wait() == -signal.SIGKILL
    last_s = max(made_s.values())
    must = max(number for number, at_s in made_s.items() if last_s - at_s > LOST_S)
    with opened(folder, root, qtbot) as window:
        qtbot.waitUntil(lambda: bool(window.questions.buttons), timeout=10_000)
        assert "ended without saving" in window.questions.words.text()
        assert window.desk.project == saved  # nothing comes back unasked
        qtbot.mouseClick(window.questions.buttons[0], LEFT)
        gone = window.desk.project.move.tracks[1].keys[1].value - saved.move.tracks[1].keys[1].value
        kept = round(gone * 1024)
        whole = replace(saved, move=offset(saved.move, {"tilt": {1}}, value=kept / 1024))
        assert window.desk.project == whole
        assert kept >= must
        window.desk.undo()
        assert window.desk.project == saved
