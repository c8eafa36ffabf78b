"""The earliest along a path: how long the move lasts and how long the answer takes, beside toppra and ruckig.

Tracks are the study's, keys on half seconds, all axes with their keys at the same instants: smooth runs, which never
overshoot and are therefore slow near many keys, and the least-jerk spline through the same keys, which overshoots.
"""

import logging
import time

import numpy as np
import toppra
from numpy.typing import NDArray
from ruckig import InputParameter, Ruckig
from ruckig import Trajectory as Profile
from scipy.interpolate import make_interp_spline
from toppra import algorithm, constraint

from sequencer.motion.compile import compile_legs, compile_move
from sequencer.motion.legs import legs
from sequencer.motion.peaks import peaks
from sequencer.motion.repair.banded import Rows, fastest
from sequencer.motion.repair.earliest import earliest
from sequencer.motion.repair.outcome import Repaired
from sequencer.motion.repair.pathgrid import Part, evened, parts_of, path_of
from sequencer.motion.repair.pathspeed import Path, acceleration_rows, guess, lasts, least_time
from sequencer.motion.repair.written import drawn
from sequencer.rig.axis import Axis, Rig
from sequencer.score.move import Ease, Key, Move, Track
from sequencer.shell.kinds import laws
from sequencer.timebase.rate import Rate
from tests.bench.table import Table
from tests.motion.repair.turns import best_of_ruckigs, turns_of

Floats = NDArray[np.float64]

SPEED, ACCELERATION, JERK = 60.0, 120.0, 600.0
SECONDS = Rate(1)
SIZES = ((10, 1), (10, 16), (100, 1), (100, 16), (1000, 1), (1000, 16))
FINER = 4
MOST_NODES_OF_PEERS = 10_000
MOST_OF_SPLINES = 1_600


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


def splines(keys: int, axes: int, seed: int = 1) -> Move:
    """Return the least-jerk splines through the same keys, from rest to rest."""
    tracks = []
    for track in beats(keys, axes, seed).tracks:
        at_s = np.array([float(key.at) for key in track.keys])
        rest = [(1, 0.0), (2, 0.0)]
        curve = make_interp_spline(at_s, [key.value for key in track.keys], k=5, bc_type=(rest, rest))  # type: ignore[arg-type]  # scipy's types leave pairs out
        state = np.stack([curve(at_s, order) for order in range(3)], axis=1)
        tracks.append(drawn(track, 0, keys - 1, at_s, at_s, state))
    return Move(tracks=tuple(tracks))


def grid_of(machine: Rig, move: Move, finer: int = 1) -> Path:
    """Return the derivatives of a path on the grid that several axes are solved on, each stretch cut `finer`."""
    whole = legs(machine, move, SECONDS, laws())
    path = compile_legs(machine, whole)
    parts = parts_of(machine, whole, path)
    rough = path_of(machine, path, parts)
    parts = evened(path, parts, lasts(rough, least_time(rough, accuracy=0.05)))
    fine = []
    for part in parts:
        place = np.arange(len(part.at_s))
        at_s = np.interp(np.arange(finer * (len(place) - 1) + 1) / finer, place, part.at_s)
        fine.append(Part(at_s, np.zeros(len(at_s), np.bool_)))
    return path_of(machine, path, fine)


def without_jerk(machine: Rig, move: Move) -> float:
    """Return the least time within speed and acceleration alone: exact for one axis, else on the grid."""
    if len(machine.axes) > 1:
        along = grid_of(machine, move)
        return float(acceleration_rows(along).lasts(_fastest(along)).sum())
    way, ramps = np.abs(np.diff(_turns(machine, move))), SPEED**2 / ACCELERATION
    return float(np.where(way < ramps, 2 * np.sqrt(way / ACCELERATION), way / SPEED + SPEED / ACCELERATION).sum())


def _turns(machine: Rig, move: Move) -> Floats:
    path = compile_move(machine, move, SECONDS, laws())
    place = path.sample(np.linspace(path.start_s, path.end_s, 200_001))[:, 0]
    # what trembles in the last digits does not turn
    return turns_of(np.round(place, 7))


def _fastest(along: Path) -> Floats:
    """Return b at the nodes within speed and acceleration. Shape: (N,)."""
    start = np.delete(guess(along)[0], along.first + np.arange(len(along.first)))
    return fastest(acceleration_rows(along), start, 1e-4, lambda _: None)


def moves() -> Table:
    """Shorten moves of growing size."""
    rows: list[tuple[str, ...]] = []
    for keys, axes in SIZES:
        for kind, make in (("run", beats), ("spline", splines)):
            if kind == "spline" and keys * axes > MOST_OF_SPLINES:
                continue
            rows.append((f"{keys} / {axes} {kind}", *_shortened(rig(axes), make(keys, axes), keys)))
    return Table(
        "Earliest along the path, with jerk",
        ("keys / axes", "time after / before", "/ without jerk", "bar", "peak / limit - 1", "bar", "CPU s", "bar"),
        rows,
        "Without jerk: the same path within speed and acceleration alone, which no motor with a jerk limit can run; "
        "for one axis exact, by its turns.",
    )


def _shortened(machine: Rig, move: Move, keys: int) -> tuple[str, ...]:
    begin_s = time.process_time()
    found = earliest(machine, move, SECONDS, laws())
    took_s = time.process_time() - begin_s
    if not isinstance(found, Repaired):
        raise AssertionError(found.reasons[0].words)
    after, path = (compile_move(machine, each, SECONDS, laws()) for each in (found.move, move))
    before_s, after_s = path.end_s - path.start_s, after.end_s - after.start_s
    most = max(
        max(each.speed.value / SPEED, each.acceleration.value / ACCELERATION, each.jerk.value / JERK)
        for each in peaks(after, machine)
    )
    return (
        f"{after_s / before_s:.4f}",
        f"{after_s / without_jerk(machine, move):.4f}",
        "1.10",
        f"{most - 1:.0e}",
        "1e-09",
        f"{took_s:.2f}",
        {10: "0.1", 100: "1"}.get(keys, "5 (aim)"),
    )


def peers() -> Table:
    """Compare with toppra on the same grid, and with ruckig on a straight line."""
    logging.getLogger("toppra").setLevel(logging.ERROR)
    rows: list[tuple[str, ...]] = []
    # splines: a run that rests in between has a singular path there, for which toppra finds little or nothing
    for keys, axes in ((10, 1), (10, 16), (100, 16)):
        machine, move = rig(axes), splines(keys, axes)
        along = grid_of(machine, move, FINER if axes > 1 else 1)
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
    rows += _beside_ruckig()
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


def _beside_ruckig() -> list[tuple[str, ...]]:
    """Return rows of one axis through its turns."""
    rows: list[tuple[str, ...]] = []
    for kind, make in (("run", beats), ("spline", splines)):
        for keys in (10, 100):
            machine, move = rig(1), make(keys, 1)
            begin_s = time.perf_counter()
            found = earliest(machine, move, SECONDS, laws())
            took_ms = 1e3 * (time.perf_counter() - begin_s)
            if not isinstance(found, Repaired):
                raise AssertionError(found.reasons[0].words)
            begin_s = time.perf_counter()
            best_s = best_of_ruckigs(_turns(machine, move), np.array([SPEED, ACCELERATION, JERK]))
            theirs_ms = 1e3 * (time.perf_counter() - begin_s)
            ratio = float(found.move.tracks[0].keys[-1].at) / best_s
            who = "ruckig, turn to turn"
            rows.append(
                (f"{keys} / 1 {kind}, jerk too", who, f"{ratio:.6f}", "1.005", f"{took_ms:.0f}", f"{theirs_ms:.0f}")
            )
    return rows


def _beside_toppra(along: Path) -> tuple[float, float, float, float]:
    """Return the time along the path, ours and toppra's, and what it takes to find each."""

    class Curve(toppra.interpolator.AbstractGeometricPath):  # type: ignore[misc]  # toppra has no types
        dof = along.slope.shape[1]
        path_interval = (along.at[0], along.at[-1])

        def __call__(self, u: Floats, order: int = 0) -> Floats:
            if order == 0:
                return np.zeros((*np.shape(u), self.dof))
            which = (along.slope, along.bend)[order - 1]
            nodes = np.concatenate((which[0], which[-1][:, -1:]), axis=1)
            return np.asarray(nodes[:, np.searchsorted(along.at, u)].T, np.float64)

    either_way = np.tile([[-1.0, 1.0]], (along.slope.shape[1], 1))
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
    b = fastest(rows, guess(along)[0][1:], 1e-5, lambda _: None)
    ours_ms = 1e3 * (time.perf_counter() - begin_s)
    theirs_s = float((2 * np.diff(along.at) / (speeds[:-1] + speeds[1:])).sum())
    return float(rows.lasts(b).sum()), theirs_s, ours_ms, theirs_ms


def tables() -> list[Table]:
    """Return this part of the benchmark."""
    return [moves(), peers()]
