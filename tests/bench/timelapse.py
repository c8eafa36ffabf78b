"""Whether a timelapse keeps every frame through kills, how fast simulated hours pass, and how near sun and moon are."""

import math
import tempfile
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import erfa  # type: ignore[import-untyped]  # it has no annotations
import numpy as np

from sequencer.motion.sky import SIDEREAL_DEG_S, direction, turned
from sequencer.playback.timelapse import Phase
from sequencer.project import shot_log
from sequencer.project.store import load
from sequencer.score.timelapse import Place
from sequencer.shell.kinds import laws
from sequencer.shell.spread import spread
from tests.bench.table import Table
from tests.motion.test_sky import apart, sofa
from tests.playback.lapse_stage import LOOK_S, Rig, Stage, course, killed_often

PROJECTS = Path(__file__).parents[2] / "projects"
FRAMES = 2000
SIX_H = 6 * 3600.0
KILLS = 20
SEEDS = (1, 2, 3)


def killed() -> Table:
    """Shoot 2,000 frames, killed 20 times at random, a quarter of that just around the order to the camera."""
    rows = []
    for seed in SEEDS:
        chance = np.random.default_rng(seed)
        kinds = ("at {}", "firing after {}", "fire after {}", "exposed after {}", "go after {}")
        at_s = np.sort(chance.uniform(20, FRAMES * 3.0, KILLS)).tolist()
        kills = [kinds[number % len(kinds)].format(one) for number, one in enumerate(at_s)]
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "shots.jsonl"
            stage = Stage(course(FRAMES, 3.0), path, Rig((0.0, 0.0)))
            begin_s = time.perf_counter()
            ended, count = killed_often(stage, kills, seed)
            took_s = time.perf_counter() - begin_s
            frames = [one.frame for one in shot_log.read(path).exposed]
        stood = np.array([where for _, where in stage.camera.exposed])
        same = len(stood) == FRAMES and ended.phase is Phase.DONE
        worst = float(np.abs(stood - np.array(stage.course.poses)).max()) if same else math.nan
        left_out, doubled = len(set(range(FRAMES)) - set(frames)), len(stage.camera.exposed) - len(set(frames))
        late = np.array([at for at, _ in stage.camera.exposed]) - [stage.course.due_s(n) for n in range(len(stood))]
        numbers = (seed, count, len(stood), left_out, doubled)
        rows.append((*map(str, numbers), f"{worst:.4f}", f"{100 * np.mean(late < 0.1):.1f} %", f"{took_s:.1f}"))
    columns = ("seed", "kills", "on the card", "left out", "doubled", "most off its pose", "in time", "took, s")
    note = "A frame must stand within 0.02 of its pose as the rig says, whose noise is 0.001; gaps last 2 to 20 s."
    return Table(f"{FRAMES} frames in simulated time, with kills", columns, rows, note)


def six_hours() -> Table:
    """Shoot the low-tide project's six hours in simulated time, and plan them."""
    begin_s = time.perf_counter()
    found = spread(load(PROJECTS / "low-tide", laws()), laws())
    planned_s = time.perf_counter() - begin_s
    own = replace(found.course(10.0), tolerance=(0.03, 0.03, 0.1))
    with tempfile.TemporaryDirectory() as folder:
        stage = Stage(own, Path(folder) / "shots.jsonl", Rig(own.poses[0]))
        begin_s = time.perf_counter()
        stage.shoot()
        took_s = time.perf_counter() - begin_s
    rows = [
        ("frames", str(len(stage.camera.exposed))),
        ("simulated, s", f"{stage.now_s:.0f}"),
        ("took, s (at most 60 are wanted)", f"{took_s:.1f}"),
        ("times real time", f"{stage.now_s / took_s:.0f}"),
        ("planned, with every frame's way, s", f"{planned_s:.2f}"),
    ]
    return Table(f"Six hours of low-tide, looked at every {LOOK_S * 1000:.0f} ms", ("figure", "value"), rows)


def sky() -> Table:
    """Compare sun, moon and stars with the IAU's own routines (SOFA, in pyerfa) at random instants and places."""
    chance, rows = np.random.default_rng(3), []
    for body in ("sun", "moon"):
        errors = []
        for _ in range(1000):
            place = Place(latitude_deg=float(chance.uniform(-80, 80)), longitude_deg=float(chance.uniform(-180, 180)))
            at = datetime(2015, 1, 1, tzinfo=UTC) + timedelta(hours=int(chance.integers(0, 24 * 365 * 8)))
            errors.append(apart(direction(body, place, at, air_hpa=0.0), sofa(body, place, at)))
        rows.append((body, "1000", f"{np.median(errors):.5f}", f"{max(errors):.5f}"))
    errors = [_star(chance) for _ in range(1000)]
    rows.append(("star, after up to 6 h", "1000", f"{np.median(errors):.5f}", f"{max(errors):.5f}"))
    note = (
        f"Without refraction. The sky turns by {SIDEREAL_DEG_S * 3600:.5f} degrees an hour (IERS; the trade's 15.041)."
    )
    return Table("Directions beside SOFA's", ("of", "instants", "median, degrees", "most, degrees"), rows, note)


def _star(chance: np.random.Generator) -> float:
    """Return how far a followed star is from where SOFA's atco13 has it, hours later. Unit: degrees."""
    lat, lon = float(chance.uniform(-80, 80)), float(chance.uniform(-180, 180))
    ra, dec = float(chance.uniform(0, 2 * math.pi)), math.asin(float(chance.uniform(-1, 1)))
    hours = float(chance.uniform(0, 6))

    def seen(after_h: float) -> tuple[float, float]:
        where = math.radians(lon), math.radians(lat)
        az, zenith, *_ = erfa.atco13(
            ra, dec, 0, 0, 0, 0, 2459000.5, after_h / 24, 0.0, *where, 0.0, 0, 0, 0.0, 0, 0, 0.55
        )
        return math.degrees(az), 90 - math.degrees(zenith)

    azimuth, altitude = turned(*seen(0.0), lat, np.array([hours * 3600]))
    return apart((float(azimuth[0]), float(altitude[0])), seen(hours))


def tables() -> list[Table]:
    """Return this part of the benchmark."""
    return [killed(), six_hours(), sky()]
