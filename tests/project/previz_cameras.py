"""What the tests of previz share: a rig, cameras of a thousand frames composed by scipy, and how far off a move is.

The cameras are invented: eased moves, the same with the shake of a tracker, pan past a turn, and an operator's sway.
"""

from fractions import Fraction

import numpy as np
from scipy.spatial.transform import Rotation

from sequencer.export.found import FoundCamera
from sequencer.motion.compile import compile_move
from sequencer.project.document import Project
from sequencer.project.previz import TakenIn
from sequencer.rig.axis import Axis, Camera, Rig
from sequencer.rig.geometry import Geometry
from sequencer.score.move import Move
from sequencer.shell.kinds import laws
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, Timecode

COUNT = 1000
FIRST = 1001.0
T_S = np.arange(COUNT) / 25
PUPIL_MM = (8.0, 90.0, -15.0)
HEIGHT_M = 1.2

PAN = Axis(name="pan", kind="pan", unit="deg", travel=(-200, 520), speed=60, acceleration=120, jerk=600)
TILT = Axis(name="tilt", kind="tilt", unit="deg", travel=(-60, 60), speed=60, acceleration=110, jerk=550)
ROLL = Axis(name="roll", kind="roll", unit="deg", travel=(-30, 30), speed=45, acceleration=90, jerk=500)
SLIDE = Axis(name="slide", kind="slide", unit="mm", travel=(-200, 1500), speed=400, acceleration=600, jerk=3000)
LIFT = Axis(name="lift", kind="lift", unit="mm", travel=(-100, 700), speed=200, acceleration=300, jerk=1500)
CAMERA = Camera(sensor_mm=(24.9, 14.0), pixels=(4096, 2304), focal_mm=35.0, subject_m=3.5)
RIG = Rig(
    name="quay",
    axes=(PAN, TILT, ROLL, SLIDE, LIFT),
    camera=CAMERA,
    geometry=Geometry(height_m=HEIGHT_M, pupil_mm=PUPIL_MM),
)
RATE = Rate(25)
NOTHING = Move(tracks=())
TIMEBASE = Timebase(Counting(RATE), Timecode(10, 0, 0, 0))


def empty(rig: Rig = RIG, move: Move = NOTHING) -> Project:
    """Return a project without a move."""
    return Project(name="quay", timebase=TIMEBASE, rig=rig, move=move)


def eased(begin_s: float, end_s: float, t_s: np.ndarray = T_S) -> np.ndarray:
    """Return a way from 0 to 1 that begins and ends at rest."""
    u = np.clip((t_s - begin_s) / (end_s - begin_s), 0, 1)
    way: np.ndarray = u**3 * (10 - 15 * u + 6 * u**2)
    return way


def sway(size: float, seed: int) -> np.ndarray:
    """Return an operator's sway: waves of 0.1 to 0.6 Hz, the shorter the smaller, as a shoulder damps them."""
    random = np.random.default_rng(seed)
    hz = np.linspace(0.1, 0.6, 9)
    waves = (0.1 / hz) ** 2 * np.sin(2 * np.pi * (hz * T_S[:, None] + random.uniform(0, 1, len(hz))))
    found: np.ndarray = size * waves.sum(axis=1)
    return found


def shake(size: float, seed: int) -> np.ndarray:
    """Return what a tracker leaves: normal noise, each sample by itself."""
    return np.random.default_rng(seed).normal(0, size, COUNT)


def camera(
    pan: np.ndarray,
    tilt: np.ndarray,
    roll: np.ndarray,
    slide_mm: np.ndarray,
    lift_mm: np.ndarray,
    *,
    name: str = "shot 7",
    rate: Rate = RATE,
    start: Fraction | None = Fraction(36000),
    focal_mm: float = 35.0,
) -> FoundCamera:
    """Return the camera of a head at these angles, on a slide to the right and a lift, as another program has it."""
    turn = Rotation.from_euler("ZXY", np.stack([pan, tilt, roll], 1), degrees=True)
    pivot = np.stack([slide_mm / 1000, np.zeros_like(pan), HEIGHT_M + lift_mm / 1000], 1)
    return FoundCamera(
        name=name,
        rate=rate,
        frames=FIRST + np.arange(len(pan), dtype=np.float64),
        position_m=pivot + turn.apply(np.array(PUPIL_MM) / 1000),
        matrix=turn.as_matrix(),
        focal_mm=np.full(len(pan), focal_mm),
        focus_m=np.full(len(pan), np.nan),
        sensor_mm=(24.9, 14.0),
        start=start,
    )


WAYS: dict[str, tuple[np.ndarray, ...]] = {
    "eased": (
        40 * eased(2, 12) - 70 * eased(14, 26) + 25 * eased(30, 38),
        12 * eased(5, 20) - 9 * eased(22, 39),
        4 * eased(10, 30),
        1100 * eased(1, 33),
        300 * eased(8, 36),
    ),
    "past a turn": (-150 + 640 * eased(0.5, 39.5), 20 * eased(3, 30), 0 * T_S, 200 + 0 * T_S, 250 * eased(1, 20)),
    "handheld": (
        sway(2.0, 1) + 30 * eased(4, 34),
        sway(1.4, 2),
        sway(0.6, 3),
        500 + sway(25.0, 4),
        200 + sway(18.0, 5),
    ),
}
# as a tracker sees the eased one: 0.01 degrees and 0.1 mm
WAYS["shaken"] = tuple(
    way + shake(size, 10 + number)
    for number, (way, size) in enumerate(zip(WAYS["eased"], (0.01, 0.01, 0.01, 0.1, 0.1), strict=True))
)
CAMERAS = {name: camera(*ways) for name, ways in WAYS.items()}


def off(done: TakenIn, project: Project, ways: tuple[np.ndarray, ...]) -> dict[str, float]:
    """Return how far each axis of a project is off at the frames themselves, without a word of the fit's."""
    t_s = np.arange(len(ways[0])) / 25
    there = compile_move(project.rig, project.move, project.timebase.rate, laws()).sample(t_s)
    names = ("pan", "tilt", "roll", "slide", "lift")
    driven = [each.fitted.captured.axis for each in done.axes]
    return {
        name: float(np.abs(there[:, project.rig.index(name)] - way).max())
        for name, way in zip(names, ways, strict=True)
        if name in driven
    }
