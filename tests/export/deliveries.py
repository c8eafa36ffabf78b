"""Deliveries to try formats with: a seeded, smooth move that pans past a full turn and zooms, as no real shot would."""

from dataclasses import replace
from fractions import Fraction

import numpy as np

from sequencer.export.delivery import CameraPath, Delivery, Floats, Source
from sequencer.rig.axis import Axis, AxisKind, Camera, Rig, Unit
from sequencer.rig.geometry import Geometry
from sequencer.rig.pose import stood, turned
from sequencer.score.move import Cue
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, parse

NTSC = Rate(24000, 1001)
PUPIL_MM = (4.0, 112.0, -17.0)
_AXES: tuple[tuple[str, AxisKind, Unit], ...] = (
    ("pan", "pan", "deg"),
    ("tilt", "tilt", "deg"),
    ("roll", "roll", "deg"),
    ("slide", "slide", "mm"),
    ("lift", "lift", "mm"),
    ("focus", "focus", "mm"),
    ("zoom", "zoom", "mm"),
    ("iris-ring", "iris", "part"),
)
SHUTTER = (Fraction(-1, 4), Fraction(1, 4))
OPENING = (Fraction(-1, 4), Fraction(0), Fraction(1, 4))


def rig(camera: Camera | None = None) -> Rig:
    """A rig of eight axes with a zoom, whose entrance pupil lies off the point where pan, tilt and roll meet."""
    axes = tuple(
        Axis(name=name, kind=kind, unit=unit, travel=None, speed=90.0, acceleration=180.0, jerk=900.0)
        for name, kind, unit in _AXES
    )
    own = Camera(sensor_mm=(24.9, 13.1), pixels=(4096, 2160), focal_mm=35.0, subject_m=2.5, shutter_deg=180.0)
    return Rig(name="quay", axes=axes, camera=camera or own, geometry=Geometry(height_m=1.2, pupil_mm=PUPIL_MM))


def delivery(
    frames: int = 97,
    *,
    rate: Rate = NTSC,
    drop: bool = False,
    parts: tuple[Fraction, ...] = (Fraction(0),),
    first: int = 250,
    seed: int = 7,
    holes: tuple[int, ...] = (),
    source: Source = "planned",
) -> Delivery:
    """A delivery of `frames` frames, the whole instants of the frames `holes` unknown."""
    machine = rig()
    counting = Counting(rate, drop)
    offset = np.arange(frames)[:, np.newaxis] + np.array([float(part) for part in parts])
    values = _smooth(offset / max(frames - 1, 1), seed)
    for hole in holes:
        values[hole] = np.nan
    pivot, angles = stood(machine, values)
    path = CameraPath(
        first=first,
        origin=Fraction(first),
        parts=parts,
        shutter=SHUTTER,
        shot_hz=rate.fraction,
        position_m=pivot + turned(angles) @ (np.array(PUPIL_MM) / 1000),
        angles_deg=angles,
        focal_mm=values[..., 6],
        focus_m=values[..., 5] / 1000,
        values=values,
    )
    return Delivery(
        project="harbour-lanterns",
        timebase=Timebase(counting, parse("10:00:00:00", counting)),
        rig=machine,
        cue=Cue("quay", Fraction(first), Fraction(first + frames - 1)),
        run="band",
        source=source,
        take="" if source == "planned" else "quay-band-03",
        path=path,
        f_number=2.8,
        made="twintake 0.1.0",
        document="sha256:5f2c",
    )


def with_path(given: Delivery, path: CameraPath) -> Delivery:
    """The same delivery of another path."""
    return replace(given, path=path)


def _smooth(part: Floats, seed: int) -> Floats:
    """Return eight axes over a move's parts 0..1: pan past -360 deg, a zoom from 35 to 60 mm. Shape: (..., 8)."""
    rng = np.random.default_rng(seed)
    ease = part - np.sin(2 * np.pi * part) / (2 * np.pi)
    waves = sum(
        rng.uniform(-1, 1, 8) / order * np.sin(order * np.pi * part[..., np.newaxis] + rng.uniform(0, 6, 8))
        for order in (1, 2, 3)
    )
    scale = np.array([8.0, 12.0, 4.0, 400.0, 150.0, 300.0, 0.0, 0.1])
    begin = np.array([15.0, -4.0, 0.0, -300.0, 0.0, 2500.0, 35.0, 0.5])
    end = np.array([-412.0, 9.0, 2.0, 900.0, 400.0, 1400.0, 60.0, 0.5])
    whole: Floats = begin + (end - begin) * ease[..., np.newaxis] + waves * scale
    return whole
