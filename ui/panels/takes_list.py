"""The take files of a project as a list: what each is of, how long, whole or why not, and what the crew says of it.

It refuses to know Qt, and to leave out a file that cannot be read.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from pathlib import Path

from sequencer.errors import TakeError
from sequencer.project import takelog
from sequencer.project.takefile import read
from sequencer.takes.take import Take
from ui.language import translate

SUFFIX = ".mcap"


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What a take file says; `fault` why it cannot be used, or what is missing. `state` tells when it was changed.

    `by_hand` are the axes that hands performed in it. Unit: `lasts_s` of what was recorded.
    """

    path: Path
    state: tuple[int, int]
    cue: str = ""
    run: str = ""
    speed: Fraction = Fraction(1)
    started: str = ""
    lasts_s: float = 0.0
    usable: bool = False
    fault: str = ""
    by_hand: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """All takes of a folder, the newest first, what is said of them by file name, and why that cannot be read."""

    takes: tuple[Known, ...] = ()
    log: dict[str, takelog.Entry]
    fault: str = ""


def listed(folder: Path, known: dict[Path, Known], go_on: Callable[[float], bool]) -> Listed:
    """Read what is new or changed in `folder`; the rest is taken from `known`. Stops where `go_on` says so."""
    try:
        paths = sorted(path for path in folder.iterdir() if path.suffix == SUFFIX) if folder.is_dir() else []
    except OSError as fault:
        words = translate("takes", "the takes folder cannot be read: {why}; check it")
        return Listed(log={}, fault=words.format(why=fault.strerror))
    takes = []
    for number, path in enumerate(paths):
        if not go_on(number / len(paths)):
            break
        takes.append(_known(path, known.get(path)))
    takes.sort(key=lambda one: (one.started, one.path.name), reverse=True)
    try:
        return Listed(takes=tuple(takes), log=takelog.read(folder))
    except TakeError as fault:
        return Listed(takes=tuple(takes), log={}, fault=str(fault))


def _known(path: Path, before: Known | None) -> Known:
    try:
        there = path.stat()
        state = (there.st_mtime_ns, there.st_size)
        if before is not None and before.state == state:
            return before
        if not path.is_file():
            raise TakeError(translate("takes", "not a file; put take files there"))
        return _of(path, state, read(path))
    except (TakeError, OSError) as fault:
        state = before.state if before is not None else (0, 0)
        try:
            there = path.stat()
            state = (there.st_mtime_ns, there.st_size)
        except OSError:
            pass  # it went away just now; the folder tells of it
        # the name stands in its own column
        return Known(path=path, state=state, fault=str(fault).removeprefix(f"{path.name}: "))


def _of(path: Path, state: tuple[int, int], take: Take) -> Known:
    stamps = [float(each[-1] - each[0]) / 1e9 for each in (take.due_ns, take.actual_ns) if len(each)]
    return Known(
        path=path,
        state=state,
        cue=take.cue,
        run=take.run,
        speed=take.speed,
        started=take.started,
        lasts_s=max(stamps, default=0.0),
        usable=True,
        fault=take.fault,
        by_hand=take.by_hand,
    )


def when(started: str) -> str:
    """Return when a take was started, on the clock of this machine."""
    try:
        return datetime.fromisoformat(started).astimezone().strftime("%Y-%m-%d %H:%M:%S")
    except ValueError:
        return started
