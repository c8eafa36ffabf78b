"""Memory that processes share: a page of status with heartbeats and a stop word, and a one-way ring of records.

Both are plain files mapped into memory in the run's own folder (on a memory file system where there is one), so that
they outlive any process that dies and vanish with the folder. Neither side ever waits for the other.
"""

import mmap
import struct
from collections.abc import Iterator
from pathlib import Path
from zlib import crc32

_SLOT = struct.Struct("<qII")
_SLOTS = 8
_SLOT_BYTES = 4096
_HEAD = 64


def _map(path: Path, size: int | None) -> mmap.mmap:
    """Map `path`, made new with `size` bytes where that is given."""
    if size is not None:
        path.write_bytes(bytes(size))
    with path.open("r+b") as file:
        return mmap.mmap(file.fileno(), 0)


def _words(mapped: mmap.mmap) -> memoryview:
    """Return the words at the head of a map. Each is written in one piece; struct would write zeros there first."""
    return memoryview(mapped)[:_HEAD].cast("q")


class Page:
    """What engine, operator and watchdog can see of each other at any time.

    Words are 8 bytes, aligned, written whole. Status has eight slots with a number and a checksum each, so that a
    reader never takes a row that is half written.
    """

    ENGINE_BEAT, OPERATOR_BEAT, STOP, ENGINE_PID, WATCHDOG_BEAT = range(5)
    _NEWEST = 7

    def __init__(self, path: Path, *, new: bool = False) -> None:
        self._map = _map(path, _HEAD + _SLOTS * _SLOT_BYTES if new else None)
        self._words = _words(self._map)

    def word(self, which: int) -> int:
        """Return one of the words: a beat is a monotonic instant in ns; STOP counts the stops that were asked for."""
        return int(self._words[which])

    def set_word(self, which: int, value: int) -> None:
        self._words[which] = value

    def ask_stop(self) -> None:
        """Have the next tick stop the rig, whatever else goes on."""
        self.set_word(self.STOP, self.word(self.STOP) + 1)

    def publish(self, status: bytes) -> None:
        """Write one status row. Error: ValueError where it is longer than a slot."""
        if len(status) > _SLOT_BYTES - _SLOT.size:
            raise ValueError(f"a status of {len(status)} bytes does not fit a slot")
        number = self.word(self._NEWEST) + 1
        at = _HEAD + number % _SLOTS * _SLOT_BYTES
        _SLOT.pack_into(self._map, at, number, len(status), crc32(status))
        self._map[at + _SLOT.size : at + _SLOT.size + len(status)] = status
        self.set_word(self._NEWEST, number)

    def newest(self) -> bytes | None:
        """Return the newest whole status row, or None before the first."""
        for _ in range(_SLOTS):
            number = self.word(self._NEWEST)
            if number == 0:
                return None
            at = _HEAD + number % _SLOTS * _SLOT_BYTES
            stored, length, check = _SLOT.unpack_from(self._map, at)
            status = self._map[at + _SLOT.size : at + _SLOT.size + min(length, _SLOT_BYTES)]
            if stored == number and crc32(status) == check:
                return bytes(status)
        return None

    def close(self) -> None:
        self._words.release()
        self._map.close()


class Ring:
    """Records from one process to one other, in order. A record that finds no room is refused, never waited for."""

    _WRITTEN, _READ = 0, 1
    _RECORD = struct.Struct("<II")

    def __init__(self, path: Path, *, size: int | None = None) -> None:
        self._map = _map(path, None if size is None else size + _HEAD)
        self._words = _words(self._map)
        self._size = len(self._map) - _HEAD

    def put(self, record: bytes, leaving: float = 0.0) -> bool:
        """Append one record, and leave such a part of the ring free; False where the reader is too far behind."""
        written = self._words[self._WRITTEN]
        read = self._words[self._READ]
        whole = self._RECORD.pack(len(record), crc32(record)) + record
        if written - read + len(whole) > self._size * (1 - leaving):
            return False
        self._copy_in(written, whole)
        self._words[self._WRITTEN] = written + len(whole)
        return True

    def take(self) -> Iterator[bytes]:
        """Yield the records that have arrived. Error: ValueError where the memory was damaged; the rest is dropped."""
        read = self._words[self._READ]
        written = self._words[self._WRITTEN]
        while read < written:
            length, check = self._RECORD.unpack(self._copy_out(read, self._RECORD.size))
            record = self._copy_out(read + self._RECORD.size, min(length, self._size))
            if crc32(record) != check:
                self._words[self._READ] = written
                raise ValueError("a record between two processes is damaged")
            read += self._RECORD.size + length
            self._words[self._READ] = read
            yield record

    def _copy_in(self, at: int, data: bytes) -> None:
        start = at % self._size
        first = min(len(data), self._size - start)
        self._map[_HEAD + start : _HEAD + start + first] = data[:first]
        self._map[_HEAD : _HEAD + len(data) - first] = data[first:]

    def _copy_out(self, at: int, length: int) -> bytes:
        start = at % self._size
        first = min(length, self._size - start)
        return self._map[_HEAD + start : _HEAD + start + first] + self._map[_HEAD : _HEAD + length - first]

    def close(self) -> None:
        self._words.release()
        self._map.close()
