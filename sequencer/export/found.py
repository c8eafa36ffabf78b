"""What a file from elsewhere says: a cut with markers and shots, or a camera that moves. Data only, in our units."""

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from sequencer.timebase.rate import Rate
from sequencer.timebase.tempo import TempoMap

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class FoundMarker:
    """A named instant. `at` is real seconds since timecode 00:00:00:00, exact: frames by the rate, not labels.

    In a file that has no timecode (`FoundCut.start` is None) they count from the file's beginning.
    """

    name: str
    at: Fraction
    note: str = ""


@dataclass(frozen=True, slots=True)
class FoundShot:
    """A stretch that becomes a cue: [`start`, `end`) as the edit has it, in seconds as in FoundMarker."""

    name: str
    start: Fraction
    end: Fraction
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundCut:
    """What an edit, a MIDI file or a recording says of time. `rate` and `drop` are None where the file has none.

    `start` is where the file itself begins (a recording's own timecode, an edit's first frame), in seconds since
    00:00:00:00; None where it has no timecode. `tempo` counts from the file's beginning. `remarks` is what could not
    be kept, in words.
    """

    rate: Rate | None = None
    drop: bool | None = None
    start: Fraction | None = None
    markers: tuple[FoundMarker, ...] = ()
    shots: tuple[FoundShot, ...] = ()
    tempo: TempoMap | None = None
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class FoundCamera:
    """A camera that moves, in our space (docs/conventions.md), sampled as the file has it.

    Shape: N samples at `frames` (N,), rising, frames of `rate` as the file numbers them; `position_m` (N, 3), the
    centre of projection; `matrix` (N, 3, 3), whose columns are the camera's right, forward and up; `focal_mm`,
    `focus_m` (N,), NaN where the file does not say. `sensor_mm` is None where it does not say. `start` is the timecode
    in seconds since 00:00:00:00 of the first sample, None where the file has none.
    """

    name: str
    rate: Rate
    frames: Floats
    position_m: Floats
    matrix: Floats
    focal_mm: Floats
    focus_m: Floats
    sensor_mm: tuple[float, float] | None = None
    start: Fraction | None = None
    remarks: tuple[str, ...] = ()
