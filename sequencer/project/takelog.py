"""Notes on takes, and which of them are circled, in `log.json` beside the take files.

It refuses to lose a word: a log that cannot be read is kept aside, what other programs wrote in between stays, and so
do fields that only they know.
"""

import contextlib
import json
import os
import secrets
import shutil
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import msgspec

from sequencer.errors import TakeError
from sequencer.project import inside
from sequencer.project.flushed import flush_folder, make_folder
from sequencer.project.lock import Lock

NAME = "log.json"
FORMAT, VERSION = "twintake/take-log", 1
MAX_BYTES = 8 * 2**20
LONGEST_NOTE = 10_000  # characters
_MOST_ASIDE = 1000
_LOCK = ".log.lock"
_TRIES, _TRY_EVERY_S = 20, 0.02


class Entry(msgspec.Struct, frozen=True, omit_defaults=True):
    """What the crew says of one take."""

    circled: bool = False
    note: str = ""


class Change(msgspec.Struct, frozen=True):
    """What is said anew of one take; None for what stays as it is on the disk, whoever wrote it there."""

    circled: bool | None = None
    note: str | None = None


class _Log(msgspec.Struct, frozen=True):
    format: str
    version: int
    takes: dict[str, Entry]


NOTHING = Entry()


def read(folder: Path) -> dict[str, Entry]:
    """Return what is said of the takes in `folder`, by the names of their files; nothing where there is no log.

    Error: TakeError for a log that cannot be read, saying why and the mend.
    """
    return _read(folder)[0]


def tree(folder: Path) -> dict[str, Any]:
    """Return the log as it is written, with what only other programs know; empty without one. Error: TakeError."""
    return _read(folder)[1]


def _read(folder: Path) -> tuple[dict[str, Entry], dict[str, Any]]:
    """Return what is said of the takes, and the log as it is written. Error: TakeError."""
    path = folder / NAME
    try:
        inside.demand_inside(folder, folder.parent)
        with inside.opened(path, folder) as file:
            data = file.read(MAX_BYTES + 1)
    except FileNotFoundError:
        return {}, {}
    except OSError as fault:
        if fault.strerror == inside.NO_FILE:
            raise TakeError(f"{NAME}: is not a file; move it away") from fault
        raise TakeError(f"{NAME}: cannot be read: {fault.strerror}; check the takes folder") from fault
    if len(data) > MAX_BYTES:
        raise TakeError(f"{NAME}: larger than {MAX_BYTES // 2**20} MB, which this program never wrote; move it away")
    try:
        found = msgspec.json.decode(data, type=_Log)
        written: dict[str, Any] = msgspec.json.decode(data)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as fault:
        raise TakeError(f"{NAME}: not a log of takes: {fault}; correct it, or move it away") from fault
    if found.format != FORMAT:
        raise TakeError(f"{NAME}: its format is {found.format!r}, not {FORMAT!r}; move it away")
    if found.version > VERSION:
        raise TakeError(f"{NAME}: written by a newer version of this program ({found.version}); update the program")
    return found.takes, written


def write(folder: Path, changed: Mapping[str, Entry | Change]) -> Path | None:
    """Write what is said of some takes into the log; what it says of others stays as it is on the disk.

    A log that cannot be read is kept beside the new one; return where, or None. One of a newer version is left alone.
    Error: TakeError where nothing could be written; then the log is as it was.
    """
    for name, entry in changed.items():
        if entry.note is not None and len(entry.note) > LONGEST_NOTE:
            raise TakeError(f"the note on {name} is longer than {LONGEST_NOTE} characters; shorten it")
    try:
        make_folder(folder)
        inside.demand_inside(folder, folder.parent)
        with _alone(folder):
            return _write(folder, changed)
    except OSError as fault:
        raise TakeError(f"{NAME}: cannot be written in {folder}: {fault.strerror}; nothing was changed") from fault


def _write(folder: Path, changed: Mapping[str, Entry | Change]) -> Path | None:
    """Write the log anew, with what is changed. Error: TakeError, OSError; then it is as it was."""
    aside: Path | None = None
    try:
        written = tree(folder)
    except TakeError:
        if not _there(folder) or _newer(folder):
            raise
        written, aside = {}, _free(folder)
    takes: dict[str, dict[str, Any]] = dict(written.get("takes", {}))
    for name, entry in changed.items():
        anew = {field: value for field, value in msgspec.structs.asdict(entry).items() if value is not None}
        said = takes.get(name, {}) | anew
        takes[name] = {field: value for field, value in said.items() if field not in anew or value}
    log = {"format": FORMAT, "version": VERSION} | written
    log["takes"] = {name: entry for name, entry in sorted(takes.items()) if entry}
    try:
        data = json.dumps(log, indent=2, ensure_ascii=False).encode() + b"\n"
    except UnicodeEncodeError as fault:
        raise TakeError(
            "a note, or a file's name, holds half of a character, which no log can keep; write it again"
        ) from fault
    _put(folder, data, aside)
    return aside


@contextlib.contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """Let no other program of ours write the log meanwhile, for which a little is waited.

    Where one seems to hang, or the disk knows no locks, it is written all the same: an instant in which both write is
    less likely than a note that is not kept.
    """
    lock = None
    for _ in range(_TRIES):
        if (lock := Lock.take(folder / _LOCK)) is not None:
            break
        time.sleep(_TRY_EVERY_S)
    try:
        if lock is not None:
            _sweep(folder)
        yield
    finally:
        if lock is not None:
            lock.release()


def _sweep(folder: Path) -> None:
    """Remove what a program left that was ended while it wrote: nobody else writes now."""
    for left in folder.glob(f".{NAME}.????????.new"):
        left.unlink(missing_ok=True)


def _put(folder: Path, data: bytes, aside: Path | None) -> None:
    """Have the log on the disk whole before it takes its name. Error: OSError; then all is as it was."""
    new = folder / f".{NAME}.{secrets.token_hex(4)}.new"
    try:
        with new.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        if aside is not None:
            with inside.opened(folder / NAME, folder) as old, aside.open("xb") as kept:
                shutil.copyfileobj(old, kept)
                kept.flush()
                os.fsync(kept.fileno())
            flush_folder(folder)  # before the log that is kept aside loses its name
        os.replace(new, folder / NAME)
        flush_folder(folder)
    finally:
        new.unlink(missing_ok=True)


def _there(folder: Path) -> bool:
    """Return whether there is a log that can be kept aside."""
    try:
        inside.opened(folder / NAME, folder).close()
    except OSError:
        return False
    return True


def _newer(folder: Path) -> bool:
    try:
        tree = json.loads(inside.content(folder / NAME, folder, MAX_BYTES))
    except (OSError, ValueError, RecursionError):
        return False
    version = tree.get("version") if isinstance(tree, dict) and tree.get("format") == FORMAT else None
    return isinstance(version, int) and version > VERSION


def _free(folder: Path) -> Path:
    """Return a name under which nothing is kept yet. Error: TakeError."""
    for number in range(1, _MOST_ASIDE):
        path = folder / f"{NAME}.broken{'' if number == 1 else number}"
        if not os.path.lexists(path):
            return path
    raise TakeError(f"{NAME}: too many broken logs in {folder}; move some of them away")
