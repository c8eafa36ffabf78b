"""Reads take files. It takes nothing for granted: a file that breaks off or is damaged is read up to there.

A take file is MCAP (see docs/take-file.md). Its records are walked here, one by one, with every size checked against
the file and a bound before anything is unpacked; what a record holds is left to the `mcap` package.
"""

import os
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from io import BytesIO
from pathlib import Path
from typing import BinaryIO

import msgspec
import numpy as np
import zstandard
from mcap.data_stream import ReadDataStream
from mcap.opcode import Opcode
from mcap.records import Channel, Chunk, DataEnd, McapRecord, Message
from mcap.stream_reader import breakup_chunk
from numpy.typing import NDArray

from sequencer.errors import TakeError
from sequencer.project.inside import opened
from sequencer.project.take_heading import heading_of, meant
from sequencer.takes.rows import ActualRow, EventRow, Heading, SetpointRow, TimecodeRow
from sequencer.takes.take import Happening, Take

MAGIC = b"\x89MCAP0\r\n"
_FRAME = 9  # bytes before a record's content: one for what it is, eight for how long
LONGEST_RECORD = 64 * 1024 * 1024
NO_TAKE = "not a take file (it does not begin as MCAP does); name a file from a takes folder"
_CUT_SHORT = "it breaks off before its end, so its last moments are missing"
_DECODERS: dict[str, msgspec.json.Decoder[SetpointRow | ActualRow | TimecodeRow | EventRow]] = {
    "setpoint": msgspec.json.Decoder(SetpointRow),
    "actual": msgspec.json.Decoder(ActualRow),
    "timecode": msgspec.json.Decoder(TimecodeRow),
    "event": msgspec.json.Decoder(EventRow),
}


class _Damage(Exception):
    """The file cannot be followed further; the message says why."""


@dataclass(slots=True)
class _Rows:
    """The rows of one channel read so far, as arrays: stamps (R,) and numbers (R, W), a part for each chunk."""

    width: int
    stamps: list[NDArray[np.int64]] = field(default_factory=list)
    numbers: list[NDArray[np.float64]] = field(default_factory=list)

    def add(self, rows: list[tuple[int, tuple[float | None, ...]]]) -> None:
        """Add rows of a chunk. Error: ValueError, OverflowError for rows that do not fit."""
        if any(len(numbers) != self.width for _, numbers in rows):
            raise ValueError("a row has more or fewer values than the take has axes")
        self.stamps.append(np.array([stamp for stamp, _ in rows], dtype=np.int64))
        # numpy reads None as NaN here: the rig did not name the axis
        self.numbers.append(np.array([numbers for _, numbers in rows], dtype=np.float64))

    def sorted(self) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
        """Return all rows in order of their stamps."""
        stamps = np.concatenate([np.empty(0, dtype=np.int64), *self.stamps])
        numbers = np.concatenate([np.empty((0, self.width)), *self.numbers])
        order = np.argsort(stamps, kind="stable")
        return stamps[order], numbers[order]


@dataclass(slots=True)
class _Gathered:
    """What the chunks read so far held."""

    heading: Heading
    topics: dict[int, str] = field(default_factory=dict)
    rows: dict[str, _Rows] = field(default_factory=dict)
    happenings: list[Happening] = field(default_factory=list)
    phases: dict[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        axes = len(self.heading.axes)
        self.rows = {"setpoint": _Rows(2 + axes), "actual": _Rows(axes), "timecode": _Rows(1)}

    def add(self, records: list[McapRecord]) -> None:
        """Sort the rows of one chunk; channels that are not a take's are somebody else's business.

        Error: msgspec.MsgspecError, ValueError, OverflowError for rows that no take has.
        """
        found: dict[str, list[tuple[int, tuple[float | None, ...]]]] = {topic: [] for topic in self.rows}
        for record in records:
            if isinstance(record, Channel):
                self.topics[record.id] = record.topic if record.message_encoding == "json" else ""
            elif isinstance(record, Message) and (topic := self.topics.get(record.channel_id, "")) in _DECODERS:
                match _DECODERS[topic].decode(record.data):
                    case SetpointRow() as row:
                        phase = self.phases.setdefault(row.phase, len(self.phases))
                        found[topic].append((row.due_ns, (row.timeline_s, phase, *row.position)))
                    case ActualRow() as row:
                        found[topic].append((row.at_ns, row.position))
                    case TimecodeRow() as row:
                        found[topic].append((row.stamp_ns, (row.position_s,)))
                    case EventRow() as row:
                        self.happenings.append(Happening(row.at_ns, row.code, row.text))
        for topic, rows in found.items():
            if rows:
                self.rows[topic].add(rows)


def read(path: Path) -> Take:
    """Read a take file, as far as it can be read.

    A file that breaks off or is damaged gives the take up to the last whole chunk, with `complete` False and `fault`
    saying so. Error: TakeError for a file that is no take, is of a newer version, or holds what a take cannot.
    """
    try:
        with opened(path, None) as stream:
            return read_stream(stream, os.fstat(stream.fileno()).st_size)[1]
    except OSError as fault:
        raise TakeError(f"{path.name}: cannot be read: {fault.strerror}; check the name and the folder") from fault
    except TakeError as fault:
        raise TakeError(f"{path.name}: {fault}") from fault


def read_heading(stream: BinaryIO, size: int) -> Heading | None:
    """Return what the take is of, from an open file behind its first bytes; None where no row is preceded by it.

    Error: TakeError for a heading that no take has.
    """
    try:
        for kind, content in _records(stream, size):
            if kind == Opcode.METADATA and (heading := heading_of(content)):
                return heading
            if kind in (Opcode.CHUNK, Opcode.MESSAGE):
                return None
    except _Damage:
        pass  # whoever reads the whole file finds the words
    return None


def read_stream(stream: BinaryIO, size: int) -> tuple[Heading, Take]:
    """Read an open take file from its beginning, as far as it can be read. Error: TakeError."""
    if stream.read(len(MAGIC)) != MAGIC:
        raise TakeError(NO_TAKE)
    gathered: _Gathered | None = None
    fault = ""
    try:
        for kind, content in _records(stream, size):
            if kind == Opcode.METADATA and gathered is None:
                heading = heading_of(content)
                gathered = _Gathered(heading) if heading else None
            elif kind in (Opcode.CHUNK, Opcode.MESSAGE):
                if gathered is None or kind == Opcode.MESSAGE:
                    raise TakeError("an MCAP file, but not laid out as a take; name a file from a takes folder")
                gathered.add(_unpack(content))
    except _Damage as damage:
        fault = str(damage)
    except (msgspec.MsgspecError, ValueError, OverflowError, RecursionError) as wrong:
        raise TakeError(f"a row is not as a take has it: {wrong}; use the file as it was recorded") from wrong
    if gathered is None:
        why = f" ({fault})" if fault else ""
        raise TakeError(f"it says nowhere what take it is of, so it cannot be used{why}; look for a copy of the file")
    return gathered.heading, _take(gathered, fault)


def _records(stream: BinaryIO, size: int) -> Iterator[tuple[int, bytes]]:
    """Yield each record before the end of the rows. Error: _Damage where the file cannot be followed so far."""
    crc = zlib.crc32(MAGIC)
    left = size - len(MAGIC)
    while True:
        frame = stream.read(_FRAME)
        length = int.from_bytes(frame[1:], "little")
        left -= _FRAME + length
        if len(frame) < _FRAME or left < 0:
            raise _Damage(_CUT_SHORT)
        if not frame[0]:
            # no record begins so (MCAP's specification reserves it); a power cut may leave zeros before a later chunk
            raise _Damage("a part of it never came to the disk; what comes before that is used")
        if length > LONGEST_RECORD:
            raise _Damage(f"it holds a record of {length} bytes, which no take has; what comes before it is used")
        content = stream.read(length)
        if frame[0] == Opcode.DATA_END:
            if len(content) != 4 or DataEnd.read(_stream(content)).data_section_crc not in (0, crc):
                raise _Damage(
                    "its checksum does not fit: something in it was changed; rows may be missing, so take care what "
                    "it is used for"
                )
            return
        crc = zlib.crc32(content, zlib.crc32(frame, crc))
        yield frame[0], content


def _stream(content: bytes) -> ReadDataStream:
    return ReadDataStream(BytesIO(content))


def _unpack(content: bytes) -> list[McapRecord]:
    """Return the records in a chunk. Error: _Damage where it does not unpack to what its checksum says."""
    try:
        chunk = Chunk.read(_stream(content))
        size = chunk.uncompressed_size
        if chunk.compression == "zstd":
            # the packed data claims a size of its own, which unpacking would trust; -1 where it claims none
            size = max(size, zstandard.frame_content_size(chunk.data))
        if size <= LONGEST_RECORD and chunk.compression in ("", "zstd"):
            return list(breakup_chunk(chunk, validate_crc=True))
    except Exception as fault:  # damaged bytes can make the unpacking raise nearly anything; all of it means damage
        raise _Damage("a part of it is damaged; what comes before that is used") from fault
    raise _Damage(f"it holds a chunk of {size} bytes, packed as no take is; what comes before it is used")


def _take(gathered: _Gathered, fault: str) -> Take:
    heading, told = gathered.heading, meant(gathered.heading)
    phases = tuple(gathered.phases)
    due_ns, setpoints = gathered.rows["setpoint"].sorted()
    actual_ns, actual = gathered.rows["actual"].sorted()
    sighted_ns, sighted = gathered.rows["timecode"].sorted()
    return Take(
        name=heading.name,
        project=heading.project,
        cue=heading.cue,
        run=heading.run,
        cue_s=heading.cue_s,
        timebase=told.timebase,
        axes=heading.axes,
        kinds=heading.kinds,
        units=heading.units,
        camera=told.camera,
        started=heading.started,
        due_ns=due_ns,
        timeline_s=setpoints[:, 0],
        asked=setpoints[:, 2:],
        actual_ns=actual_ns,
        actual=actual,
        sighted_ns=sighted_ns,
        sighted_s=sighted[:, 0],
        happenings=tuple(sorted(gathered.happenings, key=lambda one: one.at_ns)),
        complete=not fault,
        fault=fault,
        speed=told.speed,
        phases=tuple(phases[number] for number in setpoints[:, 1].astype(np.int64).tolist()),
        by_hand=heading.by_hand,
        rig=told.rig,
        shot_as=told.shot_as,
        markers=heading.markers,
        document=heading.document,
        made=heading.made,
        remarks=told.remarks,
    )
