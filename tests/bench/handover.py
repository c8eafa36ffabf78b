"""What it takes to hand ten minutes over, to each format, and how far a camera is off that others read back from it."""

import time
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from scipy.spatial.transform import Rotation

from sequencer.export.contract import ExportKind, Wanted
from sequencer.export.delivery import CameraPath, Delivery, TakeMade
from sequencer.export.filmed import filmed
from sequencer.export.sampled import sampled
from sequencer.score.move import Cue, Ease, Key, Marker, Move, Pass, Track
from sequencer.shell.handover import hand_over
from sequencer.shell.kinds import exports, formats_left_out, laws
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, parse
from tests.bench.handed_back import READERS, Floats, Seen
from tests.bench.table import Table
from tests.export.rigs import CAMERA, RIG, WAYS
from tests.takes.shot import Shot

_COUNTING = Counting(Rate(60))
SIXTY = Timebase(_COUNTING, parse("10:00:00:00", _COUNTING))
LASTS = 36_000  # frames: ten minutes
EVERY = 90  # frames from key to key
ROUNDS = 3
LIMIT_S = 3.0
LIMITS = {"mm": 0.01, "deg": 0.0001, "px": 0.01}
WIDE = 4096
POINTS = 50
TAKES, MARKERS = 200, 2000


def tables() -> list[Table]:
    """Return all tables of this part."""
    made = delivery()
    with TemporaryDirectory() as folder:
        return [speed(made, Path(folder)), paths(made), round_trip(made, Path(folder))]


def move() -> Move:
    """Return ten minutes in which all eight axes go to another place every second and a half, seeded."""
    random = np.random.default_rng(31)
    tracks = []
    for name, ends in WAYS.items():
        values = random.uniform(min(ends), max(ends), LASTS // EVERY + 1)
        keys = (Key(Fraction(EVERY * n), float(value), Ease("poly345")) for n, value in enumerate(values))
        tracks.append(Track(name, tuple(keys)))
    return Move(tracks=tuple(tracks), cues=(Cue("ten minutes", Fraction(0), Fraction(LASTS - 1)),))


def whole(part: Move) -> CameraPath:
    """Return the path of all its frames."""
    return filmed(RIG, part, part.cues[0], Pass("band"), SIXTY, laws())


def delivery() -> Delivery:
    """Return all that any format may want: the path, takes, markers."""
    written = move()
    random = np.random.default_rng(32)
    places = np.sort(random.integers(0, LASTS, MARKERS))
    takes = tuple(
        TakeMade(
            name=f"ten-minutes_band_{n:03}",
            cue="ten minutes",
            run="band",
            number=n,
            span=(Fraction(0), Fraction(LASTS - 1)),
            started=f"2031-05-04T{10 + n // 60:02}:{n % 60:02}:00+00:00",
            circled=n % 10 == 0,
        )
        for n in range(1, TAKES + 1)
    )
    return Delivery(
        project="Harbour lanterns",
        timebase=SIXTY,
        rig=RIG,
        cue=written.cues[0],
        run="band",
        source="planned",
        path=whole(written),
        f_number=4.0,
        markers=tuple(Marker(f"marker {n}", Fraction(int(at))) for n, at in enumerate(places)),
        cues=written.cues,
        takes=takes,
        made="twintake",
    )


def speed(made: Delivery, folder: Path) -> Table:
    """Hand the ten minutes over in each format, with the text and the chart beside, to the disk."""
    rows = []
    for name, kind in sorted(exports().items()):
        for suffix in kind.suffixes:
            file = folder / f"camera{suffix}"
            taken, whole_s = _seconds(partial(hand_over, made, kind, Wanted(), file, force=True))
            size = file.stat().st_size / 1e6
            what = f"{LASTS} frames" if kind.holds == "camera" else f"{TAKES} takes, {MARKERS} markers"
            met = "yes" if taken < LIMIT_S else "NO"
            rows.append(
                (f"{name} ({suffix})", what, f"{size:.1f}", f"{whole_s:.2f}", f"{taken:.2f}", f"{LIMIT_S:g}", met)
            )
    rows += [(place, "left out", "", "", "", "", why) for place, why in formats_left_out().items()]
    return Table(
        "Ten minutes of 60 fps, eight axes, to each format",
        ("format", "of what", "MB", "wall clock, s", "processor, s", "below", "met"),
        rows,
        f"Best of {ROUNDS}, onto the disk: the file, its text and chart, all synced. Judged by processor time.",
    )


def paths(made: Delivery) -> Table:
    """Make the path itself: of the move as written, and of a take."""
    written = move()
    shot = Shot(cue_s=(2.0, 2.0 + (LASTS - 1) / 60), timebase=SIXTY).take()
    pair = {axis.kind: axis for axis in RIG.axes}
    rig = replace(RIG, axes=(pair["pan"], pair["slide"]))
    found = sampled(shot, "actual", rig)
    rows = [
        (
            f"planned: compiled, judged, sampled at {LASTS} frames; 8 axes, {LASTS // EVERY + 1} keys",
            f"{_seconds(lambda: whole(written))[0]:.2f}",
        ),
        (
            f"actual: {len(shot.actual)} answers, {len(shot.sighted_ns)} of timecode; {found.frames} frames; 2 axes",
            f"{_seconds(lambda: sampled(shot, 'actual', rig))[0]:.2f}",
        ),
    ]
    return Table(
        "The path that is handed over, before any format", ("what", "s"), rows, f"Processor time, best of {ROUNDS}."
    )


def round_trip(made: Delivery, folder: Path) -> Table:
    """Read each file back by a reader that is not ours, at every frame, and project the same points."""
    path = made.path
    assert path is not None
    meant = Seen(
        path.position_m[:, 0],
        Rotation.from_euler("ZXY", path.angles_deg[:, 0], degrees=True).as_matrix(),
        np.array(CAMERA.sensor_mm) / 2 / path.focal_mm,
    )
    points = _points(meant)
    rows: list[tuple[str, ...]] = []
    for name, kind in sorted(exports().items()):
        if kind.holds != "camera":
            continue
        if name not in READERS:
            rows.append((name, "no reader but ours", "", "", "", "NO"))
            continue
        by, reader = READERS[name]
        rows += [_row(kind, suffix, by, reader, made, folder, meant, points) for suffix in kind.suffixes]
    return Table(
        "The same camera, read back by others",
        ("format", "by", "place, mm", "turning, deg", "picture, px", "met"),
        [("at most", "", *(f"{LIMITS[unit]:g}" for unit in ("mm", "deg", "px")), ""), *rows],
        f"The worst of all {LASTS} frames; the picture: of {POINTS} points seen in each of them, {WIDE} pixels across.",
    )


def _row(  # one file, its reader, and what it is held against
    kind: ExportKind,
    suffix: str,
    by: str,
    reader: Callable[[Path, Floats], Seen],
    made: Delivery,
    folder: Path,
    meant: Seen,
    points: Floats,
) -> tuple[str, ...]:
    file = folder / f"back{suffix}"
    file.write_bytes(kind.make(made, suffix, Wanted()))
    assert made.path is not None
    seen = reader(file, made.path.first + np.arange(made.path.frames, dtype=np.float64))
    if len(seen.position_m) != len(meant.position_m):
        return f"{kind.name} ({suffix})", by, f"{len(seen.position_m)} frames", "", "", "NO"
    off_mm = float(np.linalg.norm(seen.position_m - meant.position_m, axis=1).max() * 1000)
    # the angle of the turning between two: its sine is half of what the matrices differ by, which is exact where small
    apart = np.linalg.norm(seen.matrix - meant.matrix, axis=(1, 2)) / (2 * np.sqrt(2))
    off_deg = float(np.degrees(2 * np.arcsin(np.minimum(apart, 1.0))).max())
    off_px = float(np.abs(_flat(seen, points) - _flat(meant, points)).max() * WIDE / 2)
    met = off_mm <= LIMITS["mm"] and off_deg <= LIMITS["deg"] and off_px <= LIMITS["px"]
    return f"{kind.name} ({suffix})", by, f"{off_mm:.1e}", f"{off_deg:.1e}", f"{off_px:.1e}", "yes" if met else "NO"


def _points(meant: Seen) -> Floats:
    """Return points that each frame sees, at 0.5 to 30 m. Shape: (F, POINTS, 3), in the world."""
    random = np.random.default_rng(33)
    ahead = random.uniform(0.5, 30, (len(meant.position_m), POINTS))
    aside = random.uniform(-1, 1, (2, *ahead.shape)) * ahead
    own = np.stack([aside[0] * meant.slopes[:, :1], ahead, aside[1] * meant.slopes[:, 1:]], axis=-1)
    return np.asarray(own @ np.swapaxes(meant.matrix, 1, 2) + meant.position_m[:, np.newaxis], dtype=np.float64)


def _flat(seen: Seen, points: Floats) -> Floats:
    own = (points - seen.position_m[:, np.newaxis]) @ seen.matrix
    out: Floats = own[..., ::2] / own[..., 1:2] / seen.slopes[:, np.newaxis]
    return out


def _seconds(does: Callable[[], object]) -> tuple[float, float]:
    """Return the least processor time that it took, and the least by the clock."""
    taken = []
    for _ in range(ROUNDS):
        begin_s, begin_clock_s = time.process_time(), time.perf_counter()
        does()
        taken.append((time.process_time() - begin_s, time.perf_counter() - begin_clock_s))
    return min(one for one, _ in taken), min(one for _, one in taken)
