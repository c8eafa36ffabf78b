"""What a power cut may leave on the disk, after so many deeds of a program.

Two models of a file system. In both, what was not waited for (fsync) may be lost: of a file's bytes any subset of the
writes, each whole, torn at any byte, or as zeros where only the length came to the disk; later writes without earlier
ones. A rename is whole or not at all.

- `any`: of the names that were changed, any subset is on the disk, in any order, until their folder is waited for;
  waiting for a file says nothing of its name. What POSIX promises, and the model that the work below calls the weakest.
- `ordered`: names reach the disk in the order in which they were changed, and whatever is waited for, takes all that
  were changed before with it, as with a journal of metadata.

Source: Pillai et al., "All File Systems Are Not Created Equal: On the Complexity of Crafting Crash-Consistent
Applications", OSDI 2014: abstract persistence models, and crash states built from recorded calls (from memory).
"""

import random
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

from tests.crash.disk import ROOT, Deed, Entry, Names, Waited, Watched, Wrote
from tests.crash.writer import Crash, Told

Model = Literal["any", "ordered"]
MODELS: tuple[Model, ...] = get_args(Model)
Tree = dict[str, bytes | None]  # by the name within the root; None: a folder
_EXTREMES = 3  # nothing that was not waited for; all of it; all names and no bytes


@dataclass(frozen=True, slots=True)
class State:
    """What is on the disk, and what the program had told by then; `files` are the numbers of the files, by name."""

    tree: Tree
    files: dict[str, int]
    told: tuple[Told, ...]
    words: str

    def laid_out(self, place: Path) -> Crash:
        """Write it into `place`, which is made."""
        place.mkdir()
        first: dict[int, Path] = {}
        for name, data in sorted(self.tree.items()):
            path = place / name
            if data is None:
                path.mkdir(parents=True, exist_ok=True)
            else:
                path.parent.mkdir(parents=True, exist_ok=True)
                same = first.setdefault(self.files[name], path)
                if same is path:
                    path.write_bytes(data)
                else:
                    path.hardlink_to(same)
        return Crash(place, self.told)


def states(seen: Watched, model: Model, count: int, seed: int) -> Iterator[State]:
    """Yield `count` states after power cuts at random instants; the same ones for the same seed."""
    chance = random.Random(seed)
    for number in range(count):
        end = chance.randint(0, len(seen.deeds))
        yield _state(seen, model, end, number % (2 * _EXTREMES), chance)


def whole(seen: Watched) -> Tree:
    """Return what is there where nothing was lost."""
    return _state(seen, "any", len(seen.deeds), 1, random.Random(0)).tree


def _state(seen: Watched, model: Model, end: int, way: int, chance: random.Random) -> State:
    deeds = seen.deeds[:end]
    names = dict(seen.begun)
    for deed in _kept_names(deeds, model, way, chance):
        for entry, number in deed.set:
            if number is None:
                names.pop(entry, None)
            else:
                names[entry] = number
    held = _bytes(seen, deeds, way, chance)
    found = dict(_walk(names, seen.folders, ROOT, ""))
    tree = {name: None if number in seen.folders else held.get(number, b"") for name, number in found.items()}
    told = tuple(deed for deed in deeds if isinstance(deed, Told))
    return State(tree, found, told, f"{model}, after deed {end} of {len(seen.deeds)}, way {way}")


def _kept_names(deeds: list[Deed], model: Model, way: int, chance: random.Random) -> Iterator[Names]:
    """Yield the deeds on names that are on the disk, in their order."""
    waited = [(at, deed.what) for at, deed in enumerate(deeds) if isinstance(deed, Waited)]
    done = [(at, deed) for at, deed in enumerate(deeds) if isinstance(deed, Names)]
    if model == "ordered":
        certain = max((at for at, _ in waited), default=-1)
        open_to = [at for at, _ in done if at > certain]
        last = chance.choice([certain, *open_to]) if way >= _EXTREMES else (certain if way == 0 else len(deeds))
        yield from (deed for at, deed in done if at <= last)
        return
    for at, deed in done:
        folders = {folder for (folder, _), _ in deed.set}
        is_certain = any(later > at and what in folders for later, what in waited)
        if is_certain or (chance.random() < 0.5 if way >= _EXTREMES else way > 0):
            yield deed


def _bytes(seen: Watched, deeds: list[Deed], way: int, chance: random.Random) -> dict[int, bytes]:
    """Return what the files hold, whatever their names."""
    certain: dict[int, int] = {}
    for at, deed in enumerate(deeds):
        if isinstance(deed, Waited):
            certain[deed.what] = at
    held = {number: bytearray(data) for number, data in seen.before.items()}
    for at, deed in enumerate(deeds):
        if not isinstance(deed, Wrote):
            continue
        file = held.setdefault(deed.file, bytearray())
        kept = "whole"
        if at > certain.get(deed.file, -1):
            kept = (
                chance.choice(("whole", "lost", "torn", "zeros"))
                if way >= _EXTREMES
                else ("lost", "whole", "lost")[way]
            )
        _write(file, deed, kept, chance)
    return {number: bytes(data) for number, data in held.items()}


def _write(file: bytearray, deed: Wrote, kept: str, chance: random.Random) -> None:
    if kept == "lost":
        return
    if deed.data is None:
        del file[deed.at :]
        file.extend(bytes(deed.at - len(file)))
        return
    data = deed.data
    if kept == "torn":
        data = data[: chance.randint(0, len(data))]
    if kept == "zeros":
        # the length came to the disk; bytes that were there before stay
        file.extend(bytes(max(0, deed.at + len(data) - len(file))))
        return
    file.extend(bytes(max(0, deed.at - len(file))))
    file[deed.at : deed.at + len(data)] = data


def _walk(names: dict[Entry, int], folders: set[int], number: int, below: str) -> Iterator[tuple[str, int]]:
    """Yield what can be reached from a folder by names that are on the disk."""
    for (folder, name), inside in names.items():
        if folder != number:
            continue
        yield f"{below}{name}", inside
        if inside in folders:
            yield from _walk(names, folders, inside, f"{below}{name}/")
