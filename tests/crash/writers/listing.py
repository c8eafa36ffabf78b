"""Projects are opened one after another, and the list of recent ones is written anew each time.

Nothing waits for the disk there, since the window's own thread writes it: it is killed, and no power is cut.
"""

from collections.abc import Iterator
from pathlib import Path

from sequencer.project import files
from tests.crash.writer import Crash, Tell, Writer
from ui.acts import recent

_PROJECTS, _MOST = 12, 8


def _folder(place: Path, number: int) -> Path:
    # so long that the list does not fit into one page of the system's memory
    return (place / "projects").resolve().joinpath(*3 * ["quay-at-dusk" * 18], f"{number % _PROJECTS}")


def _latest(place: Path, number: int) -> tuple[Path, ...]:
    """Return the list after so many were opened, the first of them being number 0."""
    return tuple(_folder(place, one) for one in range(number, max(-1, number - _MOST), -1))


def prepare(place: Path) -> None:
    for number in range(_PROJECTS):
        _folder(place, number).mkdir(parents=True)
        (_folder(place, number) / files.PROJECT).write_bytes(b"{}")


def work(place: Path, rounds: int, tell: Tell) -> None:
    for number in range(rounds):
        tell("begun", number)
        recent.opened(_folder(place, number), place / "state")
        tell("done", number)


def lost(crash: Crash) -> Iterator[str]:
    there = recent.recent(crash.place / "state")
    allowed = [_latest(crash.place, number) for number in (crash.newest("done"), crash.newest("begun"))]
    if there not in allowed:
        yield f"{crash.newest('done') + 1} projects were opened, and the list has {len(there)}: {there[:1]}"


def again(place: Path) -> None:
    before = recent.recent(place / "state")
    one = _folder(place, 5)
    recent.opened(one, place / "state")
    assert recent.recent(place / "state") == (one, *(path for path in before if path != one))[:_MOST]


WRITER = Writer(name="recent", prepare=prepare, work=work, lost=lost, again=again)
