"""How a running take is shown in the terminal: one line that lives, and a line for each thing that happens."""

from types import TracebackType

from rich.console import Console
from rich.progress import BarColumn, Progress, TaskID, TextColumn

from sequencer.rig.axis import Rig
from sequencer.shell.messages import Said, Status
from sequencer.timebase.timecode import Timebase


class Shown:
    """The progress of takes. Use it as a context; `look` is what a Watch calls."""

    def __init__(self, console: Console, timebase: Timebase, span_s: tuple[float, float]) -> None:
        self._timebase = timebase
        self._start_s, self._end_s = span_s
        self._progress = Progress(
            TextColumn("{task.description}", style="bold", markup=False),
            BarColumn(bar_width=30),
            TextColumn("{task.fields[phase]:<12} {task.fields[timecode]}  clock {task.fields[clock]}", markup=False),
            console=console,
        )
        self._task: TaskID | None = None

    def __enter__(self) -> "Shown":
        self._progress.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, at: TracebackType | None) -> None:
        self._progress.stop()

    def begin(self, name: str) -> None:
        """Show a new line for the take `name`."""
        length = self._end_s - self._start_s
        self._task = self._progress.add_task(name, total=length, phase="", timecode="", clock="")

    def look(self, status: Status | None, said: list[Said]) -> None:
        for one in said:
            self._progress.console.print(f"  {one.text}", markup=False, highlight=False)
        if status is None or self._task is None:
            return
        waiting = status.lock in ("waiting", "locking")
        self._progress.update(
            self._task,
            completed=0 if waiting else max(0.0, min(status.timeline_s, self._end_s) - self._start_s),
            phase=status.phase,
            timecode="--:--:--:--" if waiting else str(self._timebase.label_at(status.timeline_s)),
            clock=clock_words(status),
        )


def clock_words(status: Status) -> str:
    """Say how well the master's time is known: `locked, 100.00 %, within 30 us, 2 lost`."""
    if status.lock not in ("locked", "freewheel"):
        return status.lock
    lost = f", {status.lost} lost" if status.lost else ""
    return f"{status.lock}, {status.speed * 100:.2f} %, within {status.uncertainty_s * 1e6:.0f} us{lost}"


def position_words(rig: Rig, status: Status) -> str:
    """Say where every axis was sent last: `pan -20.00 deg, slide 400.00 mm, focus 0.500`."""
    places = zip(rig.axes, status.asked, strict=True)
    return ", ".join(
        f"{axis.name} {value:.3f}" if axis.unit == "part" else f"{axis.name} {value:.2f} {axis.unit}"
        for axis, value in places
    )
