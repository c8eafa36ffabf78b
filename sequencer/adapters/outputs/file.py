"""A file of all setpoints, for checking a move without a rig, or beside one. It moves nothing.

Address: `csv:/path/file.csv` for a table in text, `mcap:/path/file.mcap` for MCAP laid out as a take file. There are
no options. In rig.json the path is one within the project's folder, which may be a stranger's. The file that is named
must not be there yet; it has `.part` behind its name until it is whole.

What goes in: each setpoint set with its due time (nanoseconds of this machine's monotonic clock), the timecode and the
timeline's seconds where a clock says, position and speed of every axis; and, between them, stops and triggers, with
what the camera would have been told. Nothing comes out. The tick never waits for the disk: a thread writes, and what
waits for it is bounded; sets that found no room are left out, and a line in their place says how many.
Source: RFC 4180 for CSV; the MCAP format specification, version 0 (from memory).
"""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from sequencer.adapters.asked import Asked
from sequencer.adapters.contract import Carries, LinkState, Output, OutputKind
from sequencer.adapters.setpoint_files.part import PartFile
from sequencer.adapters.setpoint_files.sheets import CsvSheet, McapSheet, SetpointLine, Sheet
from sequencer.rig.axis import Rig
from sequencer.rig.signals import TRIGGER_NAMES, Feedback, Setpoint, Trigger
from sequencer.takes.rows import EventRow
from sequencer.timebase.timecode import Timebase

_EXAMPLE = "csv:/path/file.csv or mcap:/path/file.mcap"
# two seconds of 250 Hz
_MANY = 500


def parse_address(address: str) -> tuple[str, Path]:
    """Return the scheme and the file. Error: LinkError that says which part is wrong."""
    asked = Asked(address, _EXAMPLE)
    asked.done()
    if not asked.place or (asked.network and not asked.place.startswith("/")):
        raise asked.fault("names no file")
    return asked.scheme, Path(asked.place)


class FileOutput:
    """The file that is written."""

    def __init__(self, file: PartFile, name: str) -> None:
        self._file, self._name = file, name

    def fileno(self) -> None:
        return None

    def send(self, setpoint: Setpoint) -> None:
        position, velocity = tuple(setpoint.position.tolist()), tuple(setpoint.velocity.tolist())
        self._file.put(SetpointLine(setpoint.due_ns, setpoint.timeline_s, position, velocity), setpoint.due_ns)

    def replace(self, from_ns: int) -> None:
        raise AssertionError("it schedules nothing, so there is nothing to replace")

    def fire(self, trigger: Trigger) -> bool:
        self._file.put(EventRow(trigger.due_ns, "trigger", trigger.name), trigger.due_ns)
        return True

    def read(self, heard_ns: int) -> tuple[Feedback, ...]:
        return ()

    def ask(self) -> None:
        """Do nothing: a file has no place of its own."""

    def look(self, now_ns: int) -> None:
        self._file.look()

    def link(self, now_ns: int) -> LinkState:
        return LinkState()

    def stop(self) -> None:
        now_ns = time.monotonic_ns()
        self._file.put(EventRow(now_ns, "stop", "stop"), now_ns)

    def here(self, axis: str, value: float) -> None:
        now_ns = time.monotonic_ns()
        self._file.put(EventRow(now_ns, "here", f"the axis {axis} stands at {value!r}"), now_ns)

    def trouble(self) -> str:
        if self._file.left_out:
            return (
                f"the disk is too slow for {self._name}: {self._file.left_out} lines were left out; name another disk"
            )
        if self._file.waiting() > _MANY:
            return f"the disk is slow: {self._file.waiting()} lines wait for {self._name}; name another disk"
        return ""


@contextmanager
def open_file(address: str, rig: Rig, timebase: Timebase) -> Iterator[Output]:
    """Begin the file, and give it its name at the end. Error: LinkError where either fails, with what is kept."""
    scheme, path = parse_address(address)

    def begin(stream: BinaryIO) -> Sheet:
        if scheme == "csv":
            return CsvSheet(stream, rig, timebase)
        return McapSheet(stream, rig, timebase, path.stem)

    file = PartFile(path, begin)
    try:
        yield FileOutput(file, path.name)
    finally:
        file.close()


def carries_file(address: str, _: Rig) -> Carries:
    """Return what goes into a file: everything. Error: LinkError."""
    parse_address(address)
    return Carries(triggers=TRIGGER_NAMES)


KIND = OutputKind(
    schemes=("csv", "mcap"),
    answers=False,
    stop_action="nothing moves by it; the stop is written down",
    carries=carries_file,
    open=open_file,
    drives=False,
    camera=False,
    shared=False,
    writes=lambda address: parse_address(address)[1],
)
