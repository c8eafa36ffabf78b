"""Notes on takes, and which of them are circled, in `log.json` beside the take files.

It refuses to lose a word: a log that cannot be read is kept aside, and what other programs wrote in between stays.
"""

import json
import os
import secrets
import shutil
import stat
from collections.abc import Mapping
from pathlib import Path

import msgspec

from sequencer.errors import TakeError

NAME = "log.json"
FORMAT, VERSION = "twintake/take-log", 1
MAX_BYTES = 8 * 2**20
LONGEST_NOTE = 10_000  # characters
_MOST_ASIDE = 1000


class Entry(msgspec.Struct, frozen=True, omit_defaults=True, forbid_unknown_fields=True):
    """What the crew says of one take."""

    circled: bool = False
    note: str = ""


class _Log(msgspec.Struct, frozen=True):
    format: str
    version: int
    takes: dict[str, Entry]


NOTHING = Entry()


def read(folder: Path) -> dict[str, Entry]:
    """Return what is said of the takes in `folder`, by the names of their files; nothing where there is no log.

    Error: TakeError for a log that cannot be read, saying why and the mend.
    """
    path = folder / NAME
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            # opening a pipe might never end
            raise TakeError(f"{NAME}: is not a file; move it away")
        with path.open("rb") as file:
            data = file.read(MAX_BYTES + 1)
    except FileNotFoundError:
        return {}
    except OSError as fault:
        raise TakeError(f"{NAME}: cannot be read: {fault.strerror}; check the takes folder") from fault
    if len(data) > MAX_BYTES:
        raise TakeError(f"{NAME}: larger than {MAX_BYTES // 2**20} MB, which this program never wrote; move it away")
    try:
        found = msgspec.json.decode(data, type=_Log)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as fault:
        raise TakeError(f"{NAME}: not a log of takes: {fault}; correct it, or move it away") from fault
    if found.format != FORMAT:
        raise TakeError(f"{NAME}: its format is {found.format!r}, not {FORMAT!r}; move it away")
    if found.version > VERSION:
        raise TakeError(f"{NAME}: written by a newer version of this program ({found.version}); update the program")
    return found.takes


def write(folder: Path, changed: Mapping[str, Entry]) -> Path | None:
    """Write what is said of some takes into the log; what it says of others stays as it is on the disk.

    A log that cannot be read is kept beside the new one; return where, or None. One of a newer version is left alone.
    Error: TakeError where nothing could be written; then the log is as it was.
    """
    aside: Path | None = None
    try:
        there = read(folder)
    except TakeError:
        if not (folder / NAME).is_file() or _newer(folder):
            raise
        there, aside = {}, _free(folder)
    said = {name: entry for name, entry in {**there, **changed}.items() if entry != NOTHING}
    for name, entry in said.items():
        if len(entry.note) > LONGEST_NOTE:
            raise TakeError(f"the note on {name} is longer than {LONGEST_NOTE} characters; shorten it")
    log = _Log(FORMAT, VERSION, dict(sorted(said.items())))
    try:
        data = json.dumps(msgspec.to_builtins(log), indent=2, ensure_ascii=False).encode() + b"\n"
    except UnicodeEncodeError as fault:
        raise TakeError("a note holds half of a character, which no file can keep; write it again") from fault
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _put(folder, data, aside)
    except OSError as fault:
        raise TakeError(f"{NAME}: cannot be written in {folder}: {fault.strerror}; nothing was changed") from fault
    return aside


def _put(folder: Path, data: bytes, aside: Path | None) -> None:
    """Have the log on the disk whole before it takes its name. Error: OSError; then all is as it was."""
    new = folder / f".{NAME}.{secrets.token_hex(4)}.new"
    try:
        with new.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        if aside is not None:
            shutil.copyfile(folder / NAME, aside)
        os.replace(new, folder / NAME)
    finally:
        new.unlink(missing_ok=True)


def _newer(folder: Path) -> bool:
    try:
        tree = json.loads((folder / NAME).read_bytes())
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
