"""Keeps takes: writes the rows that the engine hands over, in a thread of its own, so that no disk delays timecode."""

import contextlib
import os
import threading
import time
from collections.abc import Iterator
from contextlib import AbstractContextManager
from pathlib import Path

from sequencer.errors import LinkError
from sequencer.shell.memory import Ring
from sequencer.shell.messages import Kept, Report, Said
from sequencer.shell.recorder import Recorder, room_for
from sequencer.shell.records import CloseTake, OpenTake, unpack
from sequencer.takes.rows import EventRow, Row

_DRAIN_S = 0.02
_ENDS = frozenset({"finished", "stopping", "stopped"})


class Keeper:
    """Writes rows to the open take file, in a thread of its own: a slow disk must not delay timecode.

    A disk that fails is told at once and again when the take is closed; the move goes on, and what was written stays.
    `reports` holds what is still to be told.
    """

    def __init__(self, ring: Ring) -> None:
        self._ring = ring
        self._open: AbstractContextManager[Recorder] | None = None
        self._recorder: Recorder | None = None
        self._path = ""
        self._trouble = ""
        self._over = True
        self.reports: list[Report] = []

    def drain(self) -> None:
        for data in self._ring.take():
            record = unpack(data)
            if isinstance(record, OpenTake):
                self.close()
                self._begin(record)
            elif isinstance(record, CloseTake):
                self.close(record.missing)
            elif self._recorder is not None and not self._trouble:
                self._over = self._over or (isinstance(record, EventRow) and record.code in _ENDS)
                self._write(record)

    def _write(self, row: Row) -> None:
        assert self._recorder is not None
        try:
            self._recorder.write(row)
        except LinkError as fault:
            self._fail(str(fault))

    def _begin(self, take: OpenTake) -> None:
        self._path, self._over = take.path, False
        path = Path(take.path)
        trouble = room_for(path, take.rows_per_s, take.expected_s)
        if trouble:
            self._fail(trouble)
            return
        try:
            self._open = Recorder.open(path, take.heading)
            self._recorder = self._open.__enter__()
        except LinkError as fault:
            self._open = None
            self._fail(str(fault))

    def _fail(self, trouble: str) -> None:
        self._trouble = trouble
        self.reports.append(Said(time.monotonic_ns(), "take", f"{trouble}. The move goes on"))

    def close(self, missing: int = 0) -> None:
        """Finish the open file, if there is one, and report on it; `missing` rows never came."""
        if not self._path:
            return
        if missing and not self._trouble:
            self._trouble = f"{missing} rows are missing, since the disk was too slow; record to another disk"
        if self._open is not None:
            try:
                self._open.__exit__(None, None, None)
            except LinkError as fault:
                self._trouble = self._trouble or str(fault)
            if not self._trouble and not os.path.lexists(self._path):
                where = Path(self._path)
                self._trouble = (
                    f"{where.name} was written, and is not there any more; look for who moved or removed it, or pulled "
                    f"the disk ({where.parent})"
                )
        self.reports.append(Kept(self._path, self._trouble))
        self._open, self._recorder, self._path, self._trouble = None, None, "", ""

    def run(self, ended: threading.Event) -> None:
        while not ended.wait(_DRAIN_S):
            self.drain()
        self.drain()
        self._cut()
        self.close()

    def _cut(self) -> None:
        """Have a take whose end nobody told say so: without that it reads as if it were whole.

        The engine has died in the middle of it, or the operator has quit while the rig waited for its start.
        """
        if self._recorder is None or self._trouble or self._over:
            return
        words = (
            "the run ended before the take did, and what was recorded is kept; look at the rig before you shoot it "
            "again"
        )
        self._write(EventRow(time.monotonic_ns(), "stopped", words))
        self._trouble = self._trouble or words


@contextlib.contextmanager
def keeping(folder: Path) -> Iterator[Keeper]:
    """Yield a keeper that runs until the block ends, and has then written all there was."""
    keeper = Keeper(Ring(folder / "records"))
    ended = threading.Event()
    thread = threading.Thread(target=keeper.run, args=(ended,))
    thread.start()
    try:
        yield keeper
    finally:
        ended.set()
        thread.join()
