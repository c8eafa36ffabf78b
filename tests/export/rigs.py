"""What the tests of exports share: a rig with every axis that moves a camera, and moves whose values are known."""

from dataclasses import replace
from fractions import Fraction

from sequencer.export.delivery import CameraPath
from sequencer.rig.axis import AxisKind, Camera, Rig, Unit
from sequencer.rig.geometry import Geometry
from sequencer.score.move import Cue, Ease, Key, Move, Track
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, Timecode
from tests.motion.aim_oracles import KINDS, axis

PUPIL_MM = (12.0, 95.0, -20.0)
CAMERA = Camera(
    sensor_mm=(24.9, 14.0), pixels=(4096, 2304), focal_mm=35.0, subject_m=4.0, f_number=4.0, shutter_deg=180.0
)
LENS: tuple[tuple[AxisKind, Unit], ...] = (("focus", "mm"), ("iris", "part"), ("zoom", "mm"))  # eight axes in all
RIG = Rig(
    name="head on a gantry",
    axes=tuple(replace(axis(kind, kind, unit), speed=1e4, acceleration=1e6) for kind, unit in (*KINDS, *LENS)),
    camera=CAMERA,
    geometry=Geometry(height_m=1.2, pupil_mm=PUPIL_MM),
)
FILM = Timebase(Counting(Rate(24000, 1001)), Timecode(1, 0, 0, 0))
VIDEO = Timebase(Counting(Rate(25)), Timecode(10, 0, 0, 0))
# where each axis stands before and after the leg of `crossed`
WAYS: dict[str, tuple[float, float]] = {
    "pan": (-70.0, 395.0),
    "tilt": (-20.0, 35.0),
    "roll": (8.0, -12.0),
    "slide": (-400.0, 1100.0),
    "lift": (0.0, 650.0),
    "focus": (2500.0, 4200.0),
    "iris": (0.2, 0.4),
    "zoom": (28.0, 75.0),
}


def leg(name: str, begin: int, end: int, values: tuple[float, float], law: str = "poly345") -> Track:
    """Return a track of one leg between two frames."""
    return Track(name, (Key(Fraction(begin), values[0], Ease(law)), Key(Fraction(end), values[1], Ease(law))))


def crossed(begin: int, end: int) -> Move:
    """Return a move of all axes at once, from one frame to the other, with a cue of the same span."""
    tracks = tuple(leg(name, begin, end, values) for name, values in WAYS.items())
    return Move(tracks=tracks, cues=(Cue("crossing", Fraction(begin), Fraction(end)),))


def counted(begin: int, end: int) -> Move:
    """Return a move in which pan stands at the frame's own number, in degrees, from one frame to the other."""
    return Move(tracks=(leg("pan", begin, end, (float(begin), float(end)), "linear"),))


def mapped(path: CameraPath) -> list[object]:
    """Return the path's first frame, the frame of the move that it shows, the step between frames, and how many."""
    return [path.first, path.origin, path.step, path.frames]
