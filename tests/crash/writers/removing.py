"""Takes are taken out of the list, and brought back: each has a name at any instant."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from sequencer.errors import TakeError
from sequencer.project import library, takefile
from sequencer.shell.recorder import Recorder
from tests.crash.writer import Crash, Tell, Writer
from tests.project.test_takefile import HEADING, rows

_NAMES = ("turn_001", "turn_002")


def prepare(place: Path) -> None:
    (place / "takes").mkdir()
    for name in _NAMES:
        with Recorder.open(place / "takes" / f"{name}.mcap", replace(HEADING, name=name)) as recorder:
            for row in rows(0.1):
                recorder.write(row)


def work(place: Path, rounds: int, tell: Tell) -> None:
    for number in range(rounds):
        there = library.library(place / "takes")
        tell("begun", number)
        if number % 2:
            library.restore(library.chosen(there.removed, _NAMES[0]))
        else:
            library.remove(library.chosen(there.takes, _NAMES[0]))
        tell("done", number)


def lost(crash: Crash) -> Iterator[str]:
    takes = crash.place / "takes"
    for name in _NAMES:
        places = [path for path in (takes / f"{name}.mcap", takes / library.REMOVED / f"{name}.mcap") if path.exists()]
        if not places:
            yield f"{name} is nowhere"
        for path in places:
            try:
                whole = takefile.read(path).complete
            except TakeError as fault:
                yield f"{name}: {fault}"
                continue
            if not whole:
                yield f"{name} is not whole"
    wanted = takes / ("" if crash.newest("done") % 2 else library.REMOVED) / f"{_NAMES[0]}.mcap"
    if crash.newest("done") == crash.newest("begun") and not wanted.exists():
        yield f"{_NAMES[0]} is not where it was moved to"


def again(place: Path) -> None:
    """Take out what is there; a take that a crash left under both names is one."""
    for take in library.library(place / "takes").takes:
        library.remove(take)
    assert {one.name for one in library.library(place / "takes").removed} == set(_NAMES)


WRITER = Writer(name="removed", prepare=prepare, work=work, lost=lost, again=again)
