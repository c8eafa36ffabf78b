"""Music is brought into a project's folder, one recording after another; each is there whole, or not at all."""

from collections.abc import Iterator
from pathlib import Path

from tests.crash.writer import Crash, Tell, Writer
from ui.acts import disk

_BYTES = 200_000


def _data(number: int) -> bytes:
    return number.to_bytes(4, "little") * (_BYTES // 4)


def prepare(place: Path) -> None:
    (place / "project").mkdir()
    (place / "music").mkdir()
    for number in range(24):
        (place / "music" / f"song{number}.wav").write_bytes(_data(number))


def work(place: Path, rounds: int, tell: Tell) -> None:
    number = 0
    while number < rounds:
        tell("begun", number)
        (place / "project" / f"song{number % 24}.wav").unlink(missing_ok=True)
        disk.copied(place / "music" / f"song{number % 24}.wav", place / "project")
        tell("done", number)
        number += 1


def lost(crash: Crash) -> Iterator[str]:
    done, begun = crash.newest("done"), crash.newest("begun")
    for number in range(min(24, begun + 1)):
        path = crash.place / "project" / f"song{number}.wav"
        if not path.exists():
            # the one that is brought at the moment is taken out first, by whoever tries this
            if number <= done and not (begun > done and begun % 24 == number):
                yield f"{path.name} was brought, and is not there"
        elif path.read_bytes() != _data(number):
            yield f"{path.name} is not whole: {path.stat().st_size} of {_BYTES} bytes"


def again(place: Path) -> None:
    """Bring one that is not there: who has it already copies nothing, and so clears nothing up."""
    (place / "project" / "song0.wav").unlink(missing_ok=True)
    disk.copied(place / "music" / "song0.wav", place / "project")
    assert (place / "project" / "song0.wav").read_bytes() == _data(0)


WRITER = Writer(name="music", prepare=prepare, work=work, lost=lost, again=again)
