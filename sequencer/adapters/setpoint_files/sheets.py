"""What a file of setpoints looks like inside: a table in text, or MCAP. Both are written by the thread of `part`."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import BinaryIO, Protocol
from zlib import crc32

import msgspec

from sequencer.rig.axis import Rig
from sequencer.takes.rows import EventRow, Heading
from sequencer.timebase.timecode import Timebase
from sequencer.wire import csv_rows

_CHUNK_BYTES = 64 * 1024


@dataclass(frozen=True, slots=True)
class SetpointLine:
    """One setpoint set, as it was sent. Shape: `position`, `velocity` A."""

    due_ns: int
    timeline_s: float
    position: tuple[float, ...]
    velocity: tuple[float, ...]


Line = SetpointLine | EventRow


class Sheet(Protocol):
    """A file's inside, while it is written. Error: OSError from any method."""

    def write(self, line: Line) -> None:
        """Add one line; it may stay in memory until `flush`."""
        ...

    def flush(self) -> None:
        """Hand all lines so far to the system, none of them in part."""
        ...

    def finish(self) -> None:
        """Write the end, behind the last line."""
        ...


Begin = Callable[[BinaryIO], Sheet]


def _label(timeline_s: float, timebase: Timebase) -> str:
    return "" if math.isnan(timeline_s) else str(timebase.label_at(timeline_s))


class CsvSheet:
    """A table in text, with units in its heading line."""

    def __init__(self, stream: BinaryIO, rig: Rig, timebase: Timebase) -> None:
        self._stream, self._timebase, self._axes = stream, timebase, len(rig.axes)
        drop = ", drop-frame" if timebase.counting.drop else ""
        first = csv_rows.heading(rig.names, [axis.unit for axis in rig.axes], f"{timebase.rate} fps{drop}")
        self._held = [first]
        self.flush()

    def write(self, line: Line) -> None:
        if isinstance(line, EventRow):
            self._held.append(csv_rows.event(line.at_ns, self._axes, line.text))
            return
        label = _label(line.timeline_s, self._timebase)
        self._held.append(csv_rows.row(line.due_ns, label, line.timeline_s, line.position, line.velocity))

    def flush(self) -> None:
        held, self._held = "".join(self._held).encode(), []
        self._stream.write(held)
        self._stream.flush()

    def finish(self) -> None:
        self.flush()


class McapSheet:
    """MCAP laid out as a take file, so that whatever reads takes reads it; see docs/take-file.md.

    Setpoints are on channel `setpoint`; those that no clock places on the timeline are on channel `unclocked`. They are
    of no cue and no pass, whose fields are empty, and the cue's start and end are both 0.
    """

    def __init__(self, stream: BinaryIO, rig: Rig, timebase: Timebase, name: str) -> None:
        from mcap.writer import CompressionType, Writer

        self._timebase = timebase
        self._writer = Writer(stream, chunk_size=_CHUNK_BYTES, compression=CompressionType.ZSTD, enable_data_crcs=True)
        self._writer.start(library="twintake")
        text = msgspec.json.encode(_heading(rig, timebase, name))
        self._writer.add_metadata("take", {"heading": text.decode(), "crc32": f"{crc32(text):08x}"})
        self._channels = {
            topic: self._writer.register_channel(
                topic, "json", self._writer.register_schema(row.__name__, "jsonschema", _schema(row))
            )
            for topic, row in (("setpoint", SentRow), ("unclocked", UnclockedRow), ("event", EventRow))
        }
        self.flush()

    def write(self, line: Line) -> None:
        if isinstance(line, EventRow):
            self._add("event", line.at_ns, line)
        elif label := _label(line.timeline_s, self._timebase):
            row = SentRow(line.due_ns, line.timeline_s, "sent", line.position, line.velocity, label)
            self._add("setpoint", line.due_ns, row)
        else:
            self._add("unclocked", line.due_ns, UnclockedRow(line.due_ns, line.position, line.velocity))

    def _add(self, topic: str, at_ns: int, row: object) -> None:
        data = msgspec.json.encode(row)
        self._writer.add_message(self._channels[topic], log_time=at_ns, publish_time=at_ns, data=data)

    def flush(self) -> None:
        self._writer.flush()  # type: ignore[no-untyped-call]  # mcap has no types there

    def finish(self) -> None:
        self._writer.finish()  # type: ignore[no-untyped-call]  # mcap has no types there


@dataclass(frozen=True, slots=True)
class SentRow:
    """Channel `setpoint`: a take file's, with the timecode beside it."""

    due_ns: int
    timeline_s: float
    phase: str
    position: tuple[float, ...]
    velocity: tuple[float, ...]
    timecode: str


@dataclass(frozen=True, slots=True)
class UnclockedRow:
    """Channel `unclocked`: a setpoint set while no clock said where the timeline is."""

    due_ns: int
    position: tuple[float, ...]
    velocity: tuple[float, ...]


def _schema(row: type) -> bytes:
    _, schemas = msgspec.json.schema_components([row], ref_template="#/$defs/{name}")
    return msgspec.json.encode(schemas[row.__name__])


def _heading(rig: Rig, timebase: Timebase, name: str) -> Heading:
    camera = rig.camera
    return Heading(
        name=name,
        project="",
        cue="",
        run="",
        cue_s=(0.0, 0.0),
        rate=str(timebase.rate),
        drop=timebase.counting.drop,
        start=str(timebase.start),
        axes=rig.names,
        kinds=tuple(axis.kind for axis in rig.axes),
        units=tuple(axis.unit for axis in rig.axes),
        sensor_mm=camera.sensor_mm if camera else None,
        pixels=camera.pixels if camera else None,
        focal_mm=camera.focal_mm if camera else None,
        subject_m=camera.subject_m if camera else None,
        started=datetime.now().astimezone().isoformat(timespec="seconds"),
    )
