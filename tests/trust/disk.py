"""The other end of the take's records: the real keeper on real files, on a disk that may be full, slow or read-only.

The process that writes may be killed: then what it had not handed to the system is gone.
"""

import errno
import io
import os
from collections import deque
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, cast
from unittest.mock import patch

import numpy as np

from sequencer.errors import TakeError
from sequencer.project import takefile
from sequencer.rig.signals import Floats
from sequencer.shell.keeper import Keeper
from sequencer.shell.messages import Kept, Report
from sequencer.shell.records import CloseTake, OpenTake, Record, pack
from sequencer.takes.rows import SetpointRow
from sequencer.takes.take import Take

ROOM = 4000  # records, before the ring is full
PROMISE_NS = 500_000_000  # of what was recorded, so much may be lost where the program dies
_EVERY_NS = 50_000_000
_SLACK_NS = 2 * _EVERY_NS  # in which the keeper looks
Went = Mapping[int, Floats]


class _Filling(io.FileIO):
    """A file on a disk that is full after so many bytes."""

    room = 0

    def write(self, data: Any, /) -> int:
        if self.tell() + len(data) > self.room:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return super().write(data)


@dataclass(slots=True)
class Accepted:
    """The rows that were taken of one take: when each was, and when the setpoints among them were due.

    `begun_ns`: when it was begun; `rests_ns`: when all that was shot in it stood, 0 where that is not known.
    """

    path: str
    begun_ns: int
    at_ns: list[int] = field(default_factory=list)
    due_ns: list[int] = field(default_factory=list)
    rests_ns: int = 0


@dataclass(frozen=True, slots=True)
class _Torn:
    """What the system had of a take when its writer was killed, and how many rows were promised to be in it."""

    path: Path
    promised: int


class Disk:
    """`room` is how many bytes it takes, None for enough; `slow_to_ns` until when nothing is written."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.now_ns = 0
        self.room: int | None = None
        self.read_only = False
        self.slow_to_ns = 0
        self.accepted: list[Accepted] = []
        self.reports: list[Report] = []
        self._torn: list[_Torn] = []
        self._records: deque[bytes] = deque()
        self._keeper: Keeper | None = Keeper(cast(Any, self))
        self._next_ns = 0
        self._wrote_ns = 0  # when it could last write
        self._closed = True

    def put(self, record: Record) -> bool:
        """Take a record, as the ring does: refused where there is no room."""
        if len(self._records) >= ROOM:
            return False
        if self._keeper is None:
            pass  # nobody will ever read it
        elif isinstance(record, OpenTake):
            self.accepted.append(Accepted(record.path, self.now_ns))
            self._closed = False
        elif isinstance(record, CloseTake):
            self._closed = True
        else:
            self.accepted[-1].at_ns.append(self.now_ns)
            if isinstance(record, SetpointRow):
                self.accepted[-1].due_ns.append(record.due_ns)
        self._records.append(pack(record))
        return True

    def take(self) -> list[bytes]:
        """Return what was put since the last call."""
        taken = list(self._records)
        self._records.clear()
        return taken

    def look(self, now_ns: int) -> None:
        """Have the keeper write what there is, now and then."""
        self.now_ns = now_ns
        if now_ns >= self._next_ns and now_ns >= self.slow_to_ns and self._keeper is not None:
            self._next_ns, self._wrote_ns = now_ns + _EVERY_NS, now_ns
            with self._filling():
                self._keeper.drain()
            self._tell()

    def rests(self, now_ns: int) -> None:
        """Take in that the rig stands, by setpoints alone: all that went out in the take before is to be in it."""
        if self.accepted and not self.accepted[-1].rests_ns:
            self.accepted[-1].rests_ns = now_ns

    def kill(self) -> None:
        """End the process that writes, at once, and keep what the system has of the take that is open."""
        if self._keeper is None:
            return
        keeper, self._keeper = self._keeper, None
        if self._closed or not self.accepted:
            self.end(keeper)
            return
        last = self.accepted.pop()
        path = Path(last.path)
        since_ns = min(self._wrote_ns, self.now_ns) - PROMISE_NS - _SLACK_NS
        promised = sum(at_ns <= since_ns for at_ns in last.at_ns)
        if path.exists() and self.room is None and not self.read_only:
            torn = path.with_suffix(".killed")
            torn.write_bytes(path.read_bytes())
            self._torn.append(_Torn(torn, promised))
        elif promised and self.room is None and not self.read_only:
            self._torn.append(_Torn(path, promised))
        keeper.close()  # what that writes is not looked at
        self._records.clear()

    def begin_anew(self) -> None:
        """Have another process write, for another run."""
        if self._keeper is not None:
            self.end(self._keeper)
        self._keeper, self._closed = Keeper(cast(Any, self)), True
        self._records.clear()
        for one in self.accepted:
            one.rests_ns = one.rests_ns or one.begun_ns  # an engine that was killed brought none to its end

    def end(self, keeper: Keeper | None = None) -> None:
        """Write all that is left, as the io process does at its end."""
        keeper = keeper or self._keeper
        if keeper is None:
            return
        with self._filling():
            keeper.drain()
            keeper.close()
        self.reports += keeper.reports
        keeper.reports.clear()

    def _tell(self) -> None:
        assert self._keeper is not None
        self.reports += self._keeper.reports
        self._keeper.reports.clear()

    @contextmanager
    def _filling(self) -> Iterator[None]:
        if self.room is None and not self.read_only:
            yield
            return
        room = self.room

        def opened(path: Path, mode: str) -> io.BufferedWriter:
            if self.read_only:
                raise OSError(errno.EROFS, os.strerror(errno.EROFS))
            file = _Filling(path, mode)
            file.room = room or 0
            return io.BufferedWriter(file)

        with patch.object(Path, "open", opened):
            yield

    def faults(self, went: Went) -> Iterator[str]:
        """Yield what is wrong with what was kept: a take that is called whole has every row that was accepted.

        `went` is what went out, by when it was due. Shape: (A,), NaN for what no rig was told.
        """
        for torn in self._torn:
            there = _count(torn.path)
            if there < torn.promised:
                yield f"killed: {torn.path.name} has {there} of {torn.promised} rows that were promised"
        kept = [report for report in self.reports if isinstance(report, Kept)]
        if len(kept) != len(self.accepted):
            yield f"{len(self.accepted)} takes were begun, and {len(kept)} were reported"
            return
        # a name is given anew where nothing came of the take that had it first, or while a slow disk has not begun it:
        # then the first one keeps it
        pairs = [one for one in zip(kept, self.accepted, strict=True) if "is there already" not in one[0].trouble]
        for report, accepted in {report.path: (report, accepted) for report, accepted in pairs}.values():
            yield from _judged(report, accepted, went)


def _judged(report: Kept, accepted: Accepted, went: Went) -> Iterator[str]:
    path, rows = Path(report.path), len(accepted.at_ns)
    try:
        take = takefile.read(path)
    except TakeError as fault:
        if not report.trouble:
            yield f"{path.name} cannot be read, and nobody was told: {fault}"
        return
    there = _rows(take)
    if not report.trouble and (not take.complete or there != rows):
        yield f"{path.name} is called whole, and has {there} of {rows} rows ({take.fault})"
    if report.trouble and there > rows:
        yield f"{path.name} has {there} rows, more than the {rows} that were given"
    recorded = dict(zip(take.due_ns.tolist(), take.asked, strict=True))
    for due_ns, asked in recorded.items():
        if due_ns in went and (np.abs(went[due_ns] - asked) > 1e-9).any():
            yield f"{path.name} says that {asked.tolist()} was asked for, and {went[due_ns].tolist()} went out"
            return
    if not report.trouble:
        # the very tick in which it was begun may have looked at what went out before that
        first_ns = min((accepted.begun_ns + _EVERY_NS, *recorded))
        last_ns = max((accepted.rests_ns, *recorded))
        missing = [due_ns for due_ns in went if first_ns <= due_ns <= last_ns and due_ns not in recorded]
        if missing:
            yield f"{path.name} has nothing of {len(missing)} setpoints that went out in it"


def _rows(take: Take) -> int:
    return len(take.due_ns) + len(take.actual_ns) + len(take.sighted_ns) + len(take.happenings)


def _count(path: Path) -> int:
    try:
        return _rows(takefile.read(path))
    except TakeError:
        return 0
