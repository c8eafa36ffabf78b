"""The broadcast extension of a WAV file: where in the day its first sample belongs, and who recorded it.

It reads no samples and opens no file: whoever has the bytes hands them over. UMID, loudness and coding history are left
alone.

Source: EBU Tech 3285 version 2, the `bext` chunk; EBU Tech 3306 and ITU-R BS.2088 for RF64 and BW64 (`ds64`); the RIFF
chunk layout of the Multimedia Programming Interface and Data Specifications 1.0.
"""

import struct
from collections.abc import Callable, Iterator
from typing import NamedTuple

_RIFF = (b"RIFF", b"RF64", b"BW64")
_HEAD = struct.Struct("<4sI")
_DS64 = struct.Struct("<QQQI")  # sizes of the file, of `data`, of its samples; length of the table behind
_TABLE = struct.Struct("<4sQ")
_IN_DS64 = 0xFFFF_FFFF  # a size that stands in the ds64 chunk
_BEXT = struct.Struct("<256s32s32s10s8sQH64s190s")
_MOST_CHUNKS = 4096
_LONGEST_TABLE = 256
_LARGEST_KEPT = 2**20

Bytes = Callable[[int, int], bytes]


class Bext(NamedTuple):
    """What a broadcast extension says. Unit: `reference` samples from midnight to the file's first sample."""

    description: str
    originator: str
    originator_reference: str
    date: str
    time: str
    reference: int
    version: int


class Chunk(NamedTuple):
    """A chunk of a RIFF file: its name, where its content begins, and how many bytes it says that it has."""

    name: bytes
    at: int
    size: int


def bext(whole: int, read: Bytes) -> Bext | None:
    """Return the broadcast extension of a WAV of `whole` bytes, or None where it has none.

    `read(at, size)` gives the bytes from `at` on, fewer at the end. Error: ValueError for a file that is no WAV, or
    whose chunks cannot be: where, what it says and what is there.
    """
    for chunk in chunks(whole, read):
        if chunk.name != b"bext":
            continue
        if chunk.size < _BEXT.size:
            raise ValueError(f"the broadcast extension has {chunk.size} bytes; {_BEXT.size} are its least")
        content = read(chunk.at, _BEXT.size)
        if len(content) < _BEXT.size:
            raise ValueError(f"the broadcast extension ends after {len(content)} of {_BEXT.size} bytes")
        description, originator, its_reference, date, time, reference, version, _, _ = _BEXT.unpack(content)
        return Bext(
            _text(description),
            _text(originator),
            _text(its_reference),
            _text(date),
            _text(time),
            reference,
            version,
        )
    return None


def without_sound(whole: int, read: Bytes) -> bytes:
    """Return a WAV's bytes but for its samples: every other chunk that is not too large, then the head of `data`.

    What is returned is again a WAV, as of a recorder that lost power, and `chunks` walks it. Error: as of `bext`.
    """
    kept, sound = [read(0, 12)], b""
    for chunk in chunks(whole, read):
        if chunk.name == b"data":
            sound = read(chunk.at - _HEAD.size, _HEAD.size)
        elif chunk.size <= _LARGEST_KEPT:
            kept.append(read(chunk.at - _HEAD.size, _HEAD.size + chunk.size + chunk.size % 2))
    return b"".join(kept) + sound


def chunks(whole: int, read: Bytes) -> Iterator[Chunk]:
    """Yield the chunks of a RIFF, RF64 or BW64 file of `whole` bytes, in order, as `bext` does.

    A last chunk of sound that is longer than the file, or says that it is empty (its recorder lost power), is yielded
    and ends the walk. Error: ValueError.
    """
    outer = read(0, 12)
    if len(outer) < 12 or outer[:4] not in _RIFF or outer[8:] != b"WAVE":
        raise ValueError("it is no WAV file: it does not begin with RIFF or RF64, and WAVE")
    large: dict[bytes, int] = {}
    at = 12
    for _ in range(_MOST_CHUNKS):
        head = read(at, _HEAD.size)
        if len(head) < _HEAD.size:
            return  # the end; one odd byte of padding may be left
        name, size = _HEAD.unpack(head)
        at += _HEAD.size
        if size == _IN_DS64:
            size = large.get(name, size)
        if name == b"ds64":
            large = _large(read(at, min(size, _DS64.size + _TABLE.size * _LONGEST_TABLE)))
        past = at + size - whole
        if past > 0 and name != b"data":
            raise ValueError(
                f"the chunk {name!r} at byte {at - _HEAD.size} says that it has {size} bytes, {past} more than the "
                f"file; the file was cut short or is damaged"
            )
        yield Chunk(name, at, size)
        if name == b"data" and not size:
            return  # what follows are samples, not chunks
        at += size + size % 2
    raise ValueError(f"it has more than {_MOST_CHUNKS} chunks; it is damaged")


def _large(content: bytes) -> dict[bytes, int]:
    """Return the 64-bit sizes that a ds64 chunk gives for others. Error: ValueError where it is cut short."""
    if len(content) < _DS64.size:
        raise ValueError(f"the chunk ds64 of a large file has {len(content)} bytes; {_DS64.size} are its least")
    _, data, _, entries = _DS64.unpack_from(content)
    whole_entries = min(entries, (len(content) - _DS64.size) // _TABLE.size)
    table = content[_DS64.size : _DS64.size + whole_entries * _TABLE.size]
    return dict(_TABLE.iter_unpack(table)) | {b"data": data}


def _text(field: bytes) -> str:
    """Return a field's text up to its first zero byte; what is no ASCII is shown as escapes."""
    return field.partition(b"\0")[0].decode("ascii", "backslashreplace").strip()
