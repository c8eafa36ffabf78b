"""The command that opens the editor: pictures without a screen, and a real window on a screen in memory."""

import gc
import os
import subprocess
import sys
import weakref
from pathlib import Path

import pytest
from PyQt6.QtGui import QImage

from tests.needs import needs
from ui.app import _spare

REAL = """
import sys
from pathlib import Path
from PyQt6.QtCore import QPoint, Qt, QTimer
from PyQt6.QtTest import QTest
from PyQt6.QtWidgets import QApplication
app = QApplication([])
from ui.app import compose
window = compose(Path("projects/harbour-lanterns"), root=Path(sys.argv[1]))
window.resize(1280, 720)
window.show()
QTest.qWaitForWindowExposed(window)
for _ in range(200):
    QTest.qWait(50)
    if window.desk.folder is not None:
        break
desk, timeline = window.desk, window.timeline
first = desk.project
QTest.qWait(100)
layout = timeline.layout_now()
lane = layout.lanes[0]
key = first.move.tracks[0].keys[1]
at = QPoint(round(layout.x(float(first.timebase.rate.seconds(key.at)))), round(lane.y(key.value)))
QTest.mousePress(timeline, Qt.MouseButton.LeftButton, pos=at)
for step in range(1, 5):
    QTest.mouseMove(timeline, at - QPoint(0, 4 * step))
    QTest.qWait(20)
QTest.mouseRelease(timeline, Qt.MouseButton.LeftButton, pos=at - QPoint(0, 16))
moved = desk.project.move.tracks[0].keys[1]
print(app.platformName(), len(desk.history.past), moved.at == key.at, moved.value > key.value)
desk.undo()
print(desk.project == first)
window.close()
"""


class _Ring:
    """What is garbage only for who looks for rings."""

    def __init__(self) -> None:
        self.own = self


def test_what_was_opened_before_is_not_kept_for_ever() -> None:
    ring = _Ring()
    known = weakref.ref(ring)
    try:
        _spare()
        assert gc.get_freeze_count() > 0
        del ring
        gc.collect()
        assert known() is not None  # as nobody looks through it
        _spare()
        assert known() is None
    finally:
        gc.unfreeze()


@pytest.mark.real_time
def test_the_main_views_are_drawn_into_pictures(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "sequencer", "edit", "projects/harbour-lanterns", "--render", str(tmp_path / "p")]
    environment = {**os.environ, "XDG_STATE_HOME": str(tmp_path / "state")}
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=90, check=False)
    assert done.returncode == 0, done.stderr
    drawn = {path.stem: QImage(str(path)) for path in (tmp_path / "p").glob("*.png")}
    wanted = "prepare-motion prepare-keys prepare-sun prepare-outputs run run-small run-homing first-page"
    assert set(wanted.split()) <= drawn.keys()
    for picture in drawn.values():
        colours = {picture.pixel(x, y) for x in range(0, picture.width(), 9) for y in range(0, picture.height(), 9)}
        assert len(colours) > 8
    assert (drawn["run-small"].width(), drawn["run-small"].height()) == (1280, 720)


@pytest.mark.real_time
def test_pictures_of_what_is_no_project_end_with_status_two(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "sequencer", "edit", str(tmp_path), "--render", str(tmp_path / "p")]
    environment = {**os.environ, "XDG_STATE_HOME": str(tmp_path / "state")}
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 2
    assert "twintake: " in done.stderr
    assert not list((tmp_path / "p").glob("*.png"))


@pytest.mark.real_time
def test_a_key_is_dragged_in_a_real_window(tmp_path: Path) -> None:
    needs("Xvfb")
    read_end, write_end = os.pipe()
    screen = subprocess.Popen(
        ["Xvfb", "-displayfd", str(write_end), "-screen", "0", "1280x800x24", "-nolisten", "tcp"],
        pass_fds=[write_end],
        stderr=subprocess.DEVNULL,
    )
    os.close(write_end)
    try:
        with os.fdopen(read_end) as told:
            display = told.readline().strip()
        environment = {**os.environ, "DISPLAY": f":{display}", "QT_QPA_PLATFORM": "xcb"}
        environment["XDG_STATE_HOME"] = str(tmp_path / "state")
        command = [sys.executable, "-c", REAL, str(tmp_path)]
        done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=60, check=False)
    finally:
        screen.terminate()
        screen.wait()
    assert done.returncode == 0, done.stderr
    assert done.stdout.split() == ["xcb", "1", "True", "True", "True"]
