"""How long the timeline takes to draw, beside pyqtgraph with the same data, each in a process of its own.

Times are of the processor, from the change to the end of the painting; the best of three rounds. The peer is set up as
it is quickest: peaks of what a pixel holds, only what is in sight, no marks of keys that would touch, and the sound
reduced to 10 ms before it sees it. Without the peer or a second pixel ratio in reach a cell says so.
"""

import importlib.util
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from tests.bench.dense import sound
from tests.bench.table import Table

ROUNDS = 3
HAS_QT = importlib.util.find_spec("PyQt6") is not None
HAS_PEER = HAS_QT and importlib.util.find_spec("pyqtgraph") is not None


@dataclass(frozen=True, slots=True)
class Bar:
    """What a scene may take at 95 %, at pixel ratio 1 and 2, and its part of the peer's time. Unit: ms."""

    name: str
    words: str
    most_ms: float
    most_twice_ms: float | None = None
    part: float | None = None


BARS = (
    Bar("full", "full view, 600 s", 8.0, 16.7, 0.15),
    Bar("minute", "60 s in sight, scrolling", 8.0, 16.7, 0.35),
    Bar("zoom", "10 s in sight, zooming", 8.0, 16.7, 0.85),
    Bar("pan", "10 s in sight, panning", 8.0, 16.7, 0.85),
    Bar("drag", "dragging a key, 10 s in sight", 2.0, None, 0.35),
    Bar("drag_full", "dragging a key, full view", 2.0, None, 0.35),
    Bar("playhead", "the playhead alone", 0.5),
)

Found = Mapping[str, list[float]]


def rounds(which: str, ratio: int, folder: Path) -> Found:
    """Return for each scene the best of three rounds: the median, and 95 %; and other numbers as they come."""
    best: dict[str, list[float]] = {}
    environment = {
        **os.environ,
        "QT_QPA_PLATFORM": "offscreen",
        "QT_SCALE_FACTOR": str(ratio),
        "QT_QPA_UPDATE_IDLE_TIME": "0",
    }
    for _ in range(ROUNDS):
        command = [sys.executable, "-m", "tests.bench.editor_scenes", which, str(folder)]
        done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
        if done.returncode:
            raise AssertionError(f"the scenes of {which} ended: {done.stderr[-2000:]}")
        for name, numbers in json.loads(done.stdout.splitlines()[-1]).items():
            best[name] = [min(pair) for pair in zip(best.get(name, numbers), numbers, strict=True)]
    return best


def tables() -> list[Table]:
    """Measure, and return what to print."""
    if not HAS_QT:
        return [Table("The timeline", ("",), [("not measured: PyQt6 is not there",)])]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        sound(folder)
        ours, twice = rounds("ours", 1, folder), rounds("ours", 2, folder)
        peer = rounds("peer", 1, folder) if HAS_PEER else {}
    return [_scenes(ours, twice, peer), _others(ours)]


def _scenes(ours: Found, twice: Found, peer: Found) -> Table:
    rows = []
    for bar in BARS:
        median, most = ours[bar.name]
        part = "-"
        if bar.part is not None:
            part = f"{median / peer[bar.name][0]:.2f} ({bar.part})" if bar.name in peer else "no peer here"
        rows.append(
            (
                bar.words,
                f"{median:.2f} / {most:.2f}",
                f"{bar.most_ms:g}",
                f"{twice[bar.name][0]:.2f} / {twice[bar.name][1]:.2f}",
                "-" if bar.most_twice_ms is None else f"{bar.most_twice_ms:g}",
                f"{peer[bar.name][0]:.2f} / {peer[bar.name][1]:.2f}" if bar.name in peer else "-",
                part,
            )
        )
    columns = ("scene", "ms", "bar", "ms at ratio 2", "bar", "pyqtgraph, ms", "part of it (bar)")
    note = (
        "Median / 95 %; the bar is for 95 %, its part for medians. Dragging includes compiling and judging the track. "
        "A fixed piece of drawing and numbers took, beside ours, at ratio 2 and beside the peer, "
        + ", ".join(f"{one['yardstick'][0]:.1f}" for one in (ours, twice, peer) if one)
        + " ms: other work on the machine makes all of these slower."
    )
    return Table("The timeline: 12 tracks of 10,000 keys, ten minutes of sound, 1920 by 1080", columns, rows, note)


def _others(ours: Found) -> Table:
    rows = [
        ("finding the key under the pointer, zoomed, us", f"{ours['hit'][0]:.1f}", "50"),
        ("the same, full view, us", f"{ours['hit_full'][0]:.1f}", "50"),
        ("memory above an empty window, MB", f"{ours['memory'][0]:.0f}", "60"),
        ("of the document and its shapes beside, MB", f"{ours['document'][0]:.0f}", "-"),
        ("processor of a shown window that nobody touches, %", f"{ours['idle'][0]:.2f}", "3"),
        ("reading the sound, s (in a thread)", f"{ours['sound'][0]:.2f}", "-"),
    ]
    note = "Memory is the process's own: private pages. The empty window has the program, the document and its shapes."
    return Table("The timeline: what else it takes", ("what", "here", "bar"), rows, note)
