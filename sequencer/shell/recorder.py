"""Writes a take file while the take runs. It decides nothing and never writes over a take that is there.

The file is flushed at each half second of rows, so that a program that dies loses no more than that. The disk is
waited for as often, so that a power cut takes no more either; what comes while a disk is slow waits in memory.
"""

import contextlib
import errno
import os
import shutil
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO, Self

import msgspec
from mcap.writer import CompressionType, Writer

from sequencer.errors import LinkError
from sequencer.project.flushed import flush_folder
from sequencer.takes.rows import ActualRow, EventRow, Heading, Row, SetpointRow, TimecodeRow

_CHUNK_NS = 500_000_000
_CHUNK_BYTES = 64 * 1024
_ROW_BYTES = 200  # on the disk, for 16 axes in motion with noise: 185 measured; for 8 axes 110
_SPARE_BYTES = 16 * 1024 * 1024
_TOPICS: dict[type[Row], str] = {
    SetpointRow: "setpoint",
    ActualRow: "actual",
    TimecodeRow: "timecode",
    EventRow: "event",
}
_FAULTS = {
    errno.ENOSPC: ("the disk is full", "free some space, or record to another disk"),
    errno.EDQUOT: ("your share of the disk is used up", "free some space, or record to another disk"),
    errno.EFBIG: ("the disk allows no longer file", "record to another disk, or shorter takes"),
    errno.EROFS: ("the disk can only be read", "record to another folder"),
    errno.EACCES: ("this user may not write there", "record to another folder, or change its permissions"),
    errno.EPERM: ("this user may not write there", "record to another folder, or change its permissions"),
    errno.ENOENT: ("the folder is not there", "make it, or record to another folder"),
    errno.ENOTDIR: ("a part of the path is not a folder", "record to another folder"),
    errno.EEXIST: ("a take of that name is there already and is kept", "give this take another name"),
    errno.EIO: ("the disk reports a fault", "record to another disk, and do not trust this one"),
}
_encode = msgspec.json.Encoder().encode


def room_for(path: Path, rows_per_s: float, seconds: float) -> str | None:
    """Tell whether the disk of `path` has room for a take as long as that: None if so, or the trouble in words."""
    try:
        free = shutil.disk_usage(path.parent).free
    except OSError as fault:
        return str(_trouble(path, fault))
    needed = int(rows_per_s * seconds * _ROW_BYTES) + _SPARE_BYTES
    if free >= needed:
        return None
    return (
        f"{path.name}: the take needs about {needed / 1e6:.0f} MB and its disk has {free / 1e6:.0f} MB free; "
        f"free some space, or record to another disk"
    )


class Recorder:
    """One take file that is being written. Error: LinkError once, when the disk fails; after that rows are counted.

    `refused` counts the rows that came after the failure; `kept` those that are safely in the file.
    """

    def __init__(self, stream: BinaryIO, path: Path, heading: Heading) -> None:
        self._stream, self._path = stream, path
        self._writer = Writer(stream, chunk_size=_CHUNK_BYTES, compression=CompressionType.ZSTD, enable_data_crcs=True)
        self._channels: dict[type[Row], int] = {}
        self._first_ns: int | None = None
        self._kept_ns: int | None = None
        self._sure: tuple[int, int | None] = (0, None)  # the rows, and up to when, that the disk has been waited for
        self._since_ns = 0
        self._newest_ns = 0
        self._held = self._held_bytes = 0
        self._failed = False
        self.kept = self.refused = 0
        self._begin(heading)

    @classmethod
    @contextlib.contextmanager
    def open(cls, path: Path, heading: Heading) -> Iterator[Self]:
        """Begin the take file `path`, and finish it at the end. Error: LinkError where it cannot be begun or finished.

        A take that could not be finished is still readable up to its last half second.
        """
        try:
            stream = path.open("xb")
        except OSError as fault:
            raise _trouble(path, fault) from fault
        try:
            recorder = cls(stream, path, heading)
            try:
                yield recorder
            finally:
                recorder.finish()
        finally:
            # a failed write is tried again by closing; it was reported, and the file is closed in any case
            with contextlib.suppress(OSError):
                stream.close()

    def write(self, row: Row) -> None:
        """Add one row. Error: LinkError when the disk fails, in words that say what is kept; once."""
        if self._failed:
            self.refused += 1
            return
        stamp_ns, data = _stamp_ns(row), _encode(row)
        came_ns = _came_ns(row)
        if self._first_ns is None:
            self._first_ns, self._since_ns, self._newest_ns = stamp_ns, came_ns, stamp_ns
        # an event may be told ahead of its instant, by as much as a rig's buffer: neither is the half second put off by
        # it, nor is the take kept up to there
        self._since_ns = min(self._since_ns, came_ns)
        if not isinstance(row, EventRow):
            self._newest_ns = max(self._newest_ns, stamp_ns)
        self._held += 1
        self._held_bytes += len(data)
        with self._failing():
            self._writer.add_message(self._channels[type(row)], log_time=stamp_ns, publish_time=stamp_ns, data=data)
        if came_ns - self._since_ns >= _CHUNK_NS:
            self._since_ns = came_ns
            self.flush()
            self._wait()
        elif self._held_bytes >= _CHUNK_BYTES:
            self.flush()

    def flush(self) -> None:
        """Close the open chunk and hand it to the system. Error: LinkError like `write`."""
        if self._failed:
            return
        with self._failing():
            self._writer.flush()  # type: ignore[no-untyped-call]  # mcap has no types there
        self.kept += self._held
        self._kept_ns = self._newest_ns
        self._held = self._held_bytes = 0

    def _wait(self) -> None:
        """Wait until all that was flushed is on the disk. Error: LinkError like `write`."""
        with self._failing():
            try:
                os.fsync(self._stream.fileno())
            except OSError:
                # what the system had taken and the disk did not may be anywhere; a later look would not tell
                self.refused += self.kept - self._sure[0]
                self.kept, self._kept_ns = self._sure
                raise
        self._sure = self.kept, self._kept_ns

    def finish(self) -> None:
        """Write the end of the file and wait for the disk. Error: LinkError like `write`; quiet after a failure."""
        self.flush()
        if self._failed:
            return
        with self._failing():
            self._writer.finish()  # type: ignore[no-untyped-call]  # mcap has no types there
            self._stream.flush()
        self._wait()

    def _begin(self, heading: Heading) -> None:
        """Write what the take is of, at once, so that a broken file still says it."""
        text = _encode(heading)
        names = [row.__name__ for row in _TOPICS]
        _, schemas = msgspec.json.schema_components(_TOPICS, ref_template="#/$defs/{name}")
        with self._failing():
            self._writer.start(library="twintake")
            self._writer.add_metadata("take", {"heading": text.decode(), "crc32": f"{zlib.crc32(text):08x}"})
            for row, name in zip(_TOPICS, names, strict=True):
                schema = self._writer.register_schema(name, "jsonschema", msgspec.json.encode(schemas[name]))
                self._channels[row] = self._writer.register_channel(_TOPICS[row], "json", schema)
            self._stream.flush()
            os.fsync(self._stream.fileno())
            flush_folder(self._path.parent)

    @contextlib.contextmanager
    def _failing(self) -> Iterator[None]:
        """Turn the disk's failure into words, and write nothing more."""
        try:
            yield
        except OSError as fault:
            self._failed = True
            self.refused += self._held
            raise _trouble(self._path, fault, self._what_is_kept()) from fault

    def _what_is_kept(self) -> str:
        if self._first_ns is None or self._kept_ns is None:
            return "nothing of the take is kept"
        kept_s = (self._kept_ns - self._first_ns) // 100_000_000 / 10  # never up to more than is there
        return f"the take is kept up to {kept_s:.1f} s ({self.kept} rows)"


def _stamp_ns(row: Row) -> int:
    match row:
        case SetpointRow():
            return row.due_ns
        case TimecodeRow():
            return row.stamp_ns
        case _:
            return row.at_ns


def _came_ns(row: Row) -> int:
    """Return when the row came, by our own clock: where a rig says when it stood, that is the rig's word."""
    return row.heard_ns if isinstance(row, ActualRow) else _stamp_ns(row)


def _trouble(path: Path, fault: OSError, kept: str = "") -> LinkError:
    what, mend = _FAULTS.get(fault.errno or 0, (fault.strerror or "it cannot be written", "record to another folder"))
    return LinkError(f"{path.name}: {what}{f', and {kept}' if kept else ''}; {mend} ({path.parent})")
