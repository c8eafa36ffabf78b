"""Puts project.json and rig.json on the disk so that no crash separates two that belong together.

Where both change, the rig waits under a name that says of which project.json it is, and of which rig.json it takes the
place: `.rig.json.NEW-OLD.new`, with the first digits of their SHA-256. Once project.json has its name the save is done,
and whoever comes next gives the rig its own. A file that anybody changed since has another checksum, and is left alone.
"""

import hashlib
import os
import re
import secrets
import shutil
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from sequencer.project import files
from sequencer.project.flushed import flush_folder
from sequencer.project.inside import content

_DIGITS = 16
_NONE = b""
_OURS = re.compile(r"\.(project|rig)\.json(\.bak|\.broken)?\.([0-9a-f]{8}|[0-9a-f]{16}-[0-9a-f]{16})\.new")
_STALE_S = 60.0  # no save takes so long


def put(
    folder: Path,
    wanted: dict[str, bytes],
    before: dict[str, bytes],
    suffix: str,
    rename: Callable[[Path, Path], None] | None = None,
) -> None:
    """Put the wanted files in place, each whole, and what was `before` under their names beside them with `suffix`.

    Everything is on the disk before the first file changes its name. Error: OSError; then what was before is back.
    """
    rename = rename or os.replace
    aside = {name + suffix: before[name] for name in wanted if name in before}
    waiting = {name: folder / f".{name}.{secrets.token_hex(4)}.new" for name in aside | wanted}
    pair = len(wanted) == len((files.PROJECT, files.RIG))
    if pair:
        waiting[files.RIG] = _waiting(folder, wanted[files.PROJECT], before.get(files.RIG, _NONE))
    done: list[str] = []
    try:
        _demand_unmistaken(folder, wanted, before)
        for name, data in (aside | wanted).items():
            _write(waiting[name], data, like=folder / name.removesuffix(suffix))
        if pair:
            flush_folder(folder)
        for name, new in waiting.items():
            if pair and name == files.RIG:
                flush_folder(folder)  # never the rig without its project
            _name(rename, new, folder / name, (aside | wanted)[name])
            done.append(name)
        flush_folder(folder)
        _sweep(folder)
    except BaseException:  # who breaks it off wants back what was there, too
        for name in done:
            if name + suffix in aside:
                os.replace(folder / (name + suffix), folder / name)
            elif name in wanted:
                (folder / name).unlink()
        raise
    finally:
        for new in waiting.values():
            new.unlink(missing_ok=True)


def complete(folder: Path) -> None:
    """Give a rig its name whose project.json has its own already: a crash was between the two.

    A folder that cannot be written to is left as it is.
    """
    with suppress(OSError):
        if not any(name.startswith(f".{files.RIG}.") and name.endswith(".new") for name in os.listdir(folder)):
            return
        project, rig = (_there(folder / name) for name in (files.PROJECT, files.RIG))
        new = _waiting(folder, project, rig)
        if new.is_file() and not new.is_symlink():
            os.replace(new, folder / files.RIG)
            flush_folder(folder)


def _waiting(folder: Path, project: bytes, rig: bytes) -> Path:
    new, old = (hashlib.sha256(data).hexdigest()[:_DIGITS] for data in (project, rig))
    return folder / f".{files.RIG}.{new}-{old}.new"


def _demand_unmistaken(folder: Path, wanted: dict[str, bytes], before: dict[str, bytes]) -> None:
    """Remove what an earlier save left that never came to its project.json, and would be taken for this one's."""
    project = wanted.get(files.PROJECT, before.get(files.PROJECT, _NONE))
    rigs = {data for data in (before.get(files.RIG), wanted.get(files.RIG)) if data is not None}
    for rig in (*rigs, _NONE):
        with suppress(FileNotFoundError):
            _waiting(folder, project, rig).unlink()
            flush_folder(folder)


def _sweep(folder: Path) -> None:
    """Remove what saves left that were broken off long ago."""
    with suppress(OSError):
        for path in folder.glob(".*.new"):
            is_ours = _OURS.fullmatch(path.name)
            if is_ours and time.time() - path.stat().st_mtime > _STALE_S:
                path.unlink()


def _name(rename: Callable[[Path, Path], None], new: Path, path: Path, data: bytes) -> None:
    try:
        rename(new, path)
    except FileNotFoundError:
        # whoever read the project in this very instant completed it
        if _there(path) != data:
            raise


def _there(path: Path) -> bytes:
    try:
        return content(path, path.parent, files.MAX_BYTES)
    except OSError:
        return _NONE


def _write(path: Path, data: bytes, *, like: Path) -> None:
    """Write a new file and wait until it is on the disk, with the permissions of `like` if that is there."""
    with open(path, "xb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    if like.is_file():
        shutil.copymode(like, path)
