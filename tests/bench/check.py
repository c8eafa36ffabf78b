"""How long the exact check of a move takes, compile included, beside sampling the same move at 1 kHz with numpy.

The move is that of the part `motion`: 16 axes of 1,000 keys, no two axes with a key at one instant.
"""

from functools import partial

import numpy as np

from sequencer.motion import asked
from sequencer.motion.check import Check, check
from sequencer.motion.compile import compile_move
from sequencer.motion.trajectory import Trajectory
from sequencer.score.laws.bezier import Bezier
from sequencer.score.move import Ease
from sequencer.shell.kinds import laws
from tests.bench.motion import AXES, FITTED, KEYS, POLYNOMIAL, RATE, RIG, best_ms, move
from tests.bench.table import Table

SMOOTH = (Ease("poly345"), Ease("poly4567"), Ease("cycloidal"), Ease("modified-sine"), Ease("modified-trapezoid"))
BEZIER = (Ease("bezier", Bezier((0.42, 0.0, 0.58, 1.0))),)
SAMPLES_HZ = 1000.0
_AT_ONCE = 65_536


def sampled(trajectory: Trajectory) -> np.ndarray:
    """Return the largest speed, acceleration and jerk of each axis among samples. Shape: (3, A)."""
    t_s = np.arange(trajectory.start_s, trajectory.end_s, 1 / SAMPLES_HZ)
    largest = np.zeros((3, AXES))
    # in parts that stay in a processor's own cache
    for part_s in np.array_split(t_s, len(t_s) // _AT_ONCE + 1):
        for order in (1, 2, 3):
            values = np.abs(trajectory.sample(part_s, order))
            np.maximum(largest[order - 1], values.max(axis=0), out=largest[order - 1])
    return largest


def missed(done: Check, samples: np.ndarray) -> str:
    """Return how much of an axis's true peak the samples do not see, at worst, where that is a finite number."""
    true = np.array([[one.value for one in (axis.speed, axis.acceleration, axis.jerk)] for axis in done.axes()]).T
    finite = np.isfinite(true) & (true > 0)
    return f"{((true - samples)[finite] / true[finite]).max() * 100:.2g} %"


def checking() -> Table:
    """Time the check of moves of several laws, and the samples that would see less."""
    kinds = laws()
    rows: list[tuple[str, ...]] = []
    for title, eases, times, bar in (
        ("hold, linear, poly345, trapezoid", POLYNOMIAL, 40, "16"),
        ("the same with harmonic and bezier", POLYNOMIAL + FITTED, 40, "16"),
        ("five laws of cams", SMOOTH, 40, "16"),
        ("bezier", BEZIER, 20, "16"),
        ("through (a program for each axis)", (Ease("through"),), 2, "none"),
    ):
        written = move(eases)
        work = partial(check, RIG, written, RATE, kinds)
        asked.of_curves.cache_clear()
        first_ms = best_ms(work, 1)
        whole_ms = best_ms(work, times)
        compiled_ms = best_ms(partial(compile_move, RIG, written, RATE, kinds), times)
        done = work()
        samples_ms = best_ms(partial(sampled, done.trajectory), 1)
        cells = (first_ms, whole_ms, compiled_ms)
        rows.append(
            (
                title,
                *(f"{ms:.1f}" for ms in cells),
                bar,
                f"{samples_ms:.0f}",
                f"{samples_ms / max(whole_ms - compiled_ms, 0.1):.0f}",
                missed(done, sampled(done.trajectory)),
            )
        )
    columns = ("laws", "first, ms", "check, ms", "of it compile, ms", "bar", "samples, ms", "times", "samples miss")
    return Table(
        f"Check {AXES} axes of {KEYS} keys, exactly and with samples at 1 kHz",
        columns,
        rows,
        "Shortest of several runs, compile included; `first` is the first run in a process, which also looks at each "
        "law's curve. `times` is how much longer the samples take than the check itself, both with the move compiled. "
        "What samples miss is of the true peak, at worst over the axes; where something jumps they see nothing of it.",
    )


def tables() -> list[Table]:
    """Return this part of the benchmark."""
    return [checking()]
