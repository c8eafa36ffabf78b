"""The io process: what may block. It reads MIDI ports and writes take files, so that the tick never waits for either.

Chunks from a port go to the engine through one ring, rows of the take come from it through another.
"""

import contextlib
import struct
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import AbstractContextManager, ExitStack
from pathlib import Path

from sequencer.adapters.contract import Chunk, Source
from sequencer.errors import LinkError
from sequencer.shell.child import Child, join
from sequencer.shell.kinds import open_source, source_kind
from sequencer.shell.memory import Ring
from sequencer.shell.messages import Failed, Kept, Opened, Quit, Report, Said
from sequencer.shell.recorder import Recorder, room_for
from sequencer.shell.records import CloseTake, OpenTake, unpack

_STAMP = struct.Struct("<q")
_POLL_S = 0.001
_DRAIN_S = 0.02


def pack_chunk(chunk: Chunk) -> bytes:
    return _STAMP.pack(chunk.stamp_ns) + chunk.data


def unpack_chunk(record: bytes) -> Chunk:
    return Chunk(_STAMP.unpack_from(record)[0], record[_STAMP.size :])


class RingSource:
    """A source that the io process reads for us, as the engine sees it."""

    def __init__(self, path: Path) -> None:
        self._ring = Ring(path)
        self.address = ""  # the io process says it

    def fileno(self) -> int | None:
        return None

    def notices(self) -> tuple[str, ...]:
        return ()

    def read(self, heard_ns: int) -> tuple[Chunk, ...]:
        return tuple(unpack_chunk(record) for record in self._ring.take())


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
                try:
                    self._recorder.write(record)
                except LinkError as fault:
                    self._fail(str(fault))

    def _begin(self, take: OpenTake) -> None:
        self._path = take.path
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
        self.reports.append(Kept(self._path, self._trouble))
        self._open, self._recorder, self._path, self._trouble = None, None, "", ""

    def run(self, ended: threading.Event) -> None:
        while not ended.wait(_DRAIN_S):
            self.drain()
        self.drain()
        self.close()


@contextlib.contextmanager
def _keeping(folder: Path) -> Iterator[Keeper]:
    keeper = Keeper(Ring(folder / "records"))
    ended = threading.Event()
    thread = threading.Thread(target=keeper.run, args=(ended,))
    thread.start()
    try:
        yield keeper
    finally:
        ended.set()
        thread.join()


def pass_on(source: Source, ring: Ring, crowded: bool) -> tuple[bool, list[str]]:
    """Move what the port has to the engine; return whether it was lost for want of room, and what to tell.

    `crowded` says whether it was so before: it is told once.
    """
    notices = []
    for chunk in source.read(time.monotonic_ns()):
        was, crowded = crowded, not ring.put(pack_chunk(chunk))
        if crowded and not was:
            notices.append("more comes in than the engine can take, and is lost; look for what else sends on this port")
    return crowded, [*notices, *source.notices()]


def _serve(child: Child, source: Source | None, ring: Ring, keeper: Keeper) -> None:
    crowded = False
    while not child.control.gone:
        time.sleep(_DRAIN_S if source is None else _POLL_S)
        if source is not None:
            crowded, notices = pass_on(source, ring, crowded)
            for notice in notices:
                child.control.say(Said(time.monotonic_ns(), "link", notice))
        while keeper.reports:
            child.control.say(keeper.reports.pop(0))
        child.control.push()
        if any(isinstance(command, Quit) for command in child.control.read()):
            return


def main(folder: Path) -> None:
    # a port's own thread waits for the interpreter at most so long
    sys.setswitchinterval(0.0005)
    child = join(folder, "io")
    ring = Ring(folder / "chunks")
    try:
        with ExitStack() as stack:
            keeper = stack.enter_context(_keeping(folder))
            wanted = child.setup.source
            source = stack.enter_context(open_source(wanted)) if wanted and reads_here(wanted) else None
            child.control.say(Opened("io", source.address if source else ""))
            _serve(child, source, ring, keeper)
    except LinkError as fault:
        child.control.say(Failed(str(fault), 3))
    for report in keeper.reports:
        child.control.say(report)


def reads_here(address: str) -> bool:
    """Whether the source at `address` may block, so that it is read in this process and not beside the tick."""
    return source_kind(address).blocks


if __name__ == "__main__":
    main(Path(sys.argv[1]))
