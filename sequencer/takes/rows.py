"""The rows of a take file as they are recorded, one type a channel. A take file is MCAP with these as JSON messages.

Stamps are monotonic nanoseconds of the recording machine. Arrays have one value for each axis, in the rig's order;
None where a rig did not name the axis.
"""

from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True)
class SetpointRow:
    """Channel `setpoint`: what was sent for the instant `due_ns`, and where the timeline was held to be then."""

    due_ns: int
    timeline_s: float
    phase: str
    position: tuple[float, ...]
    velocity: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class ActualRow:
    """Channel `actual`: where the rig says it stood at `at_ns`."""

    at_ns: int
    heard_ns: int
    position: tuple[float | None, ...]


@dataclass(frozen=True, slots=True)
class TimecodeRow:
    """Channel `timecode`: one message of the master, placed on the timeline."""

    stamp_ns: int
    position_s: float


@dataclass(frozen=True, slots=True)
class EventRow:
    """Channel `event`: what happened, in words."""

    at_ns: int
    code: str
    text: str


Row = SetpointRow | ActualRow | TimecodeRow | EventRow


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """What the take is of; the metadata record `take` of the file, as one JSON document.

    `by_hand` are the axes that were performed, where the others played. `rig` is rig.json as it was when the take was
    shot, its outputs by their kind alone; `shot_as` the pass as project.json has it; `markers` the names and instants
    of those within the cue. `document` is a checksum of the project's files, `made` the program and its version, and
    `remarks` says what of all this found no room.
    Unit: `cue_s` and `markers` seconds from the project's start, as the pass plays them; `speed` the pass's speed as an
    exact fraction (`1`, `1/2`).
    """

    format: str = "twintake/take"
    version: int = 1
    name: str
    project: str
    cue: str
    run: str
    speed: str = "1"
    cue_s: tuple[float, float]
    rate: str
    drop: bool
    start: str
    axes: tuple[str, ...]
    kinds: tuple[str, ...]
    units: tuple[str, ...]
    sensor_mm: tuple[float, float] | None
    pixels: tuple[int, int] | None
    focal_mm: float | None
    subject_m: float | None
    started: str
    by_hand: tuple[str, ...] = ()
    rig: dict[str, Any] | None = field(default=None, hash=False)
    shot_as: dict[str, Any] | None = field(default=None, hash=False)
    markers: tuple[tuple[str, float], ...] = ()
    document: str = ""
    made: str = ""
    remarks: tuple[str, ...] = ()
