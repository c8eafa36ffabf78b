"""How late ticks are and how long they work, beside cyclictest at the same period, class and priority.

The engine process follows a real move of 16 axes on the internal clock at 500 Hz and sends one OSC bundle a tick to a
socket that nobody reads. Windows of cyclictest and of the engine take turns, so that the machine's moods meet both
alike. What counts is the median over the pairs of the ratio in a pair; the greatest value of all says nothing.

`python -m tests.bench.ticks --pairs 8 --seconds 10` for longer than the few minutes of the default.
"""

import argparse
import contextlib
import os
import shutil
import socket
import statistics
import subprocess
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

from msgspec.structs import replace
from rich.console import Console

from sequencer.playback.state import Phase
from sequencer.project.document import Project
from sequencer.project.store import load as load_project
from sequencer.project.store import save
from sequencer.rig.axis import Axis, Rig
from sequencer.score.move import Cue, Ease, Key, Move, Track
from sequencer.shell.crew import Crew, CrewFailed, crew
from sequencer.shell.kinds import laws
from sequencer.shell.messages import Arm, Ended, Quit, Setup, Start
from sequencer.shell.realtime import PRIORITY
from sequencer.shell.shoot import Plan, Watch
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, Timecode
from tests.bench.load import HAS_WINDOW, load
from tests.bench.table import Table

AXES = 16
TICK_HZ = 500
PAIRS, SECONDS = 3, 6.0
PREROLL_S = 0.5
PARTS = (0.5, 0.99, 0.999)
WORK_US = 60.0
UNQUIET_US = 500  # cyclictest's own p99 at real-time priority from which a machine says nothing of anybody


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One way to run the engine; `limits` are the most that the ratios to cyclictest may be at 99 and 99.9 %.

    `written` are the outputs, where `{port}` is one that nobody reads and `{folder}` one that is there.
    """

    name: str
    realtime: bool = True
    precise: bool = False
    record: bool = True
    limits: tuple[float, float] | None = None
    tick_hz: int = TICK_HZ
    written: str = "osc://127.0.0.1:{port}"


CASES = (
    Case(name="real-time", limits=(1.5, 2.0)),
    Case(name="real-time, not recording", record=False),
    Case(name="real-time, precise", precise=True, limits=(1.0, 1.0)),
    Case(name="normal", realtime=False),
)


@dataclass(frozen=True, slots=True)
class Window:
    """What one run of the engine gave. Unit: microseconds at PARTS; processor time as a part of one core."""

    late_us: tuple[float, ...]
    work_us: tuple[float, ...]
    processor: float
    ticks: int
    skipped: int
    timing: str


@dataclass(slots=True)
class Cell:
    """The pairs of windows of one case, idle or with load."""

    case: Case
    loaded: bool
    peer_us: list[tuple[float, ...]] = field(default_factory=list)
    ours: list[Window] = field(default_factory=list)

    def ratio(self, part: int) -> float:
        pairs = zip(self.ours, self.peer_us, strict=True)
        return statistics.median(one.late_us[part] / max(peer[part], 1.0) for one, peer in pairs)

    @property
    def held(self) -> str:
        limits = self.case.limits
        if limits is None:
            return ""
        if not all(one.timing.startswith("real-time") for one in self.ours):
            return "no real-time scheduling here"
        return "yes" if self.ratio(1) <= limits[0] and self.ratio(2) <= limits[1] else "NO"


def project(seconds: float) -> Project:
    """Return a project in which all sixteen axes move all the time, from rest to rest once a second."""
    names = [f"axis{number}" for number in range(AXES)]
    axes = tuple(
        Axis(
            name=name, kind="pan", unit="deg", travel=(-170, 170), speed=90, acceleration=400, jerk=4000, latency_s=lead
        )
        for name, lead in zip(names, [0.02, 0.03] * (AXES // 2), strict=True)
    )
    tracks = tuple(
        Track(
            name, tuple(Key(Fraction(25 * s), 20.0 * (s % 2) + number, Ease("poly345")) for s in range(round(seconds)))
        )
        for number, name in enumerate(names)
    )
    cue = Cue("all axes", Fraction(0), Fraction(25 * (round(seconds) - 1)))
    return Project(
        name="Ticks",
        timebase=Timebase(Counting(Rate(25)), Timecode(10, 0, 0, 0)),
        rig=Rig(name="Sixteen axes", axes=axes),
        move=Move(tracks=tracks, cues=(cue,)),
    )


def cyclictest(realtime: bool, seconds: float) -> tuple[float, ...]:
    """Return how late cyclictest's thread woke at PARTS. Unit: microseconds."""
    with tempfile.TemporaryDirectory() as folder:
        histogram = Path(folder) / "histogram"
        scheduling = [f"-p{PRIORITY}"] if realtime else ["--policy=other"]
        period = ["-i", str(1_000_000 // TICK_HZ), "-D", str(round(seconds))]
        keep = ["-h", "100000", "--histfile", str(histogram)]
        subprocess.run(
            ["cyclictest", "-q", "-m", "-t1", *scheduling, *period, *keep], check=True, stdout=subprocess.DEVNULL
        )
        lines = [line.split() for line in histogram.read_text().splitlines() if line and not line.startswith("#")]
    counts = [(int(late), int(number)) for late, number in lines]
    return tuple(percentile(counts, part) for part in PARTS)


def percentile(counts: Sequence[tuple[int, int]], part: float) -> float:
    """Return the value below which `part` of all lies, of values and how often each was seen."""
    wanted, seen = part * sum(number for _, number in counts), 0
    for value, number in counts:
        seen += number
        if seen >= wanted:
            return float(value)
    raise ValueError("nothing was counted")


def engine(folder: Path, case: Case, seconds: float) -> Window:
    """Run the move once, and return what the engine says of its ticks on the timeline."""
    opened = load_project(folder, laws())
    with contextlib.ExitStack() as stack:
        takes = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        rig = stack.enter_context(socket.socket(socket.AF_INET, socket.SOCK_DGRAM))
        rig.bind(("127.0.0.1", 0))
        setup = Setup(
            project=str(folder),
            run=None,
            output=case.written.format(port=rig.getsockname()[1], folder=takes),
            sync="internal",
            tick_hz=case.tick_hz,
            precise=case.precise,
            realtime=case.realtime,
            answers_needed=False,
        )
        running = stack.enter_context(crew(setup))
        timing = running.wait_opened()["engine"].timing
        watch = Watch(running, lambda status, said: None)
        plan = Plan(project=opened, cue=opened.cue(None), run=opened.run(None), folder=takes)
        path = plan.next_path()
        unrecorded = Arm(cue=plan.cue.name, preroll_s=PREROLL_S)
        recorded = replace(unrecorded, take=str(path), heading=plan.heading(path.stem))
        running.tell(recorded if case.record else unrecorded)
        watch.until(Phase.READY, 20.0)
        running.tell(Start())
        watch.until(Phase.RUNNING, 5.0)
        began_s, spent_s = time.monotonic(), processor_s()
        watch.until(Phase.FINISHED, 2 * seconds)
        part = (processor_s() - spent_s) / (time.monotonic() - began_s)
        if case.record:
            watch.until_kept()
        ended = end(running)
    return Window(ended.late_us, ended.work_us, part, ended.ticks, ended.skipped, timing)


def unpaused(folder: Path, case: Case, seconds: float) -> Window:
    """Run the move once more where a pause of the whole machine stopped it: that says nothing of the engine."""
    try:
        return engine(folder, case, seconds)
    except CrewFailed as fault:
        if "ms late" not in str(fault):
            raise
    return engine(folder, case, seconds)


def end(running: Crew) -> Ended:
    """End the engine, and return its last words."""
    running.tell(Quit())
    deadline = time.monotonic() + 5.0
    while time.monotonic() < deadline:
        # that processes end is what is wanted here
        with contextlib.suppress(CrewFailed):
            for report in running.hear(0.02):
                if isinstance(report, Ended):
                    return report
    raise AssertionError("the engine ended without its last words")


def processor_s() -> float:
    """Return the processor time that the engine process has used."""
    for task in Path("/proc/self/task").iterdir():
        for child in (task / "children").read_text().split():
            process = Path("/proc") / child
            if b"sequencer.shell.engine" in (process / "cmdline").read_bytes():
                fields = (process / "stat").read_text().rpartition(")")[2].split()
                return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    raise AssertionError("the engine process is not there")


def measure(pairs: int, seconds: float) -> list[Cell]:
    cells = [Cell(case, loaded) for loaded in (False, True) for case in CASES if case.record or not loaded]
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made) / "ticks"
        save(folder, project(seconds), laws())
        for _ in range(pairs):
            for loaded in (False, True):
                with load() if loaded else contextlib.nullcontext():
                    # cases of one class share cyclictest's window, which runs right before them
                    peers = {realtime: cyclictest(realtime, seconds) for realtime in (True, False)}
                    for cell in (one for one in cells if one.loaded is loaded):
                        cell.peer_us.append(peers[cell.case.realtime])
                        cell.ours.append(unpaused(folder, cell.case, seconds))
    return cells


def tables(pairs: int = PAIRS, seconds: float = SECONDS) -> list[Table]:
    """Return lateness beside cyclictest, and work and cost."""
    title = f"Ticks of {AXES} axes at {TICK_HZ} Hz, {pairs} pairs of windows of {seconds:g} s a row"
    if shutil.which("cyclictest") is None:
        return [Table(title, ("lateness",), [], "Not measured: cyclictest (Debian: rt-tests) is not installed here.")]
    cells = measure(pairs, seconds)
    busy = "a core kept busy and a window repainting" if HAS_WINDOW else "a core kept busy (no window: no PyQt6 here)"
    quiet = statistics.median(peer[1] for cell in cells if cell.case.realtime for peer in cell.peer_us) < UNQUIET_US
    return [
        Table(
            title,
            ("scheduling", "load", "cyclictest, us", "late, us", "ratio", "ratio in each pair", "limit", "held"),
            [lateness(cell) for cell in cells],
            "Lateness at 50 / 99 / 99.9 %, medians of the windows; ratios at 99 / 99.9 %, the median of those of the "
            f"pairs. Load: {busy}."
            + ("" if quiet else " This machine was not quiet enough for these ratios to count."),
        ),
        Table(
            "Work in a tick, and what the engine costs",
            ("scheduling", "load", "work, us", f"99 % at most {WORK_US:g} us", "processor", "ticks left out"),
            [work(cell) for cell in cells],
            "Evaluate, guard, encode, send, status, and records where a take is recorded, at 50 / 99 / 99.9 %, medians "
            "of the windows. Processor: of one core, while the move runs.",
        ),
    ]


def lateness(cell: Cell) -> tuple[str, ...]:
    pairs = zip(cell.ours, cell.peer_us, strict=True)
    each = ", ".join(
        f"{one.late_us[1] / max(peer[1], 1):.2f} / {one.late_us[2] / max(peer[2], 1):.2f}" for one, peer in pairs
    )
    limits = cell.case.limits
    return (
        cell.case.name,
        "yes" if cell.loaded else "no",
        medians(cell.peer_us),
        medians([one.late_us for one in cell.ours]),
        f"{cell.ratio(1):.2f} / {cell.ratio(2):.2f}",
        each,
        f"{limits[0]} / {limits[1]}" if limits else "",
        cell.held,
    )


def work(cell: Cell) -> tuple[str, ...]:
    p99_us = statistics.median(one.work_us[1] for one in cell.ours)
    ticks, skipped = (sum(counts) for counts in zip(*((one.ticks, one.skipped) for one in cell.ours), strict=True))
    return (
        cell.case.name,
        "yes" if cell.loaded else "no",
        medians([one.work_us for one in cell.ours]),
        ("yes" if p99_us <= WORK_US else "NO") if cell.case.realtime else "",
        f"{100 * statistics.median(one.processor for one in cell.ours):.1f} %",
        f"{skipped} of {ticks + skipped}",
    )


def medians(windows: Sequence[tuple[float, ...]]) -> str:
    return " / ".join(f"{statistics.median(values):.0f}" for values in zip(*windows, strict=True))


if __name__ == "__main__":
    from tests.bench.__main__ import show

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=PAIRS)
    parser.add_argument("--seconds", type=float, default=SECONDS)
    asked = parser.parse_args()
    for table in tables(asked.pairs, asked.seconds):
        show(Console(width=200), table)
