"""Power cuts: a writer runs once and is watched, then every promise is asked of many disks that it may have left."""

import shutil
import tempfile
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from tests.crash.disk import Watched, watched
from tests.crash.states import MODELS, Tree, states, whole
from tests.crash.writer import Crash, Writer

# so many of a writer's own rounds are cut somewhere
ROUNDS = {
    "save": 5,
    "journal": 16,
    "take": 90,
    "removed": 5,
    "notes": 12,
    "export": 5,
    "copy": 3,
    "shot log": 12,
    "music": 4,
    "demo": 3,
    "new": 4,
}


@dataclass(slots=True)
class Cuts:
    """How many states were looked at, how many lost something, and what, in words."""

    states: int = 0
    lost: int = 0
    words: Counter[str] = field(default_factory=Counter)


def memory() -> str | None:
    """Return where files cost nothing, if the system has such a place."""
    return "/dev/shm" if Path("/dev/shm").is_dir() else None


@contextmanager
def run(writer: Writer, rounds: int) -> Iterator[tuple[Path, Watched]]:
    """Yield the place in which a writer ran, and what it did there."""
    with tempfile.TemporaryDirectory(prefix="crash-", dir=memory()) as folder:
        place = Path(folder) / "place"
        place.mkdir()
        writer.prepare(place)
        with watched(place) as seen:
            writer.work(place, rounds, seen.tell)
        assert whole(seen) == tree(place), "the writer does what is not followed"
        yield place, seen


def tree(place: Path) -> Tree:
    """Return what is really in a folder."""
    return {
        str(path.relative_to(place)): None if path.is_dir() else path.read_bytes() for path in sorted(place.rglob("*"))
    }


def cut(writer: Writer, rounds: int, count: int, seed: int = 1) -> Cuts:
    """Try so many states of each model."""
    found = Cuts()
    with run(writer, rounds) as (place, seen):
        shutil.rmtree(place)  # the same place again, so that paths that a file holds are right
        for model in MODELS:
            for state in states(seen, model, count, seed):
                found.states += 1
                lost = list(judged(writer, state.laid_out(place)))
                shutil.rmtree(place)
                found.lost += bool(lost)
                found.words.update(f"{model}: {one}" for one in lost)
    return found


def judged(writer: Writer, crash: Crash) -> Iterator[str]:
    """Yield what is lost, and what the next run runs into."""
    yield from writer.lost(crash)
    try:
        writer.again(crash.place)
    except Exception as fault:  # whatever it is, the next run fell over it
        yield f"the next run: {type(fault).__name__}: {fault}"
