"""How soon the legs to marks are there, beside ruckig's own time-optimal ones, and whether they keep every limit."""

import time
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import numpy as np
import ruckig

from sequencer.motion.profile import reach, stop
from sequencer.motion.to_mark import to_mark
from sequencer.motion.trajectory import Floats, Trajectory
from sequencer.project.store import load
from sequencer.rig.axis import Rig
from sequencer.score.marks import Mark
from sequencer.shell.kinds import laws
from tests.bench.table import Table

PROJECTS = Path(__file__).parents[2] / "projects"
NAMES = ("harbour-lanterns", "low-tide", "paper-boats")
LEGS = 1000
ENDLESS = (-360.0, 360.0)  # where marks of an axis without end are drawn from
NEAR = 0.01  # of ruckig's time
NOISE = 1e-6  # of an axis's unit: what rounding makes of an end of the travel


class Leg(NamedTuple):
    """A random leg: where the rig stands, how it moves, and where it is to rest."""

    position: Floats
    velocity: Floats
    acceleration: Floats
    target: Floats


def legs(rig: Rig, count: int, moving: bool, seed: int) -> Iterator[Leg]:
    """Yield legs between poses of the whole travel; one that moves has up to half of its limits."""
    chance = np.random.default_rng(seed)
    low, high = np.array([axis.travel or ENDLESS for axis in rig.axes]).T
    most = np.array([(axis.speed, axis.acceleration) for axis in rig.axes]).T * (0.5 if moving else 0.0)
    for _ in range(count):
        position, target = chance.uniform(low, high), chance.uniform(low, high)
        velocity, acceleration = chance.uniform(-most, most)
        # where even the soonest stop leaves the travel, nothing stays inside
        position = np.clip(position, low, high - _carried(rig, velocity, acceleration, 1))
        position = np.maximum(position, low + _carried(rig, velocity, acceleration, -1))
        yield Leg(position, velocity, acceleration, target)


def _carried(rig: Rig, velocity: Floats, acceleration: Floats, side: int) -> Floats:
    """Return how far each axis is carried to one side until it stands."""
    low, high = reach(stop(rig, np.zeros(len(rig.axes)), velocity, acceleration))
    return high if side > 0 else -low


def ruckigs(rig: Rig, leg: Leg) -> tuple[float, bool]:
    """Return how long ruckig's own leg of all axes takes, and whether it stays in the travel, which it does not know.

    Each axis counts in its own speed: ruckig compares with absolute tolerances.
    """
    speed = np.array([axis.speed for axis in rig.axes])
    asked = ruckig.InputParameter(len(rig.axes))
    asked.current_position, asked.target_position = (leg.position / speed).tolist(), (leg.target / speed).tolist()
    asked.current_velocity = (leg.velocity / speed).tolist()
    asked.current_acceleration = (leg.acceleration / speed).tolist()
    asked.max_velocity = [1.0] * len(rig.axes)
    asked.max_acceleration = [axis.acceleration / axis.speed for axis in rig.axes]
    asked.max_jerk = [axis.jerk / axis.speed for axis in rig.axes]
    way = ruckig.Trajectory(len(rig.axes))
    outcome = ruckig.Ruckig(len(rig.axes)).calculate(asked, way)
    if outcome not in (ruckig.Result.Working, ruckig.Result.Finished):
        raise ArithmeticError(f"ruckig has no leg: {outcome}")
    stays = all(
        axis.travel is None
        or (axis.travel[0] <= reach.min * axis.speed + NOISE and reach.max * axis.speed - NOISE <= axis.travel[1])
        for axis, reach in zip(rig.axes, way.position_extrema, strict=True)
    )
    return float(way.duration), stays


def over(rig: Rig, way: Trajectory) -> float:
    """Return the part by which a way exceeds a limit of an axis most, at 1 kHz; of its travel, a part of that."""
    t_s = np.arange(0.0, way.end_s, 1e-3)
    most = 0.0
    for order, name in ((1, "speed"), (2, "acceleration"), (3, "jerk")):
        asked = np.abs(way.sample(t_s, order)).max(axis=0, initial=0.0)
        most = max(most, float((asked / [getattr(axis, name) for axis in rig.axes]).max()) - 1)
    position = way.sample(t_s)
    for number, axis in enumerate(rig.axes):
        if axis.travel is not None and len(t_s):
            low, high = axis.travel
            beyond = max(low - position[:, number].min(), position[:, number].max() - high)
            most = max(most, float(beyond) / (high - low))
    return most


def durations() -> Table:
    """Compare the durations of legs with ruckig's, from rest and from motion, on the rig of each demo project."""
    rows: list[tuple[str, ...]] = []
    for seed, name in enumerate(NAMES):
        rig = load(PROJECTS / name, laws()).rig
        for moving in (False, True):
            parts, excess, took_us, left = [], 0.0, [], 0
            for leg in legs(rig, LEGS, moving, seed):
                mark = Mark("there", tuple(zip(rig.names, leg.target.tolist(), strict=True)))
                begin_ns = time.perf_counter_ns()
                way = to_mark(rig, leg.position, leg.velocity, leg.acceleration, mark)
                took_us.append((time.perf_counter_ns() - begin_ns) / 1e3)
                least_s, stays = ruckigs(rig, leg)
                left += not stays
                if stays:
                    parts.append(way.end_s / least_s)
                excess = max(excess, over(rig, way))
            near = np.mean(np.array(parts) <= 1 + NEAR)
            rows.append(
                (
                    name,
                    str(len(rig.axes)),
                    "motion" if moving else "rest",
                    str(len(parts)),
                    f"{100 * near:.1f} %",
                    f"{100 * (max(parts) - 1):.3f} %",
                    str(left),
                    f"{max(excess, 0.0):.0e}",
                    f"{np.median(took_us):.0f}",
                )
            )
    return Table(
        f"{LEGS} random legs to marks, as fast as the axes may",
        (
            "rig",
            "axes",
            "from",
            "legs",
            f"within {100 * NEAR:.0f} % of ruckig's time",
            "most over it",
            "ruckig's leaves the travel",
            "most over a limit, 1 kHz",
            "median, us",
        ),
        rows,
        "Ruckig knows no travel: where its leg would leave it, ours stops first and begins anew, and is not compared.",
    )


def tables() -> list[Table]:
    """Return this part of the benchmark."""
    return [durations()]
