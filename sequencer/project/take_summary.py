"""What a take file says without its rows: its heading, how long it is, and what happened. Quick, for long lists.

A finished file has an index at its end; of a file without one, or whose index does not fit, all is read. The file is
not looked through for damage in the middle: that is found when the take is read.
"""

import os
import struct
import zlib
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import BinaryIO

import msgspec
import zstandard
from mcap.data_stream import ReadDataStream
from mcap.opcode import Opcode
from mcap.records import Channel

from sequencer.errors import TakeError
from sequencer.project.inside import opened
from sequencer.project.take_heading import Meant, meant
from sequencer.project.takefile import LONGEST_RECORD, MAGIC, NO_TAKE, read_heading, read_stream
from sequencer.takes.rows import EventRow, Heading
from sequencer.takes.take import Happening

_FRAME = struct.Struct("<BQ")
_FOOTER = struct.Struct("<BQQQI")
_STATISTICS = struct.Struct("<QHIIIIQQI")
_INDEX = struct.Struct("<QQQQI")
_ENTRY = struct.Struct("<HQ")
_AT = struct.Struct("<QQ")
_CHUNK = struct.Struct("<QQQI")
_MESSAGE = struct.Struct("<HIQQ")
_LEAST = len(MAGIC) + _FOOTER.size
_event = msgspec.json.Decoder(EventRow).decode


class _Unsure(Exception):
    """The index does not fit the file, or there is none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """A take file without its rows. `complete` is False where it breaks off or is damaged; `fault` then says so.

    Unit: `lasts_s` from its first row to its last.
    """

    heading: Heading
    told: Meant
    lasts_s: float
    happenings: tuple[Happening, ...]
    complete: bool
    fault: str = ""


def summary(path: Path) -> Summary:
    """Return what a take file says without its rows. Error: TakeError as from reading it."""
    try:
        with opened(path, None) as stream:
            size = os.fstat(stream.fileno()).st_size
            try:
                return _quick(stream, size)
            except _Unsure:
                stream.seek(0)
                return _thorough(stream, size)
    except OSError as fault:
        raise TakeError(f"{path.name}: cannot be read: {fault.strerror}; check the name and the folder") from fault
    except TakeError as fault:
        raise TakeError(f"{path.name}: {fault}") from fault


def _thorough(stream: BinaryIO, size: int) -> Summary:
    """Read all of the file, as far as it can be read. Error: TakeError."""
    heading, take = read_stream(stream, size)
    stamps = [each for each in (take.due_ns, take.actual_ns, take.sighted_ns) if len(each)]
    first = min([int(each[0]) for each in stamps] + [one.at_ns for one in take.happenings], default=0)
    last = max([int(each[-1]) for each in stamps] + [one.at_ns for one in take.happenings], default=0)
    return Summary(
        heading=heading,
        told=meant(heading),
        lasts_s=(last - first) / 1e9,
        happenings=take.happenings,
        complete=take.complete,
        fault=take.fault,
    )


def _quick(stream: BinaryIO, size: int) -> Summary:
    """Read the heading and the index. Error: _Unsure where there is none that fits; TakeError for no take."""
    if stream.read(len(MAGIC)) != MAGIC:
        raise TakeError(NO_TAKE)
    heading = read_heading(stream, size)
    if heading is None:
        raise _Unsure
    told = meant(heading)
    index = _tail(stream, size)
    topics: dict[int, str] = {}
    chunks: list[tuple[int, int, dict[int, int]]] = []
    counts: dict[int, int] = {}
    span_ns: tuple[int, int] | None = None
    try:
        for kind, content in _split(index):
            if kind == Opcode.CHANNEL:
                channel = Channel.read(ReadDataStream(BytesIO(content)))
                topics[channel.id] = channel.topic if channel.message_encoding == "json" else ""
            elif kind == Opcode.STATISTICS:
                *_, first, last, entries = _STATISTICS.unpack_from(content)
                span_ns = (first, last)
                counts = dict(_ENTRY.iter_unpack(content[_STATISTICS.size : _STATISTICS.size + entries]))
            elif kind == Opcode.CHUNK_INDEX:
                _, _, at, length, entries = _INDEX.unpack_from(content)
                pairs = content[_INDEX.size : _INDEX.size + entries]
                chunks.append((at, length, dict(_ENTRY.iter_unpack(pairs))))
    except Exception as fault:  # damaged bytes can make the unpacking raise nearly anything
        raise _Unsure from fault
    # other programs may write less of an index, and rows outside of chunks, which no take has
    if span_ns is None or not counts.keys() <= topics.keys() or (counts and not chunks):
        raise _Unsure
    events = [number for number, topic in topics.items() if topic == "event"]
    happenings = _happenings(stream, chunks, events)
    if len(happenings) != sum(counts.get(number, 0) for number in events):
        raise _Unsure
    return Summary(
        heading=heading,
        told=told,
        lasts_s=max(0, span_ns[1] - span_ns[0]) / 1e9,
        happenings=happenings,
        complete=True,
    )


def _tail(stream: BinaryIO, size: int) -> bytes:
    """Return the records between the end of the rows and the footer, checked. Error: _Unsure."""
    if size < 2 * _LEAST:
        raise _Unsure
    stream.seek(size - _LEAST)
    end = stream.read(_LEAST)
    kind, length, start, offsets, crc = _FOOTER.unpack_from(end)
    if kind != Opcode.FOOTER or length != _FOOTER.size - _FRAME.size or not end.endswith(MAGIC):
        raise _Unsure
    if not len(MAGIC) < start <= size - _LEAST or size - _LEAST - start > LONGEST_RECORD:
        raise _Unsure
    stream.seek(start)
    found = stream.read(size - _LEAST - start)
    if crc not in (0, zlib.crc32(end[: _FOOTER.size - 4], zlib.crc32(found))):
        raise _Unsure
    # the offsets of groups stand last, and nobody needs them here
    return found[: offsets - start] if start <= offsets <= size else found


def _split(records: bytes) -> list[tuple[int, bytes]]:
    """Return each record of the index. Error: struct.error, _Unsure."""
    found, at = [], 0
    while at < len(records):
        kind, length = _FRAME.unpack_from(records, at)
        at += _FRAME.size
        if length > len(records) - at:
            raise _Unsure
        found.append((kind, records[at : at + length]))
        at += length
    return found


def _happenings(
    stream: BinaryIO, chunks: list[tuple[int, int, dict[int, int]]], events: list[int]
) -> tuple[Happening, ...]:
    """Return the lines of the take's log, out of the chunks that have some. Error: _Unsure."""
    found: list[Happening] = []
    unpacked = 0
    try:
        for at, length, places in chunks:
            wanted = [places[number] for number in events if number in places]
            if not wanted:
                continue
            rows = _chunk(_record(stream, at, Opcode.CHUNK, length))
            unpacked += len(rows)
            if unpacked > LONGEST_RECORD:
                raise _Unsure
            for place in wanted:
                found += _rows(_record(stream, place, Opcode.MESSAGE_INDEX), rows)
    except _Unsure:
        raise
    except Exception as fault:  # as above
        raise _Unsure from fault
    return tuple(sorted(found, key=lambda one: one.at_ns))


def _record(stream: BinaryIO, at: int, kind: int, whole: int = LONGEST_RECORD) -> bytes:
    stream.seek(at)
    found, length = _FRAME.unpack(stream.read(_FRAME.size))
    if found != kind or length > whole or length > LONGEST_RECORD:
        raise _Unsure
    content = stream.read(length)
    if len(content) != length:
        raise _Unsure
    return content


def _chunk(content: bytes) -> bytes:
    """Return what a chunk holds, unpacked and checked. Error: _Unsure, struct.error."""
    _, _, size, crc = _CHUNK.unpack_from(content)
    at = _CHUNK.size
    (named,) = struct.unpack_from("<I", content, at)
    compression = content[at + 4 : at + 4 + named]
    data = content[at + 4 + named + 8 :]
    if compression == b"zstd":
        # what the packed data claims of itself is what unpacking makes room for
        if size > LONGEST_RECORD or zstandard.frame_content_size(data) > LONGEST_RECORD:
            raise _Unsure
        data = zstandard.decompress(data, max_output_size=size)
    elif compression:
        raise _Unsure
    if len(data) != size or crc not in (0, zlib.crc32(data)):
        raise _Unsure
    return data


def _rows(index: bytes, rows: bytes) -> list[Happening]:
    """Return the lines to which an index of messages leads."""
    found = []
    for _, at in _AT.iter_unpack(index[6 : 6 + struct.unpack_from("<I", index, 2)[0]]):
        kind, length = _FRAME.unpack_from(rows, at)
        begin = at + _FRAME.size + _MESSAGE.size
        if kind != Opcode.MESSAGE:
            raise _Unsure
        row = _event(rows[begin : at + _FRAME.size + length])
        found.append(Happening(row.at_ns, row.code, row.text))
    return found
