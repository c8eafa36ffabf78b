"""The earliest along a path: how long the move lasts and how long the answer takes, beside toppra and ruckig.

Tracks are the study's: smooth runs through keys on half seconds, all axes with their keys at the same instants.
"""

import logging
import time

import numpy as np
import toppra
from numpy.typing import NDArray
from ruckig import InputParameter, Ruckig
from ruckig import Trajectory as Profile
from toppra import algorithm, constraint

from sequencer.motion.compile import compile_legs, compile_move
from sequencer.motion.legs import legs
from sequencer.motion.peaks import peaks
from sequencer.motion.repair.banded import Rows, fastest
from sequencer.motion.repair.earliest import earliest, grid_of
from sequencer.motion.repair.outcome import Repaired
from sequencer.motion.repair.pathspeed import Path, acceleration_rows, guess, least_time
from sequencer.rig.axis import Axis, Rig
from sequencer.score.move import Ease, Key, Move, Track
from sequencer.shell.kinds import laws
from sequencer.timebase.rate import Rate
from tests.bench.table import Table

Floats = NDArray[np.float64]

SPEED, ACCELERATION, JERK = 60.0, 120.0, 600.0
SECONDS = Rate(1)
SIZES = ((10, 1), (10, 16), (100, 1), (100, 16), (1000, 1), (1000, 16))
MOST_NODES_OF_PEERS = 10_000


def rig(axes: int) -> Rig:
    """Return axes with the limits of the study."""
    return Rig(
        name="bench",
        axes=tuple(
            Axis(
                name=f"axis{number}",
                kind="pan",
                unit="deg",
                travel=None,
                speed=SPEED,
                acceleration=ACCELERATION,
                jerk=JERK,
            )
            for number in range(axes)
        ),
    )


def beats(keys: int, axes: int, seed: int = 1) -> Move:
    """Return smooth runs: gaps of half a second to two, steps of 20 degrees times the root of the gap."""
    rng = np.random.default_rng(seed)
    gaps_s = rng.integers(1, 5, keys - 1) * 0.5
    at_s = np.append(0.0, np.cumsum(gaps_s))
    tracks = []
    for axis in rig(axes).axes:
        values = np.append(0.0, np.cumsum(rng.normal(0, 20, keys - 1) * np.sqrt(gaps_s)))
        rows = zip(at_s.tolist(), values.tolist(), strict=True)
        tracks.append(
            Track(axis.name, tuple(Key(SECONDS.frames(int(2 * at)) / 2, value, Ease("through")) for at, value in rows))
        )
    return Move(tracks=tuple(tracks))


def moves() -> Table:
    """Shorten moves of growing size."""
    rows: list[tuple[str, ...]] = []
    for keys, axes in SIZES:
        machine, move, kinds = rig(axes), beats(keys, axes), laws()
        begin_s = time.perf_counter()
        found = earliest(machine, move, SECONDS, kinds)
        took_s = time.perf_counter() - begin_s
        if not isinstance(found, Repaired):
            raise AssertionError(found.reasons[0].words)
        after = compile_move(machine, found.move, SECONDS, kinds)
        path = compile_legs(machine, legs(machine, move, SECONDS, kinds))
        before_s, after_s = path.end_s - path.start_s, after.end_s - after.start_s
        along = grid_of(machine, move, SECONDS, kinds)
        free_s = float(acceleration_rows(along).lasts(least_time(along, jerk=False)).sum())
        most = max(
            max(each.speed.value / SPEED, each.acceleration.value / ACCELERATION, each.jerk.value / JERK)
            for each in peaks(after, machine)
        )
        bar_s = {10: "0.1", 100: "1"}.get(keys, "5 (aim)")
        rows.append(
            (
                f"{keys} / {axes}",
                str(len(along.at)),
                f"{after_s / before_s:.4f}",
                f"{after_s / free_s:.4f}",
                "1.10",
                f"{most - 1:.0e}",
                "1e-09",
                f"{took_s:.2f}",
                bar_s,
            )
        )
    return Table(
        "Earliest along the path, with jerk",
        ("keys / axes", "nodes", "time after / before", "/ without jerk", "bar", "peak / limit - 1", "bar", "s", "bar"),
        rows,
        "Without jerk: the same path within speed and acceleration alone, which no motor with a jerk limit can run.",
    )


def peers() -> Table:
    """Compare with toppra on the same grid, and with ruckig on a straight line."""
    logging.getLogger("toppra").setLevel(logging.ERROR)
    rows: list[tuple[str, ...]] = []
    for keys, axes in SIZES[:4]:
        machine, move, kinds = rig(axes), beats(keys, axes), laws()
        along = grid_of(machine, move, SECONDS, kinds)
        if len(along.first) > 1 or len(along.at) > MOST_NODES_OF_PEERS:
            continue
        ours_s, theirs_s, ours_ms, theirs_ms = _beside_toppra(along)
        rows.append(
            (
                f"{keys} / {axes}, speed and acceleration",
                "toppra",
                f"{ours_s / theirs_s:.6f}",
                "0.9999 to 1.0001",
                f"{ours_ms:.0f}",
                f"{theirs_ms:.0f}",
            )
        )
    for way in (5.0, 30.0, 90.0, 300.0):
        move = Move(
            tracks=(Track("axis0", tuple(Key(SECONDS.frames(at), at * way / 9, Ease("poly345")) for at in (0, 9))),)
        )
        begin_s = time.perf_counter()
        found = earliest(rig(1), move, SECONDS, laws())
        took_ms = 1e3 * (time.perf_counter() - begin_s)
        if not isinstance(found, Repaired):
            raise AssertionError(found.reasons[0].words)
        wanted, best = InputParameter(1), Profile(1)
        wanted.target_position = [way]
        wanted.max_velocity, wanted.max_acceleration, wanted.max_jerk = [SPEED], [ACCELERATION], [JERK]
        begin_s = time.perf_counter()
        Ruckig(1).calculate(wanted, best)
        theirs_ms = 1e3 * (time.perf_counter() - begin_s)
        ratio = float(found.move.tracks[0].keys[-1].at) / best.duration
        rows.append(
            (
                f"a straight line of {way:g} degrees, jerk too",
                "ruckig",
                f"{ratio:.6f}",
                "1.005",
                f"{took_ms:.0f}",
                f"{theirs_ms:.2f}",
            )
        )
    return Table(
        "Earliest, beside others",
        ("problem", "who", "our time / theirs", "bar", "ours, ms", "theirs, ms"),
        rows,
        "toppra goes as fast as it can at each node, which on a coarse grid is not always the fastest as a whole.",
    )


def _beside_toppra(along: Path) -> tuple[float, float, float, float]:
    """Return the time along the path, ours and toppra's, and what it takes to find each."""

    class Curve(toppra.interpolator.AbstractGeometricPath):  # type: ignore[misc]  # toppra has no types
        dof = len(along.slope)
        path_interval = (along.at[0], along.at[-1])

        def __call__(self, u: Floats, order: int = 0) -> Floats:
            if order == 0:
                return np.zeros((*np.shape(u), self.dof))
            which = (along.slope, along.bend)[order - 1]
            place = np.searchsorted(along.at, u)
            return np.asarray(which[:, place].T, np.float64)

    either_way = np.tile([[-1.0, 1.0]], (len(along.slope), 1))
    scheme = constraint.DiscretizationType.Interpolation
    limits = [
        constraint.JointVelocityConstraint(SPEED * either_way),
        constraint.JointAccelerationConstraint(ACCELERATION * either_way, discretization_scheme=scheme),
    ]
    begin_s = time.perf_counter()
    _, speeds, _ = algorithm.TOPPRA(limits, Curve(), gridpoints=along.at).compute_parameterization(1, 1)
    theirs_ms = 1e3 * (time.perf_counter() - begin_s)
    begin_s = time.perf_counter()
    rows: Rows = acceleration_rows(along)
    rows.most[[0, -1]] = 1.0
    b = fastest(rows, guess(along)[0], 1e-5, lambda _: None)
    ours_ms = 1e3 * (time.perf_counter() - begin_s)
    theirs_s = float((2 * np.diff(along.at) / (speeds[:-1] + speeds[1:])).sum())
    return float(rows.lasts(b).sum()), theirs_s, ours_ms, theirs_ms


def tables() -> list[Table]:
    """Return this part of the benchmark."""
    return [moves(), peers()]
