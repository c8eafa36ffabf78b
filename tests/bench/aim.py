"""How near computed pan and tilt bring the lens to points, by two other libraries; and what keys of an aim cost."""

import importlib.util
import time
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np

from sequencer.live.aiming import Aim, written
from sequencer.motion.aim import Missed, aimed, head
from sequencer.motion.check import check
from sequencer.project.store import load
from sequencer.score.points import Point
from sequencer.shell.kinds import laws
from tests.bench.table import Table
from tests.motion.aim_oracles import off_by_openusd, off_by_scipy, random_place, random_rig, zooming

BOATS = Path(__file__).parents[2] / "projects" / "paper-boats"
RIGS = 10_000
BAR_DEG = 0.001


def tables() -> list[Table]:
    """Return all tables of this part."""
    return [agreement(), keys()]


def agreement() -> Table:
    """Aim random rigs at random points, and have the others say how far off they are."""
    random = np.random.default_rng(17)
    oracles = {"scipy, Rotation": off_by_scipy}
    if importlib.util.find_spec("pxr") is not None:
        oracles["OpenUSD, Gf.Matrix4d"] = off_by_openusd
    worst = dict.fromkeys(oracles, (0.0, 0.0))
    missed, ours_s = 0, 0.0
    for number in range(RIGS):
        rig = random_rig(random)
        rig = zooming(rig, random) if number % 3 == 0 else rig
        at, point = random_place(rig, random)
        begin_s = time.process_time()
        found = aimed(rig, np.zeros(1), at[None], point, over_the_top=number % 4 == 0)
        ours_s += time.process_time() - begin_s
        if isinstance(found, Missed):
            missed += 1
            continue
        own = head(rig)
        at[own.pan], at[own.tilt] = found.pan[0], found.tilt[0]
        for name, oracle in oracles.items():
            off_deg, ahead_m = oracle(rig, at, point)
            most_deg, most_m = worst[name]
            worst[name] = max(most_deg, off_deg), max(most_m, abs(ahead_m - float(found.distance_m[0])))
    rows = [
        (name, f"{deg:.1e}", f"{BAR_DEG:g}", "yes" if deg < BAR_DEG and not missed else "NO", f"{metres * 1e3:.1e}")
        for name, (deg, metres) in worst.items()
    ]
    return Table(
        f"Aim of {RIGS:,} random rigs at random points",
        ("worked out by", "furthest off, deg", "at most", "met", "distance off, mm"),
        rows,
        "Axes in any order and of either sign, any heading of the slide, rolled up to half a turn, the entrance pupil "
        "up to 25 cm from where pan, tilt and roll meet, of every third going with zoom and focus by a table; every "
        "fourth tilted over the top. "
        f"{missed} could not be aimed. Each takes {1e6 * ours_s / RIGS:.0f} us of processor time.",
    )


def keys() -> Table:
    """Write keys of an aim through the whole of a demo's cue, to several tolerances."""
    project = load(BOATS, laws())
    cue, rate = project.move.cues[0], project.timebase.rate
    others = tuple(track for track in project.move.tracks if track.axis not in ("pan", "tilt", "focus"))
    move = replace(project.move, tracks=others)
    one, other = Point("first boat", (0.25, 0.5, 0.035)), Point("second boat", (0.5, 0.42, 0.035))
    middle = (cue.start + cue.end) / 2
    half = rate.frames(Fraction(4))
    steady = Aim(at=one, start=cue.start, end=cue.end)
    turning = replace(steady, then=other, leaves=middle - half, arrives=middle + half)
    rows = []
    for name, aim in (("one point", steady), ("from one to another in 8 s", turning)):
        for within_deg in (0.1, 0.01, 0.001):
            begin_s = time.process_time()
            done = written(project.rig, move, rate, laws(), aim, within_deg)
            took_s = time.process_time() - begin_s
            judged = check(project.rig, done.move, rate, laws())
            rows.append(
                (
                    name,
                    f"{within_deg:g}",
                    f"{done.furthest_deg:.5f}",
                    "yes" if done.furthest_deg <= within_deg else "NO",
                    ", ".join(str(kept.keys) for kept in done.captured),
                    "yes" if judged.ok else "no",
                    f"{took_s:.1f}",
                )
            )
    return Table(
        f"Keys of an aim, {float(rate.seconds(cue.end - cue.start)):.0f} s of slide and lift",
        ("aim", "allowed, deg", "furthest off, deg", "met", "keys of pan, tilt, focus", "fits the motors", "took, s"),
        rows,
        "Furthest off at any millisecond of the compiled move, from its poses.",
    )
