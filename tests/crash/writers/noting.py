"""Notes are written on takes, one after another."""

from collections.abc import Iterator
from pathlib import Path

from sequencer.errors import TakeError
from sequencer.project import takelog
from sequencer.project.takelog import Entry
from tests.crash.writer import Crash, Tell, Writer

_TAKES = 6


def prepare(place: Path) -> None:
    """Nothing: the folder of takes is made with the first note."""


def _name(number: int) -> str:
    return f"turn_{number % _TAKES:03}.mcap"


def work(place: Path, rounds: int, tell: Tell) -> None:
    for number in range(rounds):
        tell("begun", number)
        takelog.write(place / "takes", {_name(number): Entry(number % 2 == 0, f"note {number}")})
        tell("done", number)


def lost(crash: Crash) -> Iterator[str]:
    try:
        there = takelog.read(crash.place / "takes")
    except TakeError as fault:
        yield f"the notes cannot be read: {fault}"
        return
    done, begun = crash.newest("done"), crash.newest("begun")
    for number in range(max(0, done - _TAKES + 1), done + 1):
        allowed = {number, number + _TAKES} if begun == number + _TAKES else {number}
        if there.get(_name(number)) not in [Entry(one % 2 == 0, f"note {one}") for one in allowed]:
            yield f"note {number} was kept, and {there.get(_name(number))} is there"


def again(place: Path) -> None:
    takelog.write(place / "takes", {"last_001.mcap": Entry(True, "one more")})
    assert takelog.read(place / "takes")["last_001.mcap"].note == "one more"


WRITER = Writer(name="notes", prepare=prepare, work=work, lost=lost, again=again)
