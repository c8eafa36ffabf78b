"""Rigs, lenses, passes and shutters drawn at random, from the keys to what a reader that is not ours has of each file.

Where the camera must be is put together here from docs/conventions.md, scipy's rotations and plain interpolation alone.
"""

from fractions import Fraction
from math import ceil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from sequencer.export.contract import Wanted
from sequencer.export.delivery import CameraPath, Delivery, Floats
from sequencer.export.filmed import filmed
from sequencer.export.opening import Opening
from sequencer.rig.axis import Axis, AxisKind, Camera, Rig, Unit
from sequencer.rig.geometry import WAYS, Geometry
from sequencer.rig.lens_table import FocusRow, FocusTable, LensRow, LensTable, ZoomRow, ZoomTable
from sequencer.score.move import Cue, Ease, Key, Move, Pass, Track
from sequencer.score.passes import varied
from sequencer.shell.kinds import exports, laws
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, parse
from tests.bench.handed_back import READERS
from tests.export.projecting import PIXELS, PLACE_M, TURN_DEG, WIDE, apart_deg

AXES: tuple[tuple[str, AxisKind, Unit, float], ...] = (
    *(("pan", "pan", "deg", 400.0), ("tilt", "tilt", "deg", 60.0), ("roll", "roll", "deg", 90.0)),
    *(("track", "slide", "mm", 2500.0), ("cross", "slide", "mm", 600.0), ("lift", "lift", "mm", 700.0)),
    *(("pull", "focus", "part", 1.0), ("zoom", "zoom", "part", 1.0)),
)
NEAR_M, FAR_M, WIDE_MM, LONG_MM = 0.9, 12.0, 24.0, 70.0  # of the lens, at the ends of its motors' ways
PUPIL_MM = {(NEAR_M, WIDE_MM): 61.0, (FAR_M, WIDE_MM): 48.0, (NEAR_M, LONG_MM): 148.0, (FAR_M, LONG_MM): 120.0}
BREATHES = {NEAR_M: 0.93, FAR_M: 1.0}
COUNTED = (
    Counting(Rate(25)),
    Counting(Rate(24000, 1001)),
    Counting(Rate(30000, 1001), drop=True),
    Counting(Rate(60000, 1001)),
)
SEEDS = range(12)


class Drawn:
    """One rig with one move in one pass, drawn from a seed."""

    def __init__(self, seed: int) -> None:
        random = np.random.default_rng(seed)
        self.ways = {name: WAYS[kind][int(random.integers(2))] for name, kind, _, _ in AXES if kind in WAYS}
        self.heads = {name: float(random.uniform(-180, 180)) for name in ("track", "cross")}
        self.mounted: tuple[float, float, float] = tuple(random.uniform(-150, 150, 3).round(1).tolist())
        self.height = float(random.uniform(0.2, 3))
        order = random.permutation(len(AXES))
        self.rig = self._rig(tuple(AXES[number] for number in order))
        self.ends: dict[str, tuple[float, float]] = {}
        for name, kind, _, most in AXES:
            part = random.uniform(0, 1, 2) if kind in ("focus", "zoom") else random.uniform(-1, 1, 2)
            self.ends[name] = (float(part[0] * most), float(part[1] * most))
        start = Fraction(int(random.integers(20, 200))) + Fraction(int(random.integers(4)), 4)
        self.cue = Cue("cue", start, start + 40 + Fraction(int(random.integers(3)), 3))
        self.counting = COUNTED[seed % len(COUNTED)]
        speed = [Fraction(1), Fraction(1, 2), Fraction(2), Fraction(3, 4)][int(random.integers(4))]
        rate = [None, self.counting.rate.fraction * speed, Fraction(48)][int(random.integers(3))]
        self.run = Pass("run", speed=speed, rate=rate, of="cue", reversed=bool(random.integers(2)))
        self.opening = [Opening(), Opening(Fraction(172), "centre", 3), Opening(Fraction(90), "frame", 2)][seed % 3]
        self.wanted = Wanted(up="z" if seed % 2 else "y", first=None if seed % 4 else 1001)

    def _rig(self, axes: tuple[tuple[str, AxisKind, Unit, float], ...]) -> Rig:
        camera = Camera(
            sensor_mm=(24.9, 14.0),
            pixels=(WIDE, 2304),
            focal_mm=35.0,
            subject_m=4.0,
            focus_table=FocusTable((FocusRow(0.0, f"{NEAR_M} m"), FocusRow(1.0, f"{FAR_M} m"))),
            zoom_table=ZoomTable((ZoomRow(0.0, WIDE_MM), ZoomRow(1.0, LONG_MM))),
            pupil=LensTable(tuple(LensRow(value, f"{far} m", focal) for (far, focal), value in PUPIL_MM.items())),
            breathing=LensTable(tuple(LensRow(value, f"{far} m") for far, value in BREATHES.items())),
        )
        return Rig(
            name="drawn",
            axes=tuple(
                Axis(name=name, kind=kind, unit=unit, travel=None, speed=1e5, acceleration=1e7, jerk=1e9)
                for name, kind, unit, _ in axes
            ),
            camera=camera,
            geometry=Geometry(
                height_m=self.height,
                sensor_plane_mm=self.mounted,
                positive=tuple(self.ways.items()),
                heading_deg=tuple(self.heads.items()),
            ),
        )

    def delivery(self) -> Delivery:
        """The whole of it through the program."""
        span = (self.cue.start, self.cue.end)
        tracks = tuple(
            Track(name, tuple(Key(at, value, Ease("poly345")) for at, value in zip(span, ends, strict=True)))
            for name, ends in self.ends.items()
        )
        move = varied(Move(tracks=tracks, cues=(self.cue,), passes=(self.run,)), self.rig, self.run, laws())
        timebase = Timebase(self.counting, parse("00:59:58:00", self.counting))
        path = filmed(self.rig, move, self.cue, self.run, timebase, laws(), self.opening)
        return Delivery(
            project="drawn",
            timebase=timebase,
            rig=self.rig,
            cue=self.cue,
            run=self.run.name,
            source="planned",
            path=path,
        )

    def meant(self, path: CameraPath) -> tuple[Floats, Floats, Floats, Floats]:
        """Place, turning, edges of the picture and distance in focus at each instant, one after another."""
        start, end = self.cue.start, self.cue.end
        first, between = ceil(start), self.counting.rate.fraction / (self.run.rate or self.counting.rate.fraction)
        rows = []
        for frame in range(path.frames):
            for part in path.parts:
                # the cue begins to run at its own start, whatever whole frame comes first
                shown = start + (first - start + frame + part) * between * self.run.speed
                u = float(min(max((shown - start) / (end - start), Fraction(0)), Fraction(1)))
                eased = 10 * u**3 - 15 * u**4 + 6 * u**5
                eased = 1 - eased if self.run.reversed else eased
                rows.append({name: a + (b - a) * eased for name, (a, b) in self.ends.items()})
        return self._stood({name: np.array([row[name] for row in rows]) for name in self.ends})

    def _stood(self, at: dict[str, Floats]) -> tuple[Floats, Floats, Floats, Floats]:
        signed = {
            name: value * (-1 if self.ways.get(name) in ("right", "down", "anticlockwise") else 1)
            for name, value in at.items()
        }
        turned = Rotation.from_euler("ZXY", np.column_stack([signed[one] for one in ("pan", "tilt", "roll")]), True)
        pivot = np.zeros((len(at["pan"]), 3))
        pivot[:, 2] = self.height + signed["lift"] / 1000
        for name, head in self.heads.items():
            # 0 is forward, 90 to the left, -90 to the right
            pivot += signed[name][:, np.newaxis] / 1000 * Rotation.from_euler("Z", head, True).apply([0.0, 1.0, 0.0])
        near = at["pull"] / FAR_M + (1 - at["pull"]) / NEAR_M  # the distance's inverse
        close = (near - 1 / FAR_M) / (1 / NEAR_M - 1 / FAR_M)
        focal = WIDE_MM * (LONG_MM / WIDE_MM) ** at["zoom"]
        long = (focal - WIDE_MM) / (LONG_MM - WIDE_MM)
        pupil = np.zeros_like(focal)
        for (far, mm), value in PUPIL_MM.items():
            pupil += value * (close if far == NEAR_M else 1 - close) * (long if mm == LONG_MM else 1 - long)
        true = focal * (BREATHES[NEAR_M] * close + BREATHES[FAR_M] * (1 - close))
        own = np.array(self.mounted) + pupil[:, np.newaxis] * [0.0, 1.0, 0.0]
        slopes = np.array([24.9, 14.0]) / 2 / true[:, np.newaxis]
        return pivot + turned.apply(own / 1000), turned.as_matrix(), slopes, 1 / near - pupil / 1000


def off(found: tuple[Floats, Floats, Floats], meant: tuple[Floats, Floats, Floats]) -> tuple[float, float, float]:
    """How far two cameras are apart at worst: in metres, degrees, and pixels of points that the second one sees."""
    grid = np.array([[x, y] for x in (-0.95, 0.0, 0.95) for y in (-0.95, 0.0, 0.95)])
    ahead = np.resize([0.8, 3.0, 25.0], 9)
    flat = grid[np.newaxis] * meant[2][:, np.newaxis] * ahead[:, np.newaxis]
    own = np.stack([flat[..., 0], np.broadcast_to(ahead, flat.shape[:2]), flat[..., 1]], axis=-1)
    world = meant[0][:, np.newaxis] + own @ np.swapaxes(meant[1], 1, 2)
    seen = (world - found[0][:, np.newaxis]) @ found[1]
    pixels = (seen[..., ::2] / seen[..., 1:2] / found[2][:, np.newaxis] - grid) * WIDE / 2
    place = float(np.linalg.norm(found[0] - meant[0], axis=1).max())
    return place, float(apart_deg(found[1], meant[1]).max()), float(np.abs(pixels).max())


@pytest.mark.parametrize("seed", SEEDS)
def test_every_reader_finds_the_camera_where_the_conventions_have_it(tmp_path: Path, seed: int) -> None:
    drawn = Drawn(seed)
    made = drawn.delivery()
    path = made.path
    assert path is not None
    place, matrix, slopes, focus = drawn.meant(path)
    assert path.focus_m.ravel() == pytest.approx(focus)
    offsets: Any = (np.arange(path.frames)[:, np.newaxis] + np.array([float(part) for part in path.parts])).ravel()
    for name, (_, reader) in READERS.items():
        kind = exports()[name]
        # time in glTF begins at the first frame's own instant
        kept = offsets >= 0 if name == "gltf" else np.ones(len(offsets), dtype=bool)
        file = tmp_path / f"camera{kind.suffixes[0]}"
        file.write_bytes(kind.make(made, kind.suffixes[0], drawn.wanted))
        seen = reader(file, (path.first if drawn.wanted.first is None else drawn.wanted.first) + offsets)
        assert len(seen.position_m) == kept.sum(), name
        found = off((seen.position_m, seen.matrix, seen.slopes), (place[kept], matrix[kept], slopes[kept]))
        assert found[0] < PLACE_M, name
        assert found[1] < TURN_DEG, name
        assert found[2] < PIXELS, name


def test_the_draws_differ_in_what_they_are_to_try() -> None:
    drawn = [Drawn(seed) for seed in SEEDS]
    assert {one.run.reversed for one in drawn} == {False, True}
    assert len({one.run.speed for one in drawn}) == 4
    assert len({one.opening for one in drawn}) == 3
    assert any(one.run.rate is None and one.run.speed != 1 for one in drawn)
    assert any(one.cue.start.denominator > 1 for one in drawn)
    assert {one.ways["pan"] for one in drawn} == {"left", "right"}


def test_a_wrong_sign_order_or_unit_would_be_found() -> None:
    """What the comparison itself is worth."""
    drawn = Drawn(0)
    path = drawn.delivery().path
    assert path is not None
    place, matrix, slopes, _ = drawn.meant(path)
    meant = (place, matrix, slopes)
    assert max(off(meant, meant)) < 1e-6
    angles = path.angles_deg.reshape(-1, 3)
    for order, signs in (("ZXY", (-1, 1, 1)), ("ZXY", (1, 1, -1)), ("ZYX", (1, 1, 1)), ("XZY", (1, 1, 1))):
        other = Rotation.from_euler(order, angles * signs, True).as_matrix()
        assert off((place, other, slopes), meant)[2] > 10
    assert off((place * 1.0001, matrix, slopes), meant)[2] > PIXELS
    assert off((place, matrix, slopes * 1.0001), meant)[2] > PIXELS
