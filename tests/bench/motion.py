"""How long compiling a move and reading it take, in a tick and as a whole, beside scipy's piecewise polynomials.

The move is harder than any that is shot: 16 axes of 1,000 keys, no two axes with a key at one instant.
"""

import math
import time
from collections.abc import Callable, Sequence
from fractions import Fraction
from functools import partial

import numpy as np
from scipy.interpolate import PPoly

from sequencer.motion.compile import compile_move
from sequencer.motion.peaks import peaks
from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Axis, Rig
from sequencer.score.laws.bezier import Bezier
from sequencer.score.laws.trapezoid import Trapezoid
from sequencer.score.move import Ease, Key, Move, Track
from sequencer.shell.kinds import laws
from sequencer.timebase.rate import RATES
from tests.bench.table import Table

Reader = Callable[[float], tuple[object, object]]

AXES, KEYS = 16, 1000
RATE = RATES["25"]
TICK_S = 0.002
BATCH_S, BATCH_HZ = 600, 1000
POLYNOMIAL = (Ease("hold"), Ease("linear"), Ease("poly345"), Ease("trapezoid", Trapezoid(0.25)))
FITTED = (Ease("harmonic"), Ease("bezier", Bezier((0.42, 0.0, 0.58, 1.0))))
RIG = Rig(
    name="bench",
    axes=tuple(
        Axis(name=f"axis{number}", kind="pan", unit="deg", travel=None, speed=60.0, acceleration=120.0, jerk=600.0)
        for number in range(AXES)
    ),
)


def move(eases: Sequence[Ease], keys: int = KEYS, seed: int = 1) -> Move:
    """Return the move: keys 0.4 to 2 s apart on hundredths of a frame, each with an ease drawn from `eases`."""
    rng = np.random.default_rng(seed)
    tracks = []
    for name in RIG.names:
        at, value, own = 0, 0.0, []
        for _ in range(keys):
            drawn = eases[int(rng.integers(len(eases)))]
            # an ease of its own for each key, as a project file gives it
            own.append(Key(Fraction(at, 100), value, Ease(drawn.law, drawn.how)))
            at += int(rng.integers(1000, 5000))
            value += 0.0 if drawn.law == "hold" else float(rng.normal(0, 10))
        tracks.append(Track(name, tuple(own)))
    return Move(tracks=tuple(tracks))


def best_ms(work: Callable[[], object], times: int) -> float:
    """Return the shortest of several runs: what the work takes where nothing else wants the processor."""
    shortest = np.inf
    for _ in range(times):
        begin_ns = time.perf_counter_ns()
        work()
        shortest = min(shortest, time.perf_counter_ns() - begin_ns)
    return float(shortest) / 1e6


def ticks_us(read: Reader, at_s: Sequence[float]) -> np.ndarray:
    """Return how long each of a run of ticks takes, one after the other as in a take."""
    lasted = np.empty(len(at_s))
    for number, t_s in enumerate(at_s):
        begin_ns = time.perf_counter_ns()
        read(t_s)
        lasted[number] = (time.perf_counter_ns() - begin_ns) / 1e3
    return lasted


def compiling() -> Table:
    """Time the compiler and the exact check, on moves of ever harder laws."""
    kinds = laws()
    rows: list[tuple[str, ...]] = []
    for title, eases, times, bar in (
        ("hold, linear, poly345, trapezoid", POLYNOMIAL, 25, "16"),
        ("the same with harmonic and bezier", POLYNOMIAL + FITTED, 25, "16"),
        ("through (a program for each axis)", (Ease("through"),), 3, "none"),
    ):
        written = move(eases)
        trajectory = compile_move(RIG, written, RATE, kinds)
        compiled_ms = best_ms(partial(compile_move, RIG, written, RATE, kinds), times)
        checked_ms = best_ms(partial(peaks, trajectory, RIG), 3)
        rows.append((title, str(len(trajectory.from_s)), f"{compiled_ms:.1f}", bar, f"{checked_ms:.0f}"))
    return Table(
        f"Compile {AXES} axes of {KEYS} keys",
        ("laws", "pieces", "compile, ms", "bar", "exact peaks, ms"),
        rows,
        "Shortest of several runs. Faults of the move are looked for in the same time.",
    )


def reading() -> Table:
    """Time one tick, position and speed of all axes, beside scipy at the same instants."""
    rows: list[tuple[str, ...]] = []
    for title, eases in (("polynomial laws", POLYNOMIAL), ("all laws", POLYNOMIAL + FITTED)):
        trajectory = compile_move(RIG, move(eases), RATE, laws())
        at_s = (np.arange(10.0, 40.0, TICK_S)).tolist()
        each, stacked = _scipys(trajectory)
        for who, read, bar in (
            ("Trajectory.at", trajectory.at, "5"),
            ("16 scipy PPoly, two calls each", each, ""),
            ("one stacked scipy PPoly, two calls", stacked, ""),
        ):
            lasted = ticks_us(read, at_s)
            rows.append(
                (
                    f"{title}, {len(trajectory.coeffs)} coefficients",
                    who,
                    f"{np.median(lasted):.1f}",
                    f"{lasted.mean():.1f}",
                    f"{np.percentile(lasted, 99):.1f}",
                    bar,
                )
            )
    return Table(
        f"One tick of {AXES} axes of {KEYS} keys, at {1 / TICK_S:.0f} Hz",
        ("move", "who", "median, us", "mean, us", "p99, us", "bar (median)"),
        rows,
        "A tick in which an axis enters its next piece takes longer: here that is one in 25, or one in six with the "
        "fitted laws. The stacked PPoly needs all axes cut at each other's breaks; making it is not in its time.",
    )


def batch() -> Table:
    """Time ten minutes of all axes at once, position only, beside a scipy PPoly for each axis on the same pieces."""
    rows: list[tuple[str, ...]] = []
    t_s = 10.0 + np.arange(BATCH_S * BATCH_HZ) / BATCH_HZ
    for title, eases in (("polynomial laws", POLYNOMIAL), ("all laws", POLYNOMIAL + FITTED)):
        trajectory = compile_move(RIG, move(eases), RATE, laws())
        curves = [PPoly(coeffs, breaks_s) for breaks_s, coeffs in map(trajectory.of, range(AXES))]
        for ours, curve in zip(trajectory.sample(t_s).T, curves, strict=True):
            if not np.allclose(ours, curve(t_s), rtol=1e-12, atol=1e-9):
                raise AssertionError("scipy's curve differs")
        ours_ms = theirs_ms = np.inf
        for _ in range(7):  # in turn, so that both meet what else the machine does
            ours_ms = min(ours_ms, best_ms(partial(trajectory.sample, t_s), 1))
            theirs_ms = min(theirs_ms, best_ms(partial(_each, curves, t_s), 1))
        pieces = sum(np.count_nonzero((curve.x >= t_s[0]) & (curve.x < t_s[-1])) for curve in curves)
        rows.append(
            (
                f"{title}, {len(trajectory.coeffs)} coefficients",
                f"{pieces / AXES:.0f}",
                f"{ours_ms:.0f}",
                f"{theirs_ms:.0f}",
                f"{ours_ms / theirs_ms:.2f}",
                "0.9",
            )
        )
    return Table(
        f"{BATCH_S / 60:.0f} minutes of {AXES} axes at {BATCH_HZ} Hz",
        ("move", "pieces an axis", "Trajectory.sample, ms", "scipy PPoly an axis, ms", "ratio", "bar"),
        rows,
        "Shortest of seven runs of each, in turn.",
    )


def _each(curves: Sequence[PPoly], t_s: np.ndarray) -> list[object]:
    return [curve(t_s) for curve in curves]


def _scipys(trajectory: Trajectory) -> tuple[Reader, Reader]:
    """Return readers of the same curves: a PPoly for each axis, and one for all over common breaks."""
    curves = [PPoly(coeffs, breaks_s) for breaks_s, coeffs in map(trajectory.of, range(AXES))]
    speeds = [curve.derivative() for curve in curves]
    breaks_s = np.unique(np.concatenate([curve.x for curve in curves]))
    breaks_s = breaks_s[breaks_s < 60.0]  # more than is read, and all that memory should hold of it
    cut = np.empty((len(trajectory.coeffs), len(breaks_s) - 1, AXES))
    for order in range(len(cut)):
        cut[-1 - order] = trajectory.sample(breaks_s[:-1], order) / math.factorial(order)
    stacked = PPoly(cut, breaks_s)
    speed = stacked.derivative()

    def read_each(t_s: float) -> tuple[object, object]:
        return [curve(t_s) for curve in curves], [curve(t_s) for curve in speeds]

    def read_stacked(t_s: float) -> tuple[object, object]:
        return stacked(t_s), speed(t_s)

    _same(trajectory, read_stacked)
    return read_each, read_stacked


def _same(trajectory: Trajectory, read: Reader) -> None:
    """Make sure that what is compared is the same curve."""
    for t_s in (11.0, 23.4567, 39.9):
        for ours, theirs in zip(trajectory.at(t_s), read(t_s), strict=True):
            if not np.allclose(np.asarray(ours), np.asarray(theirs), rtol=1e-6, atol=1e-6):
                raise AssertionError(f"scipy's curve differs at {t_s} s")


def tables() -> list[Table]:
    """Return this part of the benchmark."""
    return [compiling(), reading(), batch()]
