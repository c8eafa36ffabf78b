"""The scenes of the part `editor`, in a process of their own: `python -m tests.bench.editor_scenes ours FOLDER`."""

import json
import sys
import time
from collections.abc import Callable
from fractions import Fraction
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from PyQt6.QtCore import QEvent, QEventLoop
from PyQt6.QtGui import QImage, QPainter
from PyQt6.QtWidgets import QApplication, QWidget

from tests.bench.dense import AXES, KEYS, LASTS_S, RATE, project
from ui.timeline import ink

SIZE_PX = (1920, 1080)
FRAMES, WARM = 80, 8
DRAGGED = KEYS // 2
IDLE_S = 4.0
LEG = 32  # samples a leg that the peer is given: it has no curves, and one zooms in until a leg is 100 pixels wide
APART_PX = 5  # keys nearer than that get no mark


def timed(step: Callable[[int], None]) -> list[float]:
    """Return the median and 95 % of a frame's processor time, in ms."""
    for number in range(WARM):
        step(number)
    taken = []
    for number in range(WARM, WARM + FRAMES):
        begin = time.process_time_ns()
        step(number)
        taken.append((time.process_time_ns() - begin) / 1e6)
    return [float(np.median(taken)), float(np.quantile(taken, 0.95))]


def private_mb() -> float:
    """Return the memory that is this process's own."""
    rows = Path("/proc/self/smaps_rollup").read_text(encoding="ascii").splitlines()
    return sum(int(row.split()[1]) for row in rows if row.startswith("Private_")) / 1024


def yardstick() -> list[float]:
    """Return the time of a fixed piece of work, in ms: it says how fast the machine is just now."""
    numbers = np.random.default_rng(1).random((400, 1800))
    picture = QImage(*SIZE_PX, QImage.Format.Format_ARGB32_Premultiplied)
    x = np.arange(0.0, SIZE_PX[0] - 20, 10)
    lines = np.stack((x, np.full(len(x), 100.0), x + 7, np.full(len(x), 500.0)), axis=1)

    def work(_: int) -> None:
        for _ in range(3):
            np.minimum(numbers, 0.5) * 3
        picture.fill(0)
        painter = QPainter(picture)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        ink.rule(painter, lines)
        painter.end()

    return timed(work)


def looks(number: int) -> dict[str, tuple[float, float]]:
    """Return the stretch in sight of each scene at one frame."""
    return {
        "full": (-0.01 * number, LASTS_S + 0.01 * number),
        "minute": (200 + 0.15 * number, 260 + 0.15 * number),
        "zoom": (300 - 0.01 * number, 310 + 0.01 * number),
        "pan": (300 + 0.03 * number, 310 + 0.03 * number),
    }


def ours(folder: Path) -> dict[str, list[float]]:
    """Return the scenes of our timeline."""
    from sequencer.shell.kinds import laws
    from ui.desk import Desk
    from ui.timeline.geometry import hit
    from ui.timeline.view import Timeline

    application = QApplication.instance()
    assert isinstance(application, QApplication)
    empty = QWidget()
    shown(empty)
    at_first = private_mb()
    desk = Desk(project(), laws(), folder)
    with_document = private_mb()
    began = time.monotonic()
    view = Timeline(desk)
    view.resize(*SIZE_PX)
    view.show()
    while view.sound.reading and time.monotonic() - began < 60:
        application.processEvents()
        time.sleep(0.01)
    found = {"sound": [time.monotonic() - began]}
    view.grab()
    found["yardstick"] = yardstick()
    found |= scenes(application, desk, view)
    for scene, span in (("hit", (295.0, 305.0)), ("hit_full", (0.0, float(LASTS_S)))):
        desk.look(*span)
        found[scene] = [hits_us(partial(hit, view.layout_now(), desk.shapes))]
    settle(application)
    found["memory"], found["document"] = [private_mb() - with_document], [with_document - at_first]
    found["idle"] = [idle_percent(application)]
    return found


def scenes(application: QApplication, desk: Any, view: Any) -> dict[str, list[float]]:
    """Return what is drawn, each as it is done by hand."""
    from sequencer.score.edits.keys import placed

    found = {}
    before, axis = desk.project, desk.project.rig.names[5]
    key = before.move.tracks[5].keys[DRAGGED]

    def look(scene: str, number: int) -> None:
        desk.look(*looks(number)[scene])
        view.repaint()

    def drag(number: int) -> None:
        value, at = key.value + 0.2 * (number % 9), key.at + Fraction(number % 7, 20)
        desk.draft(placed(before.move, axis, DRAGGED, at=at, value=value))
        painted(view)

    def playhead(number: int) -> None:
        desk.place(Fraction(number * 40))
        painted(view)

    for scene in ("full", "minute", "zoom", "pan"):
        found[scene] = timed(partial(look, scene))
    for scene, span in (("drag", (295.0, 305.0)), ("drag_full", (0.0, float(LASTS_S)))):
        desk.look(*span)
        settle(application)
        found[scene] = timed(drag)
        desk.abandon()
        settle(application)
    found["playhead"] = timed(playhead)
    return found


def hits_us(seek: Callable[[float, float], object]) -> float:
    """Return how long a look for a key takes, in microseconds."""
    places = [(120.0 + 17 * number % 1780, 160.0 + 31 * number % 900) for number in range(400)]
    begin = time.process_time_ns()
    for x, y in places:
        seek(x, y)
    return (time.process_time_ns() - begin) / 1e3 / len(places)


def idle_percent(application: QApplication) -> float:
    """Return how much of a processor a window takes that nobody touches."""
    begin, began = time.process_time_ns(), time.monotonic()
    while time.monotonic() - began < IDLE_S:
        application.processEvents(QEventLoop.ProcessEventsFlag.AllEvents, 50)
        time.sleep(0.02)
    return (time.process_time_ns() - begin) / 1e7 / (time.monotonic() - began)


def peer(folder: Path) -> dict[str, list[float]]:
    """Return the scenes of pyqtgraph, set up as it is quickest."""
    window, curves, marks, data = plotted(folder)
    plot = window.getPlotItem()
    at_s = data[0][0][::LEG]

    def look(begin_s: float, end_s: float) -> None:
        inside = slice(*np.searchsorted(at_s, (begin_s, end_s)).tolist())
        apart_px = SIZE_PX[0] / max(1, inside.stop - inside.start)
        for number in range(AXES):
            if apart_px >= APART_PX:
                marks[number].setData(at_s[inside], data[number][1][::LEG][inside])
            elif len(marks[number].data):
                marks[number].clear()
        plot.setXRange(begin_s, end_s, padding=0)

    def scene(name: str, number: int) -> None:
        look(*looks(number)[name])
        window.viewport().repaint()

    def drag(number: int) -> None:
        t_s, value = data[5]
        value = value.copy()
        value[(DRAGGED - 1) * LEG : (DRAGGED + 1) * LEG] += 0.002 * (number % 9)
        curves[5].setData(t_s, value)
        painted(window)

    found = {"yardstick": yardstick()}
    found |= {name: timed(partial(scene, name)) for name in ("full", "minute", "zoom", "pan")}
    for name, span in (("drag", (295.0, 305.0)), ("drag_full", (0.0, float(LASTS_S)))):
        look(*span)
        window.viewport().repaint()
        found[name] = timed(drag)
    return found


def plotted(folder: Path) -> tuple[Any, list[Any], list[Any], list[tuple[Any, Any]]]:
    """Return the peer's window with all curves in one plot, lane over lane: a plot each takes several times as long."""
    import pyqtgraph
    import soundfile

    pyqtgraph.setConfigOptions(antialias=True, useOpenGL=False)  # as smooth as ours, and no wider
    window = pyqtgraph.PlotWidget()
    plot = window.getPlotItem()
    plot.hideAxis("left")
    plot.hideButtons()
    plot.setMouseEnabled(x=True, y=False)
    plot.disableAutoRange()
    plot.setYRange(0, AXES + 1, padding=0)
    samples, _ = soundfile.read(folder / "playback.wav", dtype="float32")
    rows = samples[: len(samples) // 480 * 480].reshape(-1, 960)
    ends = np.stack((rows.min(axis=1), rows.max(axis=1)), axis=1).ravel()
    curve(plot, np.arange(len(ends)) * 0.005, AXES + 0.5 + 0.45 * ends)
    curves, marks, data = [], [], []
    for number, track in enumerate(project().move.tracks):
        t_s, value = drawn(track.keys)
        data.append((t_s, number + 0.5 + value / 100))
        curves.append(curve(plot, *data[-1]))
        marks.append(pyqtgraph.ScatterPlotItem(size=9, pen=None, brush="w"))
        plot.addItem(marks[-1])
    shown(window)
    return window, curves, marks, data


def drawn(keys: Any) -> tuple[Any, Any]:
    """Return a track's curve, sampled: a plot has no curves of its own."""
    at_s = np.array([float(key.at) / RATE.num for key in keys])
    value = np.array([key.value for key in keys])
    part = np.arange(LEG) / LEG
    eased = part**3 * (10 - 15 * part + 6 * part**2)
    t_s = at_s[:-1, None] + np.diff(at_s)[:, None] * part
    return t_s.ravel(), (value[:-1, None] + np.diff(value)[:, None] * eased).ravel()


def curve(plot: Any, x: Any, y: Any) -> Any:
    """Add a curve that is drawn with as few points as show all of its peaks."""
    item = plot.plot(x, y, pen="y")
    item.setDownsampling(auto=True, method="peak")
    item.opts["autoDownsampleFactor"] = 1.0
    item.setClipToView(True)
    return item


def painted(window: QWidget) -> None:
    """Have painted now what the window thinks is out of date, and no more."""
    QApplication.processEvents()
    QApplication.sendEvent(window, QEvent(QEvent.Type.UpdateRequest))


def shown(window: QWidget) -> None:
    window.resize(*SIZE_PX)
    window.show()
    for _ in range(20):
        QApplication.processEvents()


def settle(application: QApplication) -> None:
    until = time.monotonic() + 0.4
    while time.monotonic() < until:
        application.processEvents()


if __name__ == "__main__":
    kept = QApplication(sys.argv[:1])
    print(json.dumps({"ours": ours, "peer": peer}[sys.argv[1]](Path(sys.argv[2]))))
