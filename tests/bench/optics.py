"""How exact and how fast the lens's tables are, beside scipy's interpolator, and what the advice on panning costs."""

import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from sequencer.motion.compile import compile_move
from sequencer.motion.strobe import strobes
from sequencer.project.store import load
from sequencer.rig.distance import metres
from sequencer.rig.lens import lens
from sequencer.shell.kinds import laws
from tests.bench.table import Table

PAPER = Path(__file__).parents[2] / "projects" / "paper-boats"
TRIES = 2_000
BAR = 1e-9  # of the distance


def tables() -> list[Table]:
    """Return all tables of this part."""
    return [scale(), advice()]


def _each_us(work: Callable[[], object], times: int) -> float:
    began_s = time.perf_counter()
    for _ in range(times):
        work()
    return 1e6 * (time.perf_counter() - began_s) / times


def scale() -> Table:
    """From distances to the motor and back, on a demo project's focus scale."""
    rig = load(PAPER, laws()).rig
    camera = rig.camera
    assert camera is not None
    table = camera.focus_table
    assert table is not None
    theirs = PchipInterpolator([row.at for row in table.rows], [1 / metres(row.distance) for row in table.rows])
    far_m = 1 / np.random.default_rng(8).uniform(1e-4, 1 / 0.3, TRIES)
    at = [table.position(float(one)) for one in far_m]
    ours = np.array([float(table.distance_m(one)) for one in at])
    backward = [float(brentq(lambda x, y=1 / one: float(theirs(x)) - y, 0, 1, xtol=1e-15)) for one in far_m[:200]]
    positions = np.array([axis.home for axis in rig.axes])
    one, mid = float(far_m[0]), at[0]
    rows = [
        ("largest error of a distance that goes to the motor and back", f"{np.max(np.abs(ours / far_m - 1)):.1e}"),
        ("bar", f"{BAR:.0e}"),
        ("largest difference from scipy's curve, 1/m", f"{np.max(np.abs(theirs(at) - 1 / ours)):.1e}"),
        ("largest difference from its root by brentq, parts", f"{np.max(np.abs(np.array(at[:200]) - backward)):.1e}"),
        ("distance of a position", f"{_each_us(lambda: table.distance_m(mid), 2000):.0f} us"),
        ("the same by scipy", f"{_each_us(lambda: 1 / theirs(mid), 2000):.0f} us"),
        ("position of a distance", f"{_each_us(lambda: table.position(one), 200):.0f} us"),
        (
            "the whole lens at a pose, with both tables",
            f"{_each_us(lambda: lens(camera, rig, positions), 1000):.0f} us",
        ),
    ]
    note = f"{TRIES} random distances from 0.3 m to 10 km, even in their inverse; relative errors."
    return Table("Focus scale: from distance to motor and back", ("what", "value"), rows, note)


def advice() -> Table:
    """How long the advice takes for a move, and for one that is a thousand times as long."""
    rows = []
    for name in ("harbour-lanterns", "paper-boats"):
        project = load(PAPER.parent / name, laws())
        trajectory = compile_move(project.rig, project.move, project.timebase.rate, laws())
        for times in (1, 1000):
            longer = trajectory if times == 1 else trajectory.stretched(1 / times, 0.0)
            began_s = time.perf_counter()
            found = strobes(project.rig, longer, project.timebase.rate)
            took_ms = 1e3 * (time.perf_counter() - began_s)
            frames = (longer.end_s - longer.start_s) * float(project.timebase.rate.fraction)
            rows.append((name, f"{frames:,.0f}", f"{len(found)}", f"{took_ms:.1f} ms"))
    return Table("Advice on panning", ("project", "frames", "stretches", "took"), rows, "Each frame is looked at.")
