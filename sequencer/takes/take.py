"""A take: what was asked of the rig and what it answered, on one time base. Data only."""

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from sequencer.rig.axis import Camera, Rig
from sequencer.score.move import Pass
from sequencer.timebase.timecode import Timebase

Floats = NDArray[np.float64]
Stamps = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Happening:
    """One line of the take's log: when, which kind (`locked`, `stop`, …), and in words."""

    at_ns: int
    code: str
    text: str


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Take:
    """One take as recorded.

    Shape: N setpoints, M answers, Q timecode sightings, A axes: `due_ns`, `timeline_s` (N,); `asked` (N, A);
    `actual_ns` (M,); `actual` (M, A), NaN where an answer does not name the axis; `sighted_ns`, `sighted_s` (Q,).
    Unit: monotonic nanoseconds of the recording machine; seconds from the project's start; each axis's own unit.
    `phases` (N,) is what playback was doing at each setpoint; `by_hand` names the axes that followed the hands.
    `timeline_s` is where playback took the master's clock to be at `due_ns`, as it ran; `sighted_*` are the master's
    own messages as they came. `cue_s` is the cue's span on the timeline, `speed` the speed of the pass. `complete` is
    False where the recording broke off or is damaged; `fault` then says so in words. `rig` is the rig as it was
    described when the take was shot, None in takes of earlier programs; its outputs are named by their kind alone.
    `shot_as` is the pass as it was written then, `markers` the names and instants of those within the cue, in seconds
    as the pass plays them; `document` a checksum of the project's files, `made` the program that recorded it. `remarks`
    says what of all this could not be kept, or not be read.
    """

    name: str
    project: str
    cue: str
    run: str
    cue_s: tuple[float, float]
    timebase: Timebase
    axes: tuple[str, ...]
    kinds: tuple[str, ...]
    units: tuple[str, ...]
    camera: Camera | None
    started: str
    due_ns: Stamps
    timeline_s: Floats
    asked: Floats
    actual_ns: Stamps
    actual: Floats
    sighted_ns: Stamps
    sighted_s: Floats
    happenings: tuple[Happening, ...]
    complete: bool
    fault: str = ""
    speed: Fraction = Fraction(1)
    phases: tuple[str, ...] = ()
    by_hand: tuple[str, ...] = ()
    rig: Rig | None = None
    shot_as: Pass | None = None
    markers: tuple[tuple[str, float], ...] = ()
    document: str = ""
    made: str = ""
    remarks: tuple[str, ...] = ()
