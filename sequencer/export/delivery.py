"""What is handed over: one camera, frame by frame, and what surrounds it. Data only; a format writes what it can of it.

Space, axes, signs and the entrance pupil are those of docs/conventions.md: metres, right-handed, Z up, Y forward; pan
to the left, tilt up, roll clockwise from behind, turning in this order.
"""

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from sequencer.rig.axis import Rig
from sequencer.score.move import Cue, Marker
from sequencer.timebase.tempo import TempoMap
from sequencer.timebase.timecode import Timebase

Floats = NDArray[np.float64]
# the move as it is written; the setpoints of a take; where the rig says that it stood in a take
Source = Literal["planned", "asked", "actual"]
SOURCES: tuple[Source, ...] = get_args(Source)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class CameraPath:
    """Where the camera was at F frames of the picture, and at S instants of each.

    Picture frame `first + f` carries the timecode of that project frame, and shows the move at project frame
    `origin + (f + parts[s]) * step`. A pass that is shot frame for frame has `origin == first` and `step` 1, whatever
    its speed; a pass at half speed with a camera at the project's rate has `step` 1/2.
    Shape: `position_m` (F, S, 3), of the entrance pupil; `angles_deg` (F, S, 3), pan, tilt and roll with all their
    turns; `focal_mm`, `focus_m` (F, S), the true focal length, and the distance in focus from the entrance pupil, which
    may be infinite; NaN where nobody says. `values` (F, S, A), the axes of the rig, in their own units. NaN in a whole
    instant: the rig did not say where it stood.
    Unit: `parts` are parts of a picture frame from its instant; they rise, and 0 is one of them. With a shutter of 180
    degrees that is centred on the frame's instant, `(-1/4, 0, 1/4)` are its opening, its middle and its closing.
    `shutter` is (opens, closes) in the same parts, `shot_hz` how many frames a second the camera ran at, or None where
    nobody says. `remarks` are words that whoever uses the path must know: what was guessed, what is missing.
    """

    first: int
    origin: Fraction
    step: Fraction = Fraction(1)
    parts: tuple[Fraction, ...] = (Fraction(0),)
    shutter: tuple[Fraction, Fraction] | None = None
    shot_hz: Fraction | None = None
    position_m: Floats
    angles_deg: Floats
    focal_mm: Floats
    focus_m: Floats
    values: Floats
    remarks: tuple[str, ...] = ()

    @property
    def frames(self) -> int:
        """How many picture frames there are."""
        return len(self.position_m)

    @property
    def main(self) -> int:
        """The place in `parts` of the frame's own instant."""
        return self.parts.index(Fraction(0))


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeMade:
    """One take for a list of takes: its place on the timeline and what is noted of it. Frames as in `Cue`."""

    name: str
    cue: str
    run: str
    number: int
    span: tuple[Fraction, Fraction]
    started: str
    circled: bool = False
    note: str = ""
    file: str = ""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Delivery:
    """All that an export may be made of. `path` is None where no camera is asked for, or the rig has none.

    `source` and `take` say what the path is of; `run` is the pass. `made` is the program and its version, `document` a
    checksum of the project as it was. `f_number` is that of the camera, None where nobody says.
    """

    project: str
    timebase: Timebase
    rig: Rig
    cue: Cue
    run: str
    source: Source
    take: str = ""
    path: CameraPath | None = None
    f_number: float | None = None
    markers: tuple[Marker, ...] = ()
    cues: tuple[Cue, ...] = ()
    tempo: TempoMap | None = None
    takes: tuple[TakeMade, ...] = ()
    made: str = ""
    document: str = ""
