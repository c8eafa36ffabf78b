"""A project with its takes and notes is copied to one place after another."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from sequencer.errors import SequencerError
from sequencer.project import copying, store, takefile, takelog
from sequencer.project.takelog import Entry
from sequencer.shell.kinds import laws
from sequencer.shell.recorder import Recorder
from tests.crash.writer import Crash, Tell, Writer
from tests.crash.writers.saving import HERE
from tests.project.test_takefile import HEADING, rows
from tests.shell.small import small_project

_TAKES = ("turn_001", "turn_002")


def prepare(place: Path) -> None:
    folder = small_project(place / HERE, legs=3)
    (folder / "takes").mkdir()
    (place / "stick").mkdir()
    for name in _TAKES:
        with Recorder.open(folder / "takes" / f"{name}.mcap", replace(HEADING, name=name)) as recorder:
            for row in rows(0.5):
                recorder.write(row)
    takelog.write(folder / "takes", {f"{_TAKES[0]}.mcap": Entry(True, "the one")})


def work(place: Path, rounds: int, tell: Tell) -> None:
    for number in range(rounds):
        tell("begun", number)
        copying.copy(place / HERE, place / "stick" / f"copy{number}", "all", laws())
        tell("done", number)


def lost(crash: Crash) -> Iterator[str]:
    original = store.load(crash.place / HERE, laws())
    for number in range(crash.newest("begun") + 1):
        folder = crash.place / "stick" / f"copy{number}"
        if not folder.exists():
            if number <= crash.newest("done"):
                yield f"copy {number} was done, and is not there"
            continue
        try:
            same = store.load(folder, laws()) == original
            whole = all(takefile.read(folder / "takes" / f"{name}.mcap").complete for name in _TAKES)
            noted = takelog.read(folder / "takes") == takelog.read(crash.place / HERE / "takes")
        except SequencerError as fault:
            yield f"copy {number} is there and is not whole: {fault}"
            continue
        if not (same and whole and noted):
            yield f"copy {number} is there and is not whole: project {same}, takes {whole}, notes {noted}"


def again(place: Path) -> None:
    """Copy to the place of the copy that was broken off, which is the first that is not there."""
    free = next(number for number in range(10_000) if not (place / "stick" / f"copy{number}").exists())
    copying.copy(place / HERE, place / "stick" / f"copy{free}", "all", laws())


WRITER = Writer(name="copy", prepare=prepare, work=work, lost=lost, again=again)
