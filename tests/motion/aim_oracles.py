"""How far a rig's optical axis is off a point, worked out by other libraries: for tests of aiming and its benchmark.

Sources: scipy's Rotation, intrinsic Z, X, Y; OpenUSD's Gf.Matrix4d, row vectors, each part of the rig a matrix; scipy's
PchipInterpolator for the lens's tables, with inverse distances and logarithms of focal lengths.
Signs and headings are read from docs/conventions.md, not from the code that is tested.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.spatial.transform import Rotation

from sequencer.rig.axis import Axis, AxisKind, Camera, Rig, Unit
from sequencer.rig.geometry import Geometry
from sequencer.rig.lens_table import FocusRow, FocusTable, LensRow, LensTable, ZoomRow, ZoomTable

KINDS: tuple[tuple[AxisKind, Unit], ...] = (
    ("pan", "deg"),
    ("tilt", "deg"),
    ("roll", "deg"),
    ("slide", "mm"),
    ("lift", "mm"),
)
OTHER_WAY = {"pan": "right", "tilt": "down", "roll": "anticlockwise", "lift": "down"}


# of a lens whose pupil goes with zoom and focus: position and distance, position and focal length; how far ahead of the
# sensor plane the pupil lies at each focal length, focused at infinity, 2 m and 0.5 m
FOCUS_ROWS = ((0.0, np.inf), (0.4, 3.0), (0.7, 1.2), (1.0, 0.5))
ZOOM_ROWS = ((0.0, 24.0), (0.5, 40.0), (1.0, 70.0))
PUPIL_ROWS = {24.0: (80.0, 84.5, 92.0), 70.0: (135.0, 128.0, 110.0)}
PUPIL_AT_M = (np.inf, 2.0, 0.5)
ZOOMS = Camera(
    sensor_mm=(24.0, 13.5),
    pixels=(3840, 2160),
    focal_mm=35.0,
    subject_m=2.0,
    focus_table=FocusTable(tuple(FocusRow(at, f"{far_m:g} m" if far_m < 1e9 else "inf") for at, far_m in FOCUS_ROWS)),
    zoom_table=ZoomTable(tuple(ZoomRow(*row) for row in ZOOM_ROWS)),
    breathing=LensTable((LensRow(1.0, "inf"), LensRow(1.06, "0.5 m"))),
    pupil=LensTable(
        tuple(
            LensRow(value, f"{far_m:g} m" if far_m < 1e9 else "inf", focal_mm)
            for focal_mm, values in PUPIL_ROWS.items()
            for far_m, value in zip(PUPIL_AT_M, values, strict=True)
        )
    ),
)


@dataclass(frozen=True)
class Stood:
    """What the axes of a rig come to: slide's heading, and angles and ways with the signs of the conventions."""

    pan_deg: float
    tilt_deg: float
    roll_deg: float
    slide_m: float
    heading_deg: float
    up_m: float


def axis(name: str, kind: AxisKind, unit: Unit, travel: tuple[float, float] | None = None) -> Axis:
    return Axis(name=name, kind=kind, unit=unit, travel=travel, speed=60, acceleration=120, jerk=600)


def random_rig(random: np.random.Generator) -> Rig:
    """Return a rig whose axes stand in some order, grow some way, and carry a pupil beside where they meet."""
    order = random.permutation(len(KINDS))
    positive = tuple((kind, other) for kind, other in OTHER_WAY.items() if random.random() < 0.5)
    geometry = Geometry(
        height_m=float(random.uniform(0, 3)),
        positive=positive,
        heading_deg=(("slide", float(random.uniform(-360, 360))),),
        pupil_mm=tuple(random.uniform([-80, -100, -80], [80, 250, 80]).tolist()),
    )
    return Rig(name="random", axes=tuple(axis(KINDS[n][0], *KINDS[n]) for n in order), geometry=geometry)


def zooming(rig: Rig, random: np.random.Generator) -> Rig:
    """Return the rig with a lens whose pupil goes with zoom and focus, the sensor plane being where the pupil was."""
    axes = list(rig.axes)
    for kind in ("zoom", "focus"):
        axes.insert(int(random.integers(0, len(axes) + 1)), axis(kind, kind, "part", (0.0, 1.0)))
    geometry = replace(rig.geometry, pupil_mm=None, sensor_plane_mm=rig.geometry.pupil_mm)
    return replace(rig, axes=tuple(axes), camera=ZOOMS, geometry=geometry)


def pupil_mm(rig: Rig, at: np.ndarray) -> np.ndarray:
    """Return where the pupil is from the point in which the axes meet: right, ahead, above. Shape: (3,)."""
    if rig.geometry.sensor_plane_mm is None:
        return np.array(rig.geometry.pupil_mm)
    zoom, focus = (float(at[[one.kind for one in rig.axes].index(kind)]) for kind in ("zoom", "focus"))
    focal_mm = np.exp(PchipInterpolator([row[0] for row in ZOOM_ROWS], [np.log(row[1]) for row in ZOOM_ROWS])(zoom))
    near = PchipInterpolator([row[0] for row in FOCUS_ROWS], [1 / row[1] for row in FOCUS_ROWS])(focus)
    each = [PchipInterpolator([1 / far_m for far_m in PUPIL_AT_M], PUPIL_ROWS[one])(near) for one in (24.0, 70.0)]
    ahead = float(np.interp(focal_mm, (24.0, 70.0), each))
    found: np.ndarray = np.array(rig.geometry.sensor_plane_mm) + np.array([0.0, ahead, 0.0])
    return found


def random_place(rig: Rig, random: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Return where the axes stand, and a point in the set at least 30 cm from the camera. Shape: (A,), (3,)."""
    widest = {"pan": 500.0, "tilt": 80.0, "roll": 180.0, "slide": 3000.0, "lift": 800.0}
    ends = [one.travel or (-widest[one.kind], widest[one.kind]) for one in rig.axes]
    at = np.array([random.uniform(*each) for each in ends])
    while True:
        point = random.uniform([-12, -12, -1], [12, 12, 6])
        stood = read(rig, at)
        place = np.array([0, 0, rig.geometry.height_m + stood.up_m])
        place[:2] += stood.slide_m * turned_ahead(stood.heading_deg)
        if np.hypot(*(point - place)[:2]) > 0.15 and np.linalg.norm(point - place) > 0.5:
            return at, point


def turned_ahead(heading_deg: float) -> np.ndarray:
    """Return a step ahead, turned to the left by so much. Shape: (2,)."""
    ahead: np.ndarray = Rotation.from_euler("z", heading_deg, degrees=True).apply([0, 1, 0])[:2]
    return ahead


def read(rig: Rig, at: np.ndarray) -> Stood:
    """Read positions by the conventions."""
    other = dict(rig.geometry.positive)
    found = {}
    for one, value in zip(rig.axes, at.tolist(), strict=True):
        found[one.kind] = -value if other.get(one.name) == OTHER_WAY.get(one.kind, "") else value
    heading_deg = dict(rig.geometry.heading_deg)["slide"]
    return Stood(found["pan"], found["tilt"], found["roll"], found["slide"] / 1000, heading_deg, found["lift"] / 1000)


def off_by_scipy(rig: Rig, at: np.ndarray, point: np.ndarray) -> tuple[float, float]:
    """Return the angle off the optical axis in degrees, and how far ahead the point is."""
    stood = read(rig, at)
    turn = Rotation.from_euler("ZXY", [stood.pan_deg, stood.tilt_deg, stood.roll_deg], degrees=True)
    pivot = np.array([0, 0, rig.geometry.height_m + stood.up_m])
    pivot[:2] += stood.slide_m * turned_ahead(stood.heading_deg)
    lens = pivot + turn.apply(pupil_mm(rig, at) / 1000)
    return between(turn.apply([0, 1, 0]), point - lens)


def off_by_openusd(rig: Rig, at: np.ndarray, point: np.ndarray) -> tuple[float, float]:
    """The same by a chain of OpenUSD's matrices: from the lens inwards to the world."""
    from pxr import Gf

    stood = read(rig, at)

    def moved(*by: float) -> "Gf.Matrix4d":
        return Gf.Matrix4d(1).SetTranslate(Gf.Vec3d(*by))

    def turned(about: tuple[int, int, int], by_deg: float) -> "Gf.Matrix4d":
        return Gf.Matrix4d(1).SetRotate(Gf.Rotation(Gf.Vec3d(*about), by_deg))

    right, ahead, up = (float(part) / 1000 for part in pupil_mm(rig, at))
    # the slide: along its own ahead, inside the turn of its heading, which the head does not take part in
    heading = turned((0, 0, 1), stood.heading_deg)
    carriage = heading.GetInverse() * moved(0, stood.slide_m, 0) * heading
    chain = (
        moved(right, ahead, up)
        * turned((0, 1, 0), stood.roll_deg)
        * turned((1, 0, 0), stood.tilt_deg)
        * turned((0, 0, 1), stood.pan_deg)
        * carriage
        * moved(0, 0, rig.geometry.height_m + stood.up_m)
    )
    lens = np.array(chain.Transform(Gf.Vec3d(0, 0, 0)))
    way = np.array(chain.TransformDir(Gf.Vec3d(0, 1, 0)))
    return between(way, point - lens)


def between(axis_way: np.ndarray, way: np.ndarray) -> tuple[float, float]:
    """Return the angle between an axis and a way in degrees, and how far along the axis the way leads."""
    across, along = float(np.linalg.norm(np.cross(axis_way, way))), float(axis_way @ way)
    return float(np.degrees(np.arctan2(across, along))), along
