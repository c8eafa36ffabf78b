"""The disk side of an export: all its files are there whole, or none is; what is there already stays unless told.

It refuses to leave half a file behind, whatever goes wrong. Where files take the places of others, a crash in the
middle leaves each of them whole, the new or the one before; what was before lies beside them as `.NAME.*.old`.
"""

import contextlib
import errno
import os
import re
import secrets
import time
from collections.abc import Iterable, Mapping
from pathlib import Path

from sequencer.errors import ExportError

_STALE_S = 60.0  # no export takes so long to be put in place


def write(files: Mapping[Path, bytes], force: bool = False) -> None:
    """Write the files, all in one folder that is there; with `force` they take the places of others.

    A link is replaced, not written through. Error: ExportError; then everything is there as it was before.
    """
    _refuse(files, force)
    mark = secrets.token_hex(4)
    new, old = ({path: path.with_name(f".{path.name}.{mark}.{end}") for path in files} for end in ("new", "old"))
    aside: list[Path] = []
    placed: list[Path] = []
    try:
        for path, data in files.items():
            with new[path].open("xb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
        _flush(files)
        for path in files:
            if os.path.lexists(path):
                _keep(path, old[path])
                aside.append(path)
            os.replace(new[path], path)
            placed.append(path)
        _flush(files)
    except BaseException as fault:  # who breaks it off wants back what was there, too
        for path in placed:
            if path not in aside:
                _gone(path)
        lost = [old[path].name for path in aside if not _back(old[path], path)]
        if not isinstance(fault, OSError):
            raise
        place = next(iter(files))
        why = fault.strerror or str(fault)
        kept = f"what was there is now in {', '.join(lost)}" if lost else "everything is as it was"
        raise ExportError(
            f"{place.name} cannot be written in {place.parent}: {why}; {kept}; free the disk, or name another folder"
        ) from fault
    finally:
        for path in new.values():
            _gone(path)
    for path in aside:
        _gone(old[path])
    _sweep(files)


def _keep(path: Path, old: Path) -> None:
    """Give what is there a second name; the first one is never without a file, whenever the program ends."""
    try:
        os.link(path, old, follow_symlinks=False)
    except (OSError, NotImplementedError):
        # a file system without links: here a crash leaves it under the second name alone
        os.replace(path, old)


def _sweep(files: Iterable[Path]) -> None:
    """Remove what exports of these files left that were broken off long ago."""
    for path in files:
        with contextlib.suppress(OSError):
            for left in list(os.scandir(path.parent)):
                is_ours = re.fullmatch(rf"\.{re.escape(path.name)}\.[0-9a-f]{{8}}\.(new|old)", left.name)
                if is_ours and time.time() - left.stat(follow_symlinks=False).st_mtime > _STALE_S:
                    _gone(Path(left.path))


def _flush(files: Iterable[Path]) -> None:
    """Wait until the names in the files' folders are on the disk, where the system can."""
    for folder in {path.parent for path in files} if hasattr(os, "O_DIRECTORY") else ():
        try:
            handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        except PermissionError:
            continue  # it may be written to, and not be listed
        try:
            os.fsync(handle)
        except OSError as fault:
            if fault.errno not in (errno.EINVAL, errno.ENOTSUP):
                raise
        finally:
            os.close(handle)


def _back(old: Path, path: Path) -> bool:
    """Give a file its name back; tell whether that was possible."""
    try:
        os.replace(old, path)
    except OSError:
        _gone(path)
        return False
    _gone(old)  # of two names of one file none is replaced
    return True


def _gone(path: Path) -> None:
    """Remove what is left of a file, if anything is."""
    try:
        path.unlink(missing_ok=True)
    except OSError:
        # in a folder that cannot be written to, or is none, nothing was begun
        return


def _refuse(files: Mapping[Path, bytes], force: bool) -> None:
    for path in files:
        # unlike the methods of a path, these take what may not be looked at, or has too long a name, for not there
        if os.path.isdir(path):
            raise ExportError(f"{path} is a folder; name a file in it")
        if not os.path.isdir(path.parent):
            raise ExportError(f"there is no folder {path.parent}; make it, or name another one")
        if os.path.lexists(path) and not force:
            raise ExportError(f"{path} is there already; name another file, or say --force to replace it")
