"""Which projects were open lately, for the next start. It refuses to complain: a list that cannot be kept is short.

It refuses to wait for the disk, too, since the window's own thread writes it: a program that is killed leaves the list
whole, the new one or the one before; a power cut may take it.
"""

import os
import secrets
import time
from contextlib import suppress
from pathlib import Path

import msgspec

from sequencer.project import files
from sequencer.project.recovery import state_folder

_FILE = "recent.json"
_MOST = 8
_STALE_S = 60.0  # no list takes so long to be written


def recent(root: Path | None = None) -> tuple[Path, ...]:
    """Return the project folders that were open lately and are still there, the latest first."""
    # unlike the method of a path, this takes what cannot be looked at, as on a disk that is gone, for not there
    return tuple(path for path in _read(root) if os.path.isfile(path / files.PROJECT))


def opened(folder: Path, root: Path | None = None) -> None:
    """Remember that a project was opened."""
    folder = folder.resolve()
    paths = [folder, *(path for path in _read(root) if path != folder)][:_MOST]
    # a folder's name that is no text cannot be told in JSON
    with suppress(OSError, UnicodeEncodeError):
        _write(root or state_folder(), msgspec.json.encode([str(path) for path in paths]))


def _write(home: Path, data: bytes) -> None:
    """Write the list, which has its name only once it is whole. Error: OSError; then it is as it was."""
    home.mkdir(parents=True, exist_ok=True)
    # of a name of its own: another editor may write one right now
    waiting = home / f".{_FILE}.{secrets.token_hex(4)}.new"
    try:
        with waiting.open("xb") as file:
            file.write(data)
        os.replace(waiting, home / _FILE)
    finally:
        waiting.unlink(missing_ok=True)
    for left in home.glob(f".{_FILE}.????????.new"):
        if time.time() - left.stat().st_mtime > _STALE_S:
            left.unlink(missing_ok=True)


def _read(root: Path | None) -> list[Path]:
    try:
        return [
            Path(path) for path in msgspec.json.decode(((root or state_folder()) / _FILE).read_bytes(), type=list[str])
        ]
    except (OSError, msgspec.MsgspecError):
        return []
