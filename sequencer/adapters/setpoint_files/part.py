"""A file that is written beside the tick, and gets its name once it is whole.

While it is written it is called as it will be with `.part` behind it, and so it stays after a crash or a full disk: up
to its last half second it can be read. A thread does whatever may wait for the disk; it works a line at a time and lets
the tick go first. Neither an earlier file nor an earlier part is ever written over.
"""

import contextlib
import errno
import os
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import BinaryIO

from sequencer.adapters.setpoint_files.sheets import Begin, Line
from sequencer.errors import LinkError
from sequencer.takes.rows import EventRow

_FLUSH_EVERY_S = 0.5
_LOOK_EVERY_S = 0.05
# half a minute of 250 Hz, a few megabytes: a disk that wakes up takes less
_MOST_WAITING = 8192
_CLOSES_WITHIN_S = 10.0
# more than half a second of any rig, so that no line is handed over in part
_BUFFER_BYTES = 4 * 1024 * 1024
_FAULTS = {
    errno.ENOSPC: ("the disk is full", "free some space, or name another disk"),
    errno.EDQUOT: ("your share of the disk is used up", "free some space, or name another disk"),
    errno.EFBIG: ("the disk allows no longer file", "name another disk"),
    errno.EROFS: ("the disk can only be read", "name another folder"),
    errno.EACCES: ("this user may not write there", "name another folder, or change its permissions"),
    errno.EPERM: ("this user may not write there", "name another folder, or change its permissions"),
    errno.ENOENT: ("the folder is not there", "make it, or name another folder"),
    errno.ENOTDIR: ("a part of the path is not a folder", "name another folder"),
    errno.EEXIST: ("it is there already and is kept", "name another file, or move that one away"),
    errno.EIO: ("the disk reports a fault", "name another disk, and do not trust this one"),
}


def _trouble(path: Path, fault: OSError, kept: str = "") -> LinkError:
    what, mend = _FAULTS.get(fault.errno or 0, (fault.strerror or "it cannot be written", "name another folder"))
    return LinkError(f"{path.name}: {what}{kept}; {mend} ({path.parent})")


def _create(path: Path) -> BinaryIO:
    return path.open("xb", buffering=_BUFFER_BYTES)


class PartFile:
    """The open file. Error: LinkError from `put` and `look` once the disk failed.

    `left_out` counts the lines that came while too many waited for the disk.
    """

    def __init__(self, path: Path, begin: Begin) -> None:
        self._path, self._begin = path, begin
        self._part = path.with_name(f"{path.name}.part")
        self._lines: SimpleQueue[Line | None] = SimpleQueue()
        self._gap = 0
        self._fault: Exception | None = None
        self._closed = False
        self.left_out = 0
        if path.is_dir():
            raise LinkError(f"{path}: this is a folder; name a file in it")
        if path.exists():
            _drop_second_name(self._part, path)
            raise _trouble(path, FileExistsError(errno.EEXIST, ""))
        try:
            self._stream = _create(self._part)
        except OSError as fault:
            raise _trouble(self._part, fault) from fault
        self._thread = threading.Thread(target=self._work, name="setpoint file", daemon=True)
        self._thread.start()

    def put(self, line: Line, at_ns: int) -> None:
        """Have a line written soon; one that finds too many waiting is left out, which the file then says."""
        self.look()
        if self._lines.qsize() >= _MOST_WAITING:
            self._gap += 1
            self.left_out += 1
            return
        self._tell_gap(at_ns)
        self._lines.put(line)

    def _tell_gap(self, at_ns: int) -> None:
        if self._gap:
            words = f"{self._gap} lines are left out here: the disk was too slow"
            self._lines.put(EventRow(at_ns, "left out", words))
            self._gap = 0

    def look(self) -> None:
        """Raise what the disk said, if it failed."""
        if self._closed:
            raise LinkError(f"{self._path.name} was closed; open another file")
        if self._fault is not None:
            raise self._broken(self._fault)

    def waiting(self) -> int:
        """Return how many lines the disk has not taken yet."""
        return self._lines.qsize()

    def close(self) -> None:
        """Write what waits, and give the file its name. Error: LinkError where it did not become whole."""
        self._closed = True
        self._tell_gap(time.monotonic_ns())
        self._lines.put(None)
        self._thread.join(_CLOSES_WITHIN_S)
        if self._thread.is_alive():
            what = f"the disk did not take it within {_CLOSES_WITHIN_S:.0f} s, and what it took is in {self._part.name}"
            raise LinkError(f"{self._path.name}: {what}; look after the disk, or name another ({self._path.parent})")
        if self._fault is not None:
            raise self._broken(self._fault)

    def _broken(self, fault: Exception) -> Exception:
        if not isinstance(fault, OSError):
            return fault  # a bug of ours
        return _trouble(self._path, fault, f", and what was written before is in {self._part.name}")

    def _work(self) -> None:
        try:
            sheet = self._begin(self._stream)
            flushed_s = time.monotonic()
            for line in self._taken():
                if line is not None:
                    sheet.write(line)
                if time.monotonic() - flushed_s >= _FLUSH_EVERY_S:
                    sheet.flush()
                    flushed_s = time.monotonic()
            sheet.finish()
            self._stream.flush()
            os.fsync(self._stream.fileno())
            self._stream.close()
            _name(self._part, self._path)
        except Exception as fault:  # whatever ends the thread must be heard of
            self._fault = fault
            # a failed write is tried again by closing; it was noted, and the file is closed in any case
            with contextlib.suppress(OSError):
                self._stream.close()

    def _taken(self) -> Iterator[Line | None]:
        """Yield each line, and None where there is none, until the end.

        It looks now and then: a thread that woke for each line would take the interpreter from the tick that put it.
        """
        while True:
            try:
                line = self._lines.get_nowait()
            except Empty:
                yield None
                time.sleep(_LOOK_EVERY_S)
                continue
            if line is None:
                return
            yield line
            # many may wait after a slow disk; between two of them the tick may go on
            time.sleep(0)


def _name(part: Path, path: Path) -> None:
    """Give the part its name, but never that of a file which came there meanwhile. Error: OSError."""
    try:
        os.link(part, path)
    except FileExistsError:
        raise
    except OSError:
        # a file system without links
        if path.exists():
            raise FileExistsError(errno.EEXIST, "") from None
        part.rename(path)
    else:
        _flush(path.parent)  # before it loses the name that it had
        part.unlink(missing_ok=True)
    _flush(path.parent)


def _drop_second_name(part: Path, path: Path) -> None:
    """Take the part's name from a file that has its own already: the program was ended between the two."""
    with contextlib.suppress(OSError):
        if os.path.samestat(os.lstat(part), os.lstat(path)):
            part.unlink()


def _flush(folder: Path) -> None:
    """Wait until the names in the folder are on the disk, where the system can."""
    if hasattr(os, "O_DIRECTORY"):
        with contextlib.suppress(PermissionError):  # it may be written to, and not be listed
            handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
            try:
                os.fsync(handle)
            except OSError as fault:
                if fault.errno not in (errno.EINVAL, errno.ENOTSUP):
                    raise
            finally:
                os.close(handle)
