"""The one rule for what a project's folder holds: it lies inside the folder, and what is read there is a file.

A folder may come from a stranger, whose link could have this program read, carry away or write over what lies elsewhere
on the machine. So a link that leads out is refused, and so are pipes and devices, which might never end. What the
operator names on the command line is the operator's own word, and may lie anywhere.
"""

import errno
import os
import secrets
import shutil
import stat
from io import FileIO
from pathlib import Path
from typing import BinaryIO

LEADS_OUT = "leads out of the project folder"
NO_FILE = "is not a file"
_READ = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
_WRITE = os.O_RDWR | os.O_CREAT | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
_NO_LINK = getattr(os, "O_NOFOLLOW", 0)


def leads_out(path: Path, folder: Path) -> bool:
    """Return whether links lead from `path` out of `folder`; of what is not there, by the part that is."""
    return not Path(os.path.realpath(path)).is_relative_to(os.path.realpath(folder))


def demand_inside(path: Path, folder: Path) -> None:
    """Error: OSError whose `strerror` says that `path` leads out of `folder`."""
    if leads_out(path, folder):
        raise OSError(
            errno.EXDEV, f"{LEADS_OUT} ({'a folder' if path.is_dir() else 'a file'} is needed, no link)", str(path)
        )


def opened(path: Path, folder: Path | None) -> BinaryIO:
    """Open a file of `folder` to be read; None for a file that the operator names, which may be a link.

    Error: OSError; its `strerror` says so where the file leads out, or is none.
    """
    if folder is not None:
        demand_inside(path, folder)
    handle = os.open(path, _READ)
    try:
        if not stat.S_ISREG(os.fstat(handle).st_mode):
            raise OSError(errno.EINVAL, NO_FILE, str(path))
        return os.fdopen(handle, "rb")
    except BaseException:
        os.close(handle)
        raise


def content(path: Path, folder: Path, most: int) -> bytes:
    """Return what a file of `folder` holds, which is at most so many bytes. Error: OSError, as `opened` and beyond."""
    with opened(path, folder) as file:
        data = file.read(most + 1)
    if len(data) > most:
        raise OSError(errno.EFBIG, f"larger than {most // 2**20} MB", str(path))
    return data


def own(path: Path) -> FileIO:
    """Open a file of ours, unbuffered, to be read and written; it is made where it is not there, and kept as it is.

    One with another name as well (a backup's, or somebody else's file) is first made a copy, and the other one stays
    as it is. Error: OSError for a link, and for what is no file.
    """
    file = unwritten(path)
    try:
        if not has_other_names(file):
            return file
        file.close()
        _part(path)
        file = unwritten(path)
        if has_other_names(file):
            raise OSError(
                errno.EMLINK, "is given other names while it is opened; work in a folder of your own", str(path)
            )
        return file
    except BaseException:
        file.close()
        raise


def unwritten(path: Path) -> FileIO:
    """Open a file as `own` does, but not to be written to before `has_other_names` says no. Error: OSError."""
    if path.is_symlink():  # where the system cannot refuse it by itself
        raise OSError(errno.ELOOP, "is a link, which is not written through; remove it", str(path))
    handle = os.open(path, _WRITE | _NO_LINK, 0o666)
    try:
        if not stat.S_ISREG(os.fstat(handle).st_mode):
            raise OSError(errno.EINVAL, NO_FILE, str(path))
        return os.fdopen(handle, "r+b", buffering=0)
    except BaseException:
        os.close(handle)
        raise


def has_other_names(file: FileIO) -> bool:
    """Return whether what is written to an open file is written to a file of another name, too."""
    return os.fstat(file.fileno()).st_nlink > 1


def _part(path: Path) -> None:
    """Put a copy in the place of a file: what is written to it is then written to no other. Error: OSError."""
    new = path.with_name(f".{path.name}.{secrets.token_hex(4)}.new")
    try:
        with opened(path, path.parent) as old, new.open("xb") as copy:
            shutil.copyfileobj(old, copy)
            copy.flush()
            os.fsync(copy.fileno())
        shutil.copymode(path, new)
        os.replace(new, path)
    finally:
        new.unlink(missing_ok=True)
