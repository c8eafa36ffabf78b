"""How long it takes from the command to a window with a full project drawn in it, and what the window costs when idle.

Beside it: an empty window of the same library, in the same run, each in a process of its own.
"""

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from sequencer.project.store import save
from sequencer.shell.kinds import laws
from tests.bench import dense
from tests.bench.table import Table

ROUNDS = 3
IDLE_S = 3.0
_OURS = """
import os, sys, time
begun = float(sys.argv[2])
from pathlib import Path
from PyQt6.QtWidgets import QApplication
from PyQt6.QtTest import QTest
app = QApplication([])
from ui.app import compose
window = compose(Path(sys.argv[1]), root=Path(sys.argv[3]))
window.resize(1920, 1080)
window.show()
while window.desk.folder is None:
    QTest.qWait(5)
app.processEvents()
window.timeline.repaint()
drawn_s, used_s = time.time() - begun, time.process_time()
QTest.qWait(4000)
before = time.process_time()
from PyQt6.QtCore import QTimer
QTimer.singleShot(round(float(sys.argv[4]) * 1000), app.quit)
app.exec()
print(drawn_s, used_s, (time.process_time() - before) / float(sys.argv[4]))
sys.stdout.flush()
os._exit(0)
"""
_EMPTY = """
import sys, time
begun = float(sys.argv[2])
from PyQt6.QtWidgets import QApplication, QWidget
app = QApplication([])
window = QWidget()
window.resize(1920, 1080)
window.show()
app.processEvents()
print(time.time() - begun, time.process_time(), 0.0)
"""


def tables() -> list[Table]:
    """Measure, and say it beside the bar."""
    with tempfile.TemporaryDirectory() as folder:
        project = dense.project()
        dense.sound(Path(folder))
        save(Path(folder) / "full", project, laws())
        (Path(folder) / "playback.wav").rename(Path(folder) / "full" / "playback.wav")
        ours = [_run(_OURS, Path(folder)) for _ in range(ROUNDS)]
        empty = [_run(_EMPTY, Path(folder)) for _ in range(ROUNDS)]
    rows = []
    for name, place, bar in (("from the command to the picture, s", 0, "1.5"), ("processor time of that, s", 1, "1.5")):
        best, least = min(one[place] for one in ours), min(one[place] for one in empty)
        rows.append((name, f"{best:.2f}", f"{least:.2f}", bar, "yes" if best <= float(bar) else "NO"))
    idle = 100 * min(one[2] for one in ours)
    rows.append(("idle, percent of one core", f"{idle:.1f}", "0", "3", "yes" if idle <= 3 else "NO"))
    note = "12 axes of 10,000 keys over ten minutes, and ten minutes of playback, read while it is open; best of three."
    return [Table("Opening a full project", ("", "editor", "empty window", "bar", "held"), rows, note)]


def _run(program: str, folder: Path) -> tuple[float, float, float]:
    environment = {**os.environ, "QT_QPA_PLATFORM": "offscreen"}
    arguments = [str(folder / "full"), str(time.time()), str(folder / "state"), str(IDLE_S)]
    done = subprocess.run(
        [sys.executable, "-c", program, *arguments], env=environment, capture_output=True, text=True, check=True
    )
    drawn, used, idle = map(float, done.stdout.split())
    return drawn, used, idle
