"""A copy of a project that has all the project needs, for another machine or another person: whole, or not there.

It refuses a place where something is already, and whatever would be missing or different in the copy. While it is made
it has another name beside the place, so that what was interrupted looks like nothing.
"""

import hashlib
import os
import re
import secrets
import shutil
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

import msgspec

from sequencer.errors import LinkError, ProjectError, TakeError
from sequencer.project import files, inside, takelog
from sequencer.project.flushed import flush_folder
from sequencer.project.library import FOLDER, Filed, library, size_words
from sequencer.project.lock import Lock
from sequencer.project.recovery import fingerprint
from sequencer.project.store import load
from sequencer.score.easing import Laws

Which = Literal["circled", "all", "none"]
WHICH: tuple[Which, ...] = get_args(Which)
_SHOT_LOG = ".shots.jsonl"
_COPYING = ".copying"
_PIECE = 1 << 20
_SPARE_BYTES = 4 * 2**20


@dataclass(frozen=True, slots=True, kw_only=True)
class Copied:
    """What is in a copy, by names within the project's folder, and what is not.

    `left` are names in the folder that the project does not need; `remarks` is what whoever gets the copy must know.
    Unit: `bytes` of all files.
    """

    folder: Path
    files: tuple[str, ...]
    takes: tuple[str, ...]
    left: tuple[str, ...]
    remarks: tuple[str, ...]
    bytes: int


@dataclass(frozen=True, slots=True)
class _Piece:
    """A file of the copy: its name in it, and where its bytes are."""

    name: str
    path: Path
    size: int


def _all(_: float) -> bool:
    return True


def copy(folder: Path, to: Path, which: Which, laws: Laws, go_on: Callable[[float], bool] = _all) -> Copied:
    """Copy the project in `folder` to `to`, with the takes asked for; every file is read back and compared.

    `go_on` is told how far it is, and says whether to go on. Error: ProjectError for a project that does not load or a
    place where something is; LinkError for a disk that fails or has no room; TakeError; then nothing is there.
    """
    before = fingerprint(folder)
    project = load(folder, laws)
    _demand_free(folder, to)
    pieces, remarks = _project_pieces(folder, project.playback.file if project.playback else None)
    there = library(folder / FOLDER, removed=False)
    takes = [one for one in there.takes if which == "all" or (which == "circled" and one.circled)]
    pieces += [_piece(folder, f"{FOLDER}/{one.path.name}") for one in takes]
    if which == "all":
        # with them a timelapse goes on elsewhere
        logs = sorted((folder / FOLDER).glob(f"*{_SHOT_LOG}"))
        pieces += [_piece(folder, f"{FOLDER}/{path.name}") for path in logs]
    remarks += _about_takes(there.takes, takes, which, there.fault)
    # last, so that what breaks off in the middle is no project
    pieces += [_piece(folder, name) for name in (files.RIG, files.PROJECT)]
    waiting = to.parent / f".{to.name}.{secrets.token_hex(4)}{_COPYING}"
    lock = None
    try:
        lock = _swept(to)
        _demand_room(to.parent, sum(one.size for one in pieces))
        _make(folder, waiting, pieces, _log(folder / FOLDER, takes), go_on)
        if fingerprint(folder) != before:
            raise ProjectError("", "was saved while it was copied", "copy it again", files.PROJECT)
        if load(waiting, laws) != project:
            raise ProjectError("", "the copy is not the same project", "copy it again, to another disk", files.PROJECT)
        with suppress(FileNotFoundError):
            to.rmdir()  # it is empty; not every system renames over it
        os.rename(waiting, to)
    except OSError as fault:
        words = f"the copy cannot be made in {to}: {fault.strerror or fault}; free some space, or name another place"
        raise LinkError(f"{words}. Nothing is there") from fault
    finally:
        shutil.rmtree(waiting, ignore_errors=True)
        if lock is not None:
            lock.release()
    _confirm(to)
    return Copied(
        folder=to,
        files=tuple(one.name for one in pieces),
        takes=tuple(one.name for one in takes),
        left=_left(folder, pieces),
        remarks=tuple(remarks),
        bytes=sum(one.size for one in pieces),
    )


def _swept(to: Path) -> Lock | None:
    """Remove what is left of copies to this place that were broken off; nobody else copies there until it is let go.

    None: somebody does right now, or the disk knows no locks. Error: OSError.
    """
    lock = Lock.take(to.parent / f".{to.name}{_COPYING}.lock")
    if lock is not None:
        for left in list(os.scandir(to.parent)):
            if re.fullmatch(rf"\.{re.escape(to.name)}\.[0-9a-f]{{8}}{re.escape(_COPYING)}", left.name):
                shutil.rmtree(left.path, ignore_errors=True)
    return lock


def _confirm(to: Path) -> None:
    """Wait until the copy's name is on the disk. Error: LinkError."""
    try:
        flush_folder(to.parent)
    except OSError as fault:
        words = f"the copy is in {to}, but its disk does not say that it keeps it: {fault.strerror or fault}"
        raise LinkError(f"{words}; copy it once more, to another disk") from fault


def _demand_free(folder: Path, to: Path) -> None:
    """Error: ProjectError for a place that is not free, or where no copy can be."""
    if os.path.lexists(to):
        if to.is_symlink() or not to.is_dir():
            raise ProjectError("", f"{to} is there and is not a folder", "name another place", "copy")
        try:
            full = bool(os.listdir(to))
        except OSError as fault:
            raise ProjectError("", f"{to} cannot be read: {fault.strerror}", "name another place", "copy") from fault
        if full:
            raise ProjectError("", f"{to} is there and is not empty", "name a new folder; nothing was changed", "copy")
    if not to.parent.is_dir():
        raise ProjectError("", f"there is no folder {to.parent}", "make it, or name another place", "copy")
    if Path(os.path.realpath(to)).is_relative_to(os.path.realpath(folder)):
        raise ProjectError("", f"{to} is inside the project that is copied", "name a place outside of it", "copy")


def _project_pieces(folder: Path, playback: str | None) -> tuple[list[_Piece], list[str]]:
    """Return the files that the project names, and what is to be said of them. Error: ProjectError."""
    if playback is None:
        return [], []
    path = folder / playback
    if not os.path.lexists(path):
        return [], [f"the playback {playback} is not in the folder, so it is not in the copy"]
    return [_piece(folder, playback)], []


def _piece(folder: Path, name: str) -> _Piece:
    """Return the file to copy; of a link, what it leads to within the folder. Error: ProjectError."""
    path = folder / name
    try:
        with inside.opened(path, folder) as file:
            return _Piece(name, path, os.fstat(file.fileno()).st_size)
    except OSError as fault:
        if fault.strerror == inside.NO_FILE:
            mend = "put a file of that name there; nothing was copied"
            raise ProjectError("", inside.NO_FILE, mend, name) from fault
        raise ProjectError("", f"cannot be read: {fault.strerror}", "nothing was copied", name) from fault


def _about_takes(all_takes: tuple[Filed, ...], takes: list[Filed], which: Which, fault: str) -> list[str]:
    remarks = []
    if which == "circled" and fault:
        raise TakeError(f"{fault}. Which takes are circled is not known; copy all of them, or none")
    if which == "circled" and all_takes and not takes:
        remarks.append(f"none of {len(all_takes)} takes is circled, so there is none in the copy")
    remarks += [f"{one.path.name}: {one.fault}" for one in takes if one.fault]
    return remarks


def _log(folder: Path, takes: list[Filed]) -> bytes | None:
    """Return what is said of the takes, with all that other programs wrote of them; None for nothing."""
    tree = takelog.tree(folder) if takes else {}
    names = {one.path.name for one in takes}
    tree["takes"] = {name: said for name, said in tree.get("takes", {}).items() if name in names}
    if not tree["takes"]:
        return None
    return msgspec.json.format(msgspec.json.encode(tree), indent=2) + b"\n"


def _demand_room(folder: Path, size: int) -> None:
    free = shutil.disk_usage(folder).free
    if free < size + _SPARE_BYTES:
        words = f"the copy needs {size_words(size)}, and the disk has {size_words(free)} free"
        raise LinkError(f"{words}; free some space, or name another disk ({folder})")


def _make(folder: Path, waiting: Path, pieces: list[_Piece], log: bytes | None, go_on: Callable[[float], bool]) -> None:
    """Write all files of `folder`, and read them back. Error: OSError; LinkError for one that is not as written."""
    progress = _Progress(max(1, 2 * sum(one.size for one in pieces)), go_on)
    waiting.mkdir()
    sums: dict[str, bytes] = {}
    if log is not None:
        (waiting / FOLDER).mkdir()
        _write(waiting / FOLDER / takelog.NAME, [log])
    for piece in pieces:
        there = waiting / piece.name
        there.parent.mkdir(parents=True, exist_ok=True)
        found = hashlib.sha256()
        _write(there, progress.seen(piece.path, folder, found))
        sums[piece.name] = found.digest()
    for place in (waiting, *(path for path in waiting.rglob("*") if path.is_dir())):
        flush_folder(place)
    for name, wanted in sums.items():
        found = hashlib.sha256()
        for _ in progress.seen(waiting / name, waiting, found):
            pass
        if found.digest() != wanted:
            raise LinkError(f"{name}: the copy is not what was written; do not trust this disk ({waiting.parent})")


@dataclass(slots=True)
class _Progress:
    """Reads files piece by piece, and tells how far it is. Unit: bytes."""

    whole: int
    go_on: Callable[[float], bool]
    done: int = 0

    def seen(self, path: Path, folder: Path, found: "hashlib._Hash") -> Iterator[bytes]:
        """Yield a file of `folder`, adding it to the checksum. Error: OSError; LinkError where nobody wants it now."""
        with inside.opened(path, folder) as file:
            while data := file.read(_PIECE):
                found.update(data)
                self.done += len(data)
                if not self.go_on(min(1.0, self.done / self.whole)):
                    raise LinkError("the copy was given up; nothing is there")
                yield data


def _write(path: Path, pieces: Iterable[bytes]) -> None:
    """Write a new file, and wait until it is on the disk. Error: OSError."""
    with path.open("xb") as file:
        for piece in pieces:
            file.write(piece)
        file.flush()
        os.fsync(file.fileno())


def _left(folder: Path, pieces: list[_Piece]) -> tuple[str, ...]:
    """Return what is in the project's folder and was not copied, takes aside."""
    ours = {one.name.split("/", maxsplit=1)[0] for one in pieces} | {FOLDER}
    return tuple(sorted(one.name for one in os.scandir(folder) if one.name not in ours))
