"""A lock that one process holds, as a file. It refuses to outlive its process: then the system lets go of it.

A number in a file alone would not do: after a crash another process may have the same number.
"""

import os
from contextlib import suppress
from pathlib import Path
from typing import BinaryIO

from sequencer.project.flushed import make_folder
from sequencer.project.inside import has_other_names, unwritten


class Lock:
    """A file that one process holds while it lives: the system lets go of it when the process ends, however it ends."""

    def __init__(self, path: Path, file: BinaryIO) -> None:
        self.path = path
        self._file = file

    @classmethod
    def take(cls, path: Path) -> "Lock | None":
        """Take the lock, or return None where a living process has it. Error: OSError, for a link too."""
        make_folder(path.parent)
        file = unwritten(path)
        try:
            _lock(file)
            # whoever let go of it may have removed its name meanwhile: then others lock another file
            is_named = os.path.samestat(os.fstat(file.fileno()), os.stat(path))
        except OSError:
            is_named = False
        if not is_named:
            file.close()
            return None
        if has_other_names(file):
            # a backup's, or anybody's, is not written over; nobody holds this one, so another takes its place
            try:
                path.unlink()
            finally:
                file.close()
            return cls.take(path)
        file.truncate(0)
        file.write(str(os.getpid()).encode())
        file.flush()
        return cls(path, file)

    def fileno(self) -> int:
        """Return the open file: a process that gets it as well holds the lock, too, while it lives."""
        return self._file.fileno()

    def renamed(self, name: str) -> None:
        """Give the lock's file another name in its folder. Error: OSError."""
        to = self.path.with_name(name)
        os.replace(self.path, to)
        self.path = to

    def release(self) -> None:
        """Let go of it."""
        with suppress(OSError):
            self.path.unlink(missing_ok=True)
        self._file.close()


try:
    import fcntl

    def _lock(file: BinaryIO) -> None:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)

except ImportError:  # a system without it has the other one
    import msvcrt

    def _lock(file: BinaryIO) -> None:
        # far behind the process's number, which others read
        file.seek(1 << 20)
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]  # there on Windows alone
        file.seek(0)


def owner(path: Path) -> int:
    """Return the number of the process that holds a lock, 0 where it does not say."""
    try:
        return int(path.read_bytes())
    except (OSError, ValueError):
        return 0
