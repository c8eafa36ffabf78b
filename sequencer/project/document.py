"""The project as one immutable value: what a project folder says, checked and in exact time."""

from dataclasses import dataclass, field
from fractions import Fraction

from sequencer.live.handling import Handling
from sequencer.project.stage import Stage
from sequencer.rig.axis import Rig
from sequencer.score.camera import CameraCue
from sequencer.score.marks import Marks
from sequencer.score.move import Cue, Move, Pass
from sequencer.score.points import Points
from sequencer.score.timelapse import Timelapse
from sequencer.sync.orders import Mapped
from sequencer.timebase.tempo import TempoMap
from sequencer.timebase.timecode import Timebase

SYNC_SOURCES = ("mtc", "ltc", "audio", "clock")


@dataclass(frozen=True, slots=True, kw_only=True)
class Playback:
    """The playback audio: a file beside the project, and the frame after the project's start at which it begins."""

    file: str
    at: Fraction = Fraction(0)


@dataclass(frozen=True, slots=True)
class SyncOffset:
    """What lies between a source's time and the picture, as measured or dialled in.

    `source` is one of SYNC_SOURCES. Unit: `frames` added to what the source says, at any speed, so that
    above zero the move comes earlier; `delay_ms` that its time arrives late here.
    """

    source: str
    frames: Fraction = Fraction(0)
    delay_ms: float = 0.0


@dataclass(frozen=True, slots=True)
class Triggers:
    """Which MIDI messages give orders, and the device number that this program has for MIDI Machine Control."""

    mapped: tuple[Mapped, ...] = ()
    mmc_device: int | None = None  # None obeys every device number


@dataclass(frozen=True, slots=True, kw_only=True)
class Project:
    """One project folder. Undo is a list of earlier values of this.

    `marks` may be of axes that the rig does not have, or outside its limits: `score.marks` tells them. `aspect` is the
    width of the picture for each unit of its height, or None for that of the whole sensor. `hands` is how pads are
    handled; empty for `live.handling.default_handlings`. `camera` is what the camera does along the move.
    """

    name: str
    timebase: Timebase
    rig: Rig
    move: Move
    marks: Marks = ()
    points: Points = ()
    tempo: TempoMap | None = None
    playback: Playback | None = None
    sync: tuple[SyncOffset, ...] = ()
    triggers: Triggers = Triggers()
    timelapse: Timelapse | None = None
    aspect: Fraction | None = None
    stage: Stage = field(default_factory=Stage)
    hands: tuple[Handling, ...] = ()
    camera: tuple[CameraCue, ...] = ()

    def cue(self, name: str | None) -> Cue:
        """Return the cue `name`, or the first. Error: ValueError that lists the cues there are."""
        cues = self.move.cues
        for cue in cues:
            if name is None or cue.name == name:
                return cue
        there = ", ".join(cue.name for cue in cues) or "none"
        raise ValueError(f"no cue {name or ''!r} in {self.name}; cues: {there}")

    def run(self, name: str | None) -> Pass:
        """Return the pass `name`, or the first, or the move as it is where the project names no passes."""
        passes = self.move.passes or (Pass("as written"),)
        for one in passes:
            if name is None or one.name == name:
                return one
        raise ValueError(f"no pass {name!r} in {self.name}; passes: {', '.join(one.name for one in passes)}")
