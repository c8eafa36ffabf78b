"""Stops from the editor's whole window, drawn into memory: a stop key, put into the queue of events by another thread.

A process of its own, since a window needs its process's first thread: `python -m tests.bench.stop_window 60` prints
what each stop took as JSON. What the window is busy with when the key comes is its own: the playhead and the plates.
"""

import json
import random
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import asdict, replace
from pathlib import Path

from PyQt6.QtCore import QCoreApplication, QEvent, Qt
from PyQt6.QtGui import QKeyEvent
from PyQt6.QtWidgets import QApplication

from sequencer.motion.trajectory import Trajectory
from tests.bench.stop_causes import LATEST_S, PATIENCE_S, SOONEST_S, saved
from tests.bench.stop_rig import StopRig, stop_rig
from tests.bench.stopped import NotCounted, Stopped, compiled, project, reckon
from ui.app import compose
from ui.beside import Sweep
from ui.window import Window

SIZE_PX = (1600, 940)
_REST_S = 0.4
_FORMAT = "osc://127.0.0.1:{}?form=d"


class Screen:
    """The window with the rig connected."""

    def __init__(self, window: Window, rig: StopRig, luck: random.Random) -> None:
        self.window, self.link, self.rig, self.luck = window, window.link, rig, luck
        self.wait(lambda: self.window.desk.folder is not None, "the project was open")
        self.link.choose(replace(self.link.choice, rig=_FORMAT.format(rig.port), preroll_s=0.0))
        self.link.clear(True)
        self.link.open()
        self.wait(lambda: self.link.now.state == "idle", "the rig was connected")

    def wait(self, what: Callable[[], bool], words: str, patience_s: float = PATIENCE_S) -> None:
        until_s = time.monotonic() + patience_s
        while not what():
            if time.monotonic() > until_s:
                raise AssertionError(f"it took too long until {words}; {self.link.now}")
            self.run(0.005)

    def run(self, for_s: float) -> None:
        """Let the window do what comes, as its loop would."""
        until_s = time.monotonic() + for_s
        while (left_s := until_s - time.monotonic()) > 0:
            QApplication.processEvents()
            time.sleep(min(0.0005, left_s))

    def stop(self, move: Trajectory) -> Stopped:
        """Run the move and stop it by a key. Error: NotCounted."""
        self.link.arm()
        self.wait(lambda: self.link.now.can_start, "the rig was at the start")
        record = self.rig.begin()
        self.link.start()
        self.wait(lambda: self.link.newest is not None and self.link.newest.phase == "running", "the move began")
        status = self.link.newest
        assert status is not None
        pressed: list[int] = []
        after_s, event = self.luck.uniform(SOONEST_S, LATEST_S), _key(QEvent.Type.KeyPress)
        thread = threading.Thread(target=self._press, args=(after_s, event, pressed))
        thread.start()
        self.wait(lambda: self.link.now.state == "stopped" and record.rests_ns is not None, "the rig stood")
        thread.join()
        self.run(_REST_S)
        QCoreApplication.postEvent(self.window, _key(QEvent.Type.KeyRelease))
        self.link.reset()
        self.wait(lambda: self.link.now.state == "idle", "the stop was cleared")
        return reckon(record, pressed[0], move, (status.at_ns, status.timeline_s))

    def _press(self, after_s: float, event: QKeyEvent, pressed: list[int]) -> None:
        time.sleep(after_s)
        pressed.append(time.monotonic_ns())
        QCoreApplication.postEvent(self.window, event)


def _key(kind: QEvent.Type) -> QKeyEvent:
    return QKeyEvent(kind, Qt.Key.Key_Escape, Qt.KeyboardModifier.NoModifier)


def main(count: int) -> None:
    """Print the stops, and why some were not counted."""
    app = QApplication(sys.argv[:1])
    stops: list[Stopped] = []
    left_out: list[str] = []
    with tempfile.TemporaryDirectory() as state, saved() as folder, stop_rig(project().rig) as rig, Sweep():
        window = compose(folder, root=Path(state))
        window.resize(*SIZE_PX)
        window.show()
        screen = Screen(window, rig, random.Random(3))
        move = compiled(project())
        for _ in range(count):
            try:
                stops.append(screen.stop(move))
            except NotCounted as why:
                left_out.append(str(why))
        window.link.end()
        window.files.end()
        window.deleteLater()
        app.sendPostedEvents(None, QEvent.Type.DeferredDelete.value)
    print(json.dumps({"stops": [asdict(one) for one in stops], "left_out": left_out}))


if __name__ == "__main__":
    main(int(sys.argv[1]))
