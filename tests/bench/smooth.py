"""How long smoothing takes, how near it is to an independent solver's answer, and whether it keeps what it promises.

Tracks are those of tests/motion/machines.py. The limits are a part of what the least-jerk curve without limits asks,
so that they bind. The peer is Clarabel, on the very programs that the repair sets up, with all their rows.
"""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial
from itertools import pairwise

import clarabel
import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.interpolate import PPoly, make_interp_spline

from sequencer.motion import program
from sequencer.motion.compile import compile_move
from sequencer.motion.extremes import Extremes
from sequencer.motion.peaks import peaks
from sequencer.motion.repair.outcome import Repaired
from sequencer.motion.repair.run import Refused, Run, Solved, solved, windowed
from sequencer.motion.repair.smooth import smooth
from sequencer.motion.through import smooth_run
from sequencer.rig.axis import Axis, Rig
from sequencer.score.move import Move
from tests.bench.motion import best_ms
from tests.bench.table import Table
from tests.motion.machines import LAWS, SECONDS, seeded_keys, track

Floats = NDArray[np.float64]

FREELY = np.array([np.inf, 1e30, 1e30, 1e30])
KINDS = ("beats", "uneven", "one way", "holds")
PART = 0.97
BUSY = np.array([1.0, 1.0, 1.0, 0.97])


@dataclass(frozen=True, slots=True, eq=False)
class Program:
    """One quadratic program that the repair set up, its answer, and how long that took."""

    cost: program.Matrix
    pull: Floats
    rows: program.Matrix
    low: Floats
    high: Floats
    answer: Floats
    took_ms: float


@contextmanager
def noted() -> Iterator[list[Program]]:
    """Note every program that is solved while the block runs, each with all its rows."""
    solve, near, programs = program.solve, program._NEAR, list[Program]()

    def noting(
        cost: program.Matrix,
        pull: Floats,
        rows: program.Matrix,
        between: tuple[Floats | None, Floats | None],
        bounds: Floats | None = None,
        *,
        roughly: bool = False,
    ) -> Floats:
        begin_ns = time.perf_counter_ns()
        answer = solve(cost, pull, rows, between, bounds, roughly=roughly)
        took_ms = (time.perf_counter_ns() - begin_ns) / 1e6
        assert between[0] is not None
        assert between[1] is not None
        programs.append(Program(cost, pull, rows, between[0], between[1], answer, took_ms))
        return answer

    program.solve, program._NEAR = noting, (np.inf,)
    try:
        yield programs
    finally:
        program.solve, program._NEAR = solve, near


def clarabels(one: Program) -> tuple[Floats, float]:
    """Return the peer's answer, and how long it took, in ms."""
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    settings.tol_gap_abs = settings.tol_gap_rel = settings.tol_feas = 1e-10
    begin_ns = time.perf_counter_ns()
    both = sparse.vstack([one.rows, -one.rows]).tocsc()
    sides = np.concatenate([one.high, -one.low])
    upper = sparse.triu(one.cost).tocsc()
    cones = [clarabel.NonnegativeConeT(len(sides))]
    answer = clarabel.DefaultSolver(upper, one.pull, both, sides, cones, settings).solve()
    took_ms = (time.perf_counter_ns() - begin_ns) / 1e6
    assert str(answer.status) in ("Solved", "AlmostSolved"), answer.status
    return np.array(answer.x), took_ms


def asked(run: Run) -> Floats:
    """Return what the curve without limits asks at most, behind a travel without end. Shape: (4,)."""
    found = solved(run, -FREELY, FREELY)
    width_s = found.chain.width * found.chain.pace_s
    each = np.arange(len(width_s) + 1)
    extremes = Extremes.of(found.chain.since_s[:-1], width_s, found.chain.coeffs(found.state), each)
    return np.append(np.inf, extremes.peak.max(axis=1))


def runs(kind: str, keys: int, axes: int, overshoot: bool = True) -> list[tuple[Run, Floats]]:
    """Return seeded runs and the limits that each must keep, those left out that no curve keeps.

    On a `busy` track every leg is at its limit of jerk.
    """
    found: list[tuple[Run, Floats]] = []
    seed = 0
    while len(found) < axes:
        seed += 1
        at_s, values = seeded_keys(kind, seed, keys) if kind != "busy" else busy(seed, keys)
        run = Run(lasts_s=np.diff(at_s), values=values, overshoot=overshoot)
        high = asked(run) * (PART if kind != "busy" else BUSY)
        try:
            solved(run, -high, high)
        except Refused:
            continue
        found.append((run, high))
    return found


def busy(seed: int, keys: int) -> tuple[Floats, Floats]:
    """Return a track whose legs all ask the same: to and fro, a second each way; less at both ends, where it rests."""
    number = np.arange(keys)
    way = 10.0 * np.clip(np.minimum(number, keys - 1 - number) / 10, 0, 1)
    return number.astype(float), way * (-1.0) ** number + np.random.default_rng(seed).uniform(-0.05, 0.05, keys)


def solve_all(each: list[tuple[Run, Floats]]) -> list[Solved]:
    return [solved(run, -high, high) for run, high in each]


def _cost(found: Solved) -> float:
    x = found.chain.variables(found.state)
    return float(x @ found.chain.slope(x, found.chain.cost()))


def _form(one: Program, step: Floats) -> float:
    """Return what a step costs: twice what the program makes least."""
    own = one.cost.tocoo()
    return float((own.data * step[own.row] * step[own.col]).sum() + 2 * one.pull @ step)


def solving() -> Table:
    """Time whole runs, the exact check included, and hold their cost against the peer's on the same programs."""
    rows = []
    for kind, keys, axes, bar, overshoot in (
        ("beats", 10, 1, "10", True),
        ("beats", 100, 1, "", True),
        ("beats", 1000, 1, "", True),
        ("beats", 1000, 16, "500", True),
        ("busy", 1000, 1, "", True),
        ("beats", 10, 1, "", False),
        ("beats", 1000, 1, "", False),
    ):
        each = runs(kind, keys, axes, overshoot)
        took_ms = best_ms(partial(solve_all, each), 5 if axes == 1 else 2)
        ours_ms = theirs_ms = apart = 0.0
        answers = []
        for run, high in each:
            # without limits; what the steps from there cost comes on top of it
            least = _cost(solved(replace(run, overshoot=True), -FREELY, FREELY))
            with noted() as programs:
                answers.append(solved(run, -high, high))
            # the repair itself leaves out rows that do not bind
            apart = max(apart, abs(_cost(solved(run, -high, high)) / _cost(answers[-1]) - 1))
            for one in programs:
                x, took = clarabels(one)
                ours, theirs = (least + _form(one, step) for step in (one.answer, x))
                apart = max(apart, abs(ours / theirs - 1))
                ours_ms, theirs_ms = ours_ms + one.took_ms, theirs_ms + took
        hot = sum(int(answer.hot.sum()) for answer in answers)
        rows.append(
            (
                f"{kind}, {keys} keys, {axes} axes{'' if overshoot else ', no overshoot'}",
                str(hot),
                f"{took_ms:.1f}",
                bar,
                f"{ours_ms:.1f}",
                f"{theirs_ms:.1f}",
                f"{apart:.0e}",
                "1e-06",
            )
        )
    head = ("runs", "legs at limits", "solved, ms", "bar", "PIQP, ms", "Clarabel, ms", "cost apart", "bar")
    return Table(
        "Smooth: solving runs within limits", head, rows, "Every round, and the proof by exact extremes, is in it."
    )


def repairing() -> Table:
    """Time the whole repair, from one move to the next: faults, both compilations and checks are in it."""
    rows = []
    for keys, axes in ((10, 1), (100, 1), (1000, 16)):
        rig, move = _machine(runs("beats", keys, axes))
        took_ms = best_ms(partial(smooth, rig, move, SECONDS, LAWS), 3 if axes == 1 else 1)
        answer = smooth(rig, move, SECONDS, LAWS)
        assert isinstance(answer, Repaired)
        rows.append((f"{keys} keys, {axes} axes", f"{took_ms:.1f}", f"{_worst(rig, answer.move):.0e}", "1e-09"))
    return Table("Smooth: the whole repair", ("move", "ms", "beyond a limit, exact and at 10 kHz", "bar"), rows)


def _machine(each: list[tuple[Run, Floats]]) -> tuple[Rig, Move]:
    names = [f"pan{number}" for number in range(len(each))]
    axes = tuple(
        Axis(name=name, kind="pan", unit="deg", travel=None, speed=high[1], acceleration=high[2], jerk=high[3])
        for name, (_, high) in zip(names, each, strict=True)
    )
    tracks = []
    for name, (run, _) in zip(names, each, strict=True):
        at = [Fraction(round(t_s * 1000), 1000) for t_s in np.append(0.0, np.cumsum(run.lasts_s)).tolist()]
        tracks.append(track(at, run.values.tolist(), "poly345", name))
    return Rig(name="bench", axes=axes), Move(tracks=tuple(tracks))


def _worst(rig: Rig, move: Move) -> float:
    """Return by how much a limit is broken at most, in parts of it: by exact extremes, and by samples at 10 kHz."""
    trajectory = compile_move(rig, move, SECONDS, LAWS)
    worst = -np.inf
    for number, (axis, peak) in enumerate(zip(rig.axes, peaks(trajectory, rig), strict=True)):
        breaks_s, coeffs = trajectory.of(number)
        curve = PPoly(coeffs, breaks_s)
        for order, exact, limit in (
            (1, peak.speed.value, axis.speed),
            (2, peak.acceleration.value, axis.acceleration),
            (3, peak.jerk.value, axis.jerk),
        ):
            sampled = [np.abs(curve(t_s, order)).max() for t_s in _ten_khz(breaks_s[0], min(breaks_s[-1], 120.0))]
            worst = max(worst, exact / limit - 1, max(sampled) / limit - 1)
    return worst


def _ten_khz(begin_s: float, end_s: float) -> Iterator[Floats]:
    edges = np.linspace(begin_s, end_s, max(2, int((end_s - begin_s) / 10) + 1))
    for low_s, high_s in pairwise(edges):
        yield np.arange(low_s, high_s, 1e-4)


def dragging() -> Table:
    """Time the window that is solved while a key is dragged, and hold it against the whole run."""
    rows = []
    for kind in ("beats", "busy"):
        ((run, high),) = runs(kind, 1000, 1)
        before = solved(run, -high, high)
        values = run.values.copy()
        values[500] += 0.02 * (values[501] - values[500])
        after = Run(lasts_s=run.lasts_s, values=values)
        took_ms = best_ms(partial(windowed, before, after, 500, -high, high), 10)
        part, whole = windowed(before, after, 500, -high, high), solved(after, -high, high)
        t_s = np.linspace(0, whole.chain.since_s[-1], 200_001)[:-1]
        apart = np.abs(_sampled(part, t_s) - _sampled(whole, t_s)).max() / np.ptp(values)
        rows.append((kind, f"{took_ms:.1f}", "10", f"{apart:.0e}", "1e-06"))
    head = ("track of 1,000 keys", "window of 24 keys each side, ms", "bar", "from the whole run, of its range", "bar")
    return Table("Smooth: while one key is dragged", head, rows)


def _sampled(found: Solved, t_s: Floats) -> Floats:
    sampled: Floats = PPoly(found.chain.coeffs(found.state), found.chain.since_s)(t_s)
    return sampled


def unlimited() -> Table:
    """Hold the curve without limits against scipy's quintic spline."""
    rows = []
    rest = [(1, 0.0), (2, 0.0)]
    for keys in (10, 100, 1000):
        at_s, values = seeded_keys("beats", 1, keys)
        run = Run(lasts_s=np.diff(at_s), values=values)
        ours_ms = best_ms(partial(solved, run, -FREELY, FREELY), 5)
        peer = partial(make_interp_spline, at_s, values, k=5, bc_type=(rest, rest))
        t_s = np.linspace(0, at_s[-1] - at_s[0], 20_001)[:-1]
        apart = np.abs(_sampled(solved(run, -FREELY, FREELY), t_s) - peer()(t_s + at_s[0])).max() / np.ptp(values)
        rows.append((str(keys), f"{ours_ms:.2f}", f"{best_ms(peer, 5):.2f}", f"{apart:.0e}", "1e-09"))
    return Table("Smooth without limits", ("keys", "ms", "scipy, ms", "apart, of the range", "bar"), rows)


def passing() -> Table:
    """Solve the default smooth run on a hundred tracks of each kind, and look for overshoot by exact extremes."""
    rows = []
    for kind in KINDS:
        done, worst, took_ns = 0, 0.0, 0
        for seed in range(100):
            at_s, values = seeded_keys(kind, seed)
            moving = np.diff(values) != 0
            edges = np.flatnonzero(np.diff(moving, prepend=False, append=False)).reshape(-1, 2)
            begin_ns = time.perf_counter_ns()
            try:
                found = [smooth_run(at_s[a : b + 1], values[a : b + 1]) for a, b in edges.tolist()]
            except program.Unsolved:
                continue
            took_ns += time.perf_counter_ns() - begin_ns
            done += 1
            for (a, b), (breaks_s, coeffs) in zip(edges.tolist(), found, strict=True):
                for leg in range(a, b):
                    own = PPoly(
                        coeffs[:, 2 * (leg - a) : 2 * (leg - a) + 2], breaks_s[2 * (leg - a) : 2 * (leg - a) + 3]
                    )
                    at = np.concatenate((own.derivative().roots(extrapolate=False), breaks_s[2 * (leg - a) :][:3]))
                    inside = own(at[np.isfinite(at)])
                    low, high = sorted(values[leg : leg + 2])
                    worst = max(worst, float(np.max([low - inside.min(), inside.max() - high])) / float(np.ptp(values)))
        rows.append((kind, f"{done} of 100", f"{worst:.0e}", "1e-09", f"{took_ns / 1e8:.1f}"))
    head = ("kind", "solved", "overshoot, of the range", "bar", "ms a track of 20 keys")
    return Table("Smooth runs without overshoot, exact", head, rows)


def tables() -> list[Table]:
    return [solving(), repairing(), dragging(), unlimited(), passing()]
