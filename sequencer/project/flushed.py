"""Names that are on the disk: a file that was waited for is found after a power cut only if its folder was, too.

It refuses to complain of a system that cannot wait for a folder: that one does so by itself, or never.
"""

import errno
import os
from pathlib import Path

_CANNOT = frozenset({errno.EINVAL, errno.ENOTSUP, errno.EBADF, errno.EACCES})


def flush_folder(folder: Path) -> None:
    """Wait until the names in the folder are on the disk. Error: OSError."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    try:
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    except PermissionError:
        return  # it may be written to, and not be listed
    try:
        os.fsync(handle)
    except OSError as fault:
        if fault.errno not in _CANNOT:
            raise
    finally:
        os.close(handle)


def make_folder(folder: Path) -> None:
    """Make a folder with those above it, where they are not there, and wait until they are. Error: OSError."""
    missing = []
    for place in (folder, *folder.parents):
        if place.is_dir():
            break
        missing.append(place)
    folder.mkdir(parents=True, exist_ok=True)
    for place in missing:
        flush_folder(place.parent)
