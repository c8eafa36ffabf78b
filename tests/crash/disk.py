"""What a program asks of the disk below one folder, call by call, while it runs as ever.

Every way to write that the project's writers use is followed; one that is not followed is refused, and a test compares
what was followed with what is really there.
"""

import builtins
import io
import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from unittest.mock import patch

from tests.crash.writer import Told, now

Entry = tuple[int, str]  # a name in a folder, which is told by its number
ROOT = 0


@dataclass(frozen=True, slots=True)
class Names:
    """One deed on names, whole or not at all: which file or folder stands under each of them now, None for none."""

    set: tuple[tuple[Entry, int | None], ...]


@dataclass(frozen=True, slots=True)
class Wrote:
    """Bytes of a file; `data` None: the file was cut, or grew by zeros, to `at` bytes."""

    file: int
    at: int
    data: bytes | None


@dataclass(frozen=True, slots=True)
class Waited:
    """The program waited until a file (its bytes) or a folder (the names in it) was on the disk."""

    what: int


Deed = Names | Wrote | Waited | Told


@dataclass(slots=True)
class Watched:
    """The deeds so far, and the names as the program sees them. Files that were there before are in `before`."""

    root: Path
    deeds: list[Deed] = field(default_factory=list)
    names: dict[Entry, int] = field(default_factory=dict)
    before: dict[int, bytes] = field(default_factory=dict)
    folders: set[int] = field(default_factory=lambda: {ROOT})
    begun: dict[Entry, int] = field(default_factory=dict)
    open: dict[int, int] = field(default_factory=dict)
    _count: int = ROOT

    def __post_init__(self) -> None:
        for path in sorted(self.root.rglob("*")):
            number = self.new(folder=path.is_dir())
            self.names[self.entry(path)] = number
            if not path.is_dir():
                self.before[number] = path.read_bytes()
        self.begun = dict(self.names)

    def new(self, *, folder: bool = False) -> int:
        self._count += 1
        if folder:
            self.folders.add(self._count)
        return self._count

    def has(self, path: Any) -> bool:
        return not isinstance(path, int) and Path(os.path.abspath(path)).is_relative_to(self.root)

    def number(self, path: Any) -> int:
        """Return which file or folder stands there. Error: KeyError where none does."""
        number = ROOT
        for name in Path(os.path.abspath(path)).relative_to(self.root).parts:
            number = self.names[number, name]
        return number

    def entry(self, path: Any) -> Entry:
        place = Path(os.path.abspath(path))
        return self.number(place.parent), place.name

    def name(self, *entries: tuple[Entry, int | None]) -> None:
        """Note one deed on names."""
        for entry, number in entries:
            if number is None:
                self.names.pop(entry, None)
            else:
                self.names[entry] = number
        self.deeds.append(Names(entries))

    def tell(self, word: str, number: int) -> None:
        """Note what a writer tells."""
        self.deeds.append(now(word, number))


@contextmanager
def watched(root: Path) -> Iterator[Watched]:
    """Follow what this process does below `root`. No other thread may write there."""
    seen = Watched(Path(os.path.abspath(root)))
    with ExitStack() as stack:
        opened = _opening(seen)
        stack.enter_context(patch.object(builtins, "open", opened))
        stack.enter_context(patch.object(io, "open", opened))
        for name, replaced in _calls(seen).items():
            stack.enter_context(patch.object(os, name, replaced))
        for name in dir(shutil):
            # files are copied by plain writes, which are seen
            if name.startswith("_USE_CP_"):
                stack.enter_context(patch.object(shutil, name, False))
        yield seen


class _File(io.FileIO):
    """A file whose writes are noted as the system gets them."""

    seen: Watched
    number: int

    def write(self, data: Any, /) -> int:
        whole = bytes(data)
        at = os.fstat(self.fileno()).st_size if "a" in self.mode else self.tell()
        done = super().write(whole)
        self.seen.deeds.append(Wrote(self.number, at, whole[:done]))
        return done

    def truncate(self, size: int | None = None, /) -> int:
        cut = super().truncate(size)
        self.seen.deeds.append(Wrote(self.number, cut, None))
        return cut

    def close(self) -> None:
        if not self.closed:
            self.seen.open.pop(self.fileno(), None)
        super().close()


def _opening(seen: Watched) -> Callable[..., Any]:
    really = io.open

    def opened(path: Any, mode: str = "r", buffering: int = -1, *args: Any, **more: Any) -> Any:
        if isinstance(path, int) and path in seen.open and mode == "r+b" and buffering == 0:
            # what `open_` has opened
            same = _File(path, "r+")
            same.seen, same.number = seen, seen.open[path]
            return same
        if not seen.has(path) or not set(mode) & set("wxa+"):
            return really(path, mode, buffering, *args, **more)
        if "b" not in mode:
            raise NotImplementedError(f"text is written to {path}, which is not followed")
        there = os.path.lexists(path)
        file = _File(path, mode.replace("b", ""))
        file.seen = seen
        if there:
            file.number = seen.number(path)
            if "w" in mode:
                seen.deeds.append(Wrote(file.number, 0, None))
        else:
            file.number = seen.new()
            seen.name((seen.entry(path), file.number))
        seen.open[file.fileno()] = file.number
        if buffering == 0:
            return file
        return io.BufferedRandom(file) if "+" in mode else io.BufferedWriter(file)

    return opened


def _at(path: Any, dir_fd: int | None) -> Path:
    return Path(path) if dir_fd is None else Path(os.readlink(f"/proc/self/fd/{dir_fd}")) / path


def _calls(seen: Watched) -> dict[str, Callable[..., Any]]:
    """Return what stands in for the calls of the system."""
    really = {name: getattr(os, name) for name in ("open", "fsync", "rename", "link", "unlink", "mkdir", "rmdir")}

    def open_(path: Any, flags: int, *args: Any, **more: Any) -> int:
        if seen.has(path) and flags & (os.O_WRONLY | os.O_RDWR) == os.O_RDWR and not flags & (os.O_TRUNC | os.O_APPEND):
            there = os.path.lexists(path)
            opened: int = really["open"](path, flags, *args, **more)
            if not there:
                seen.name((seen.entry(path), seen.new()))
            seen.open[opened] = seen.number(path)
            return opened
        if seen.has(path) and flags & (os.O_WRONLY | os.O_RDWR):
            raise NotImplementedError(f"{path} is opened in a way that is not followed")
        handle: int = really["open"](path, flags, *args, **more)
        if "dir_fd" not in more and seen.has(path) and os.path.isdir(path):
            seen.open[handle] = seen.number(path)
        else:
            seen.open.pop(handle, None)
        return handle

    def fsync(handle: int) -> None:
        really["fsync"](handle)
        if handle in seen.open:
            seen.deeds.append(Waited(seen.open[handle]))

    def rename(one: Any, other: Any, **more: Any) -> None:
        really["rename"](one, other, **more)
        if seen.has(one) or seen.has(other):
            number = seen.number(one)
            seen.name((seen.entry(one), None), (seen.entry(other), number))

    def link(one: Any, other: Any, **more: Any) -> None:
        really["link"](one, other, **more)
        if seen.has(other):
            seen.name((seen.entry(other), seen.number(one)))

    def gone(call: str) -> Callable[..., None]:
        def remove(path: Any, *, dir_fd: int | None = None) -> None:
            place = _at(path, dir_fd)
            really[call](path, dir_fd=dir_fd)
            if seen.has(place):
                seen.name((seen.entry(place), None))

        return remove

    def mkdir(path: Any, mode: int = 0o777, **more: Any) -> None:
        really["mkdir"](path, mode, **more)
        if seen.has(path):
            seen.name((seen.entry(path), seen.new(folder=True)))

    calls: dict[str, Callable[..., Any]] = {"open": open_, "fsync": fsync, "fdatasync": fsync}
    calls |= {"rename": rename, "replace": rename, "link": link}
    return calls | {"unlink": gone("unlink"), "remove": gone("unlink"), "rmdir": gone("rmdir"), "mkdir": mkdir}
