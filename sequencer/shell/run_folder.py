"""The folder of a run, in which its processes share memory: gone with the run, however that ends.

A command that is killed cannot remove it. So each folder holds a lock that all processes of the run have, and the next
run removes the folders whose lock nobody has any more.
"""

import contextlib
import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

from sequencer.project.lock import Lock

_PREFIX = "twintake-"
_LOCK, _STARTING = "lock", "starting"


def place() -> Path:
    """Return where the folders of runs are: in memory, where the system has such a place."""
    memory = Path("/dev/shm")
    return memory if memory.is_dir() else Path(tempfile.gettempdir())


@contextlib.contextmanager
def run_folder() -> Iterator[tuple[Path, tuple[int, ...]]]:
    """Yield a new folder, and what its processes must inherit to keep it; it goes with the block."""
    sweep()
    with tempfile.TemporaryDirectory(prefix=_PREFIX, dir=place()) as name:
        folder = Path(name)
        lock = Lock.take(folder / _STARTING)
        if lock is None or os.name != "posix":
            # the system knows no such locks, or none that are inherited: what a killed command leaves stays
            if lock is not None:
                lock.release()
            yield folder, ()
            return
        # under its name it is never seen free while the run lives
        lock.renamed(_LOCK)
        try:
            yield folder, (lock.fileno(),)
        finally:
            lock.release()


def sweep() -> None:
    """Remove the folders of runs of which no process lives any more."""
    with contextlib.suppress(OSError):
        for folder in place().glob(f"{_PREFIX}*"):
            with contextlib.suppress(OSError):
                if _is_dead(folder):
                    shutil.rmtree(folder, ignore_errors=True)


def _is_dead(folder: Path) -> bool:
    there = folder.lstat()
    is_ours = not hasattr(os, "getuid") or there.st_uid == os.getuid()
    if folder.is_symlink() or not is_ours or not (folder / _LOCK).is_file():
        return False
    lock = Lock.take(folder / _LOCK)
    if lock is not None:
        lock.release()
    return lock is not None
