"""The other end of the take's records: the real keeper on real files, on a disk that may be full, slow or read-only."""

import errno
import io
import os
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, cast
from unittest.mock import patch

from sequencer.errors import TakeError
from sequencer.project import takefile
from sequencer.shell.keeper import Keeper
from sequencer.shell.messages import Kept, Report
from sequencer.shell.records import CloseTake, OpenTake, Record, pack

ROOM = 4000  # records, before the ring is full
_EVERY_NS = 50_000_000


class _Filling(io.FileIO):
    """A file on a disk that is full after so many bytes."""

    room = 0

    def write(self, data: Any, /) -> int:
        if self.tell() + len(data) > self.room:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return super().write(data)


class Disk:
    """`room` is how many bytes it takes, None for enough; `slow_to_ns` until when nothing is written."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.room: int | None = None
        self.slow_to_ns = 0
        self.accepted: list[int] = []  # rows that were taken of each take, in order
        self.reports: list[Report] = []
        self._records: deque[bytes] = deque()
        self._keeper = Keeper(cast(Any, self))
        self._next_ns = 0

    def put(self, record: Record) -> bool:
        """Take a record, as the ring does: refused where there is no room."""
        if len(self._records) >= ROOM:
            return False
        if isinstance(record, OpenTake):
            self.accepted.append(0)
        elif not isinstance(record, CloseTake):
            self.accepted[-1] += 1
        self._records.append(pack(record))
        return True

    def take(self) -> list[bytes]:
        """Return what was put since the last call."""
        taken = list(self._records)
        self._records.clear()
        return taken

    def look(self, now_ns: int) -> None:
        """Have the keeper write what there is, now and then."""
        if now_ns >= self._next_ns and now_ns >= self.slow_to_ns:
            self._next_ns = now_ns + _EVERY_NS
            with self._filling():
                self._keeper.drain()
            self._tell()

    def end(self) -> None:
        """Write all that is left, as the io process does at its end."""
        with self._filling():
            self._keeper.drain()
            self._keeper.close()
        self._tell()

    def _tell(self) -> None:
        self.reports += self._keeper.reports
        self._keeper.reports.clear()

    @contextmanager
    def _filling(self) -> Iterator[None]:
        if self.room is None:
            yield
            return
        room = self.room

        def opened(path: Path, mode: str) -> io.BufferedWriter:
            file = _Filling(path, mode)
            file.room = room
            return io.BufferedWriter(file)

        with patch.object(Path, "open", opened):
            yield

    def faults(self) -> Iterator[str]:
        """Yield what is wrong with what was kept: a take that is called whole has every row that was accepted."""
        kept = [report for report in self.reports if isinstance(report, Kept)]
        if len(kept) != len(self.accepted):
            yield f"{len(self.accepted)} takes were begun, and {len(kept)} were reported"
            return
        # a name is given anew where nothing came of the take that had it first, or while a slow disk has not begun it:
        # then the first one keeps it
        pairs = [one for one in zip(kept, self.accepted, strict=True) if "is there already" not in one[0].trouble]
        last = {report.path: (report, rows) for report, rows in pairs}
        for report, rows in last.values():
            path = Path(report.path)
            try:
                take = takefile.read(path)
            except TakeError as fault:
                if not report.trouble:
                    yield f"{path.name} cannot be read, and nobody was told: {fault}"
                continue
            there = len(take.due_ns) + len(take.actual_ns) + len(take.sighted_ns) + len(take.happenings)
            if not report.trouble and (not take.complete or there != rows):
                yield f"{path.name} is called whole, and has {there} of {rows} rows ({take.fault})"
            if report.trouble and there > rows:
                yield f"{path.name} has {there} rows, more than the {rows} that were given"
