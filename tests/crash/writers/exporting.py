"""Three files are exported into a folder, and exported anew over those."""

from collections.abc import Iterator
from pathlib import Path

from sequencer.export import written
from tests.crash.writer import Crash, Tell, Writer

_NAMES = ("move.csv", "move.usda", "report.html")
_LINES = 3000


def _data(number: int, name: str) -> bytes:
    return f"{name} {number}\n".encode() * _LINES


def prepare(place: Path) -> None:
    (place / "out").mkdir()


def work(place: Path, rounds: int, tell: Tell) -> None:
    for number in range(rounds):
        tell("begun", number)
        written.write({place / "out" / name: _data(number, name) for name in _NAMES}, force=number > 0)
        tell("done", number)


def lost(crash: Crash) -> Iterator[str]:
    done, begun = crash.newest("done"), crash.newest("begun")
    for name in _NAMES:
        path = crash.place / "out" / name
        if not path.exists():
            if done >= 0:
                yield f"{name} was exported {done + 1} times, and is not there"
            continue
        found = path.read_bytes()
        if found not in [_data(number, name) for number in range(max(0, done), begun + 1)]:
            yield f"{name} is not whole, or older than export {done} ({len(found)} bytes)"


def again(place: Path) -> None:
    written.write({place / "out" / name: b"last" for name in _NAMES}, force=True)
    assert all((place / "out" / name).read_bytes() == b"last" for name in _NAMES)


WRITER = Writer(name="export", prepare=prepare, work=work, lost=lost, again=again)
