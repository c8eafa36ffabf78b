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
# the command itself, up to where it hands over to Qt's loop
_OURS = """
import os, sys, time
begun, idle_s = float(sys.argv[2]), float(sys.argv[3])
from sequencer.cli.start import main

def measured(*_):
    from PyQt6.QtTest import QTest
    from ui.window import Window
    window = next(one for one in app.topLevelWidgets() if isinstance(one, Window))
    window.resize(1920, 1080)
    while window.pages.currentWidget() is not window.body:
        QTest.qWait(5)
    app.processEvents()
    window.timeline.repaint()
    drawn_s, used_s = time.time() - begun, time.process_time()
    assert window.desk.project.move.tracks and window.timeline.isVisible()
    QTest.qWait(4000)
    before = time.process_time()
    QTimer.singleShot(round(idle_s * 1000), app.quit)
    loop()
    print(drawn_s, used_s, (time.process_time() - before) / idle_s)
    sys.stdout.flush()
    os._exit(0)

from PyQt6.QtCore import QTimer
from PyQt6.QtWidgets import QApplication
app, loop = QApplication([]), QApplication.exec
QApplication.exec = measured
sys.argv[1:] = ["edit", sys.argv[1]]
main()
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
        first = _run(_OURS, Path(folder))
        ours = [_run(_OURS, Path(folder)) for _ in range(ROUNDS)]
        empty = [_run(_EMPTY, Path(folder)) for _ in range(ROUNDS)]
    rows = []
    for name, place, bar in (("from the command to the picture, s", 0, "1.5"), ("processor time of that, s", 1, "1.5")):
        best, least = min(one[place] for one in ours), min(one[place] for one in empty)
        rows.append((name, f"{best:.2f}", f"{least:.2f}", bar, "yes" if best <= float(bar) else "NO"))
    rows.append(("the very first time, Python compiles all of it, s", f"{first[0]:.2f}", "", "", ""))
    idle = 100 * min(one[2] for one in ours)
    rows.append(("idle, percent of one core", f"{idle:.1f}", "0", "3", "yes" if idle <= 3 else "NO"))
    note = (
        "12 axes of 10,000 keys over ten minutes, and ten minutes of playback, read while it is open; best of three, "
        "with the program compiled, as it is once it was installed or has run."
    )
    return [Table("Opening a full project", ("", "editor", "empty window", "bar", "held"), rows, note)]


def _run(program: str, folder: Path) -> tuple[float, float, float]:
    environment = {**os.environ, "QT_QPA_PLATFORM": "offscreen", "XDG_STATE_HOME": str(folder / "state")}
    # what was compiled lies in a folder of the benchmark's own, whatever else has run on this machine before
    environment |= {"PYTHONPYCACHEPREFIX": str(folder / "compiled"), "PYTHONDONTWRITEBYTECODE": ""}
    arguments = [str(folder / "full"), str(time.time()), str(IDLE_S)]
    done = subprocess.run(
        [sys.executable, "-c", program, *arguments], env=environment, capture_output=True, text=True, check=True
    )
    drawn, used, idle = map(float, done.stdout.split())
    return drawn, used, idle
