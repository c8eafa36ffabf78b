"""What is crashed: a writer of the project's files, what it told before its end, and what must be there after it."""

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

Tell = Callable[[str, int], None]


@dataclass(frozen=True, slots=True)
class Told:
    """One line of a writer: `begun` before it writes number so and so, `done` once that is said to be kept."""

    word: str
    number: int
    at_ns: int


@dataclass(frozen=True, slots=True)
class Crash:
    """What is left of a writer: its place, and what it told up to its end, of which nobody knew before."""

    place: Path
    told: tuple[Told, ...]
    ended_ns: int = 0

    def newest(self, word: str) -> int:
        """Return the highest number that was told with this word, -1 for none."""
        return max((one.number for one in self.told if one.word == word), default=-1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Writer:
    """`prepare` lays out the place, `work` writes so many rounds, and what is seen after a crash is told.

    `lost` yields what a promise has lost, in words; `again` is the next run in that place, and raises where what was
    left is in its way. `lasts_s`: it is killed within so long.
    """

    name: str
    prepare: Callable[[Path], None]
    work: Callable[[Path, int, Tell], None]
    lost: Callable[[Crash], Iterator[str]]
    again: Callable[[Path], None]
    lasts_s: float = 0.12


def now(word: str, number: int) -> Told:
    return Told(word, number, time.monotonic_ns())


def leftovers(place: Path) -> list[Path]:
    """Return what only a run that goes on needs: files that wait for their name, and locks."""
    return sorted(
        path for path in place.rglob("*") if path.name.startswith(".") or path.name in ("lock", "journal.new")
    )
