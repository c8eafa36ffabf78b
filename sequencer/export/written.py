"""The disk side of an export: all its files are there whole, or none is; what is there already stays unless told.

It refuses to leave half a file behind, whatever goes wrong.
"""

import os
import secrets
from collections.abc import Mapping
from pathlib import Path

from sequencer.errors import ExportError


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
        for path in files:
            if os.path.lexists(path):
                os.replace(path, old[path])
                aside.append(path)
            os.replace(new[path], path)
            placed.append(path)
    except BaseException as fault:  # who breaks it off wants back what was there, too
        for path in placed:
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


def _back(old: Path, path: Path) -> bool:
    """Give a file its name back; tell whether that was possible."""
    try:
        os.replace(old, path)
    except OSError:
        return False
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
