"""What is offered where smoothing is impossible, beside proven lower bounds and brute force.

The tracks are the study's: ten keys, limits 10 % under the least that a curve was found for.
"""

from functools import lru_cache, partial

import numpy as np

from sequencer.motion.repair.certificate import explain
from sequencer.motion.repair.least_values import least_values
from sequencer.motion.repair.outcome import Impossible
from sequencer.motion.repair.proof import Wanted, recheck
from sequencer.motion.repair.relaxation import Aim, prove, relaxed
from sequencer.score.move import Move
from tests.bench.motion import best_ms
from tests.bench.table import Table
from tests.motion.machines import LAWS, SECONDS
from tests.motion.repair.test_least_times import possible
from tests.motion.repair.tight import machine, tight, written

SEEDS = (1, 2, 3, 4)
# of a finer program than the repair's own
PROOF_PIECES = 32
_STEP_S, _MOST_S, _CLOSE = 0.04, 0.28, 1e-3


def values() -> Table:
    """Compare what the offered moves of values cost, curves solved, with what is proven that they must cost."""
    rows = []
    for seed in SEEDS:
        wanted = tight(seed)
        total, largest, _ = offered(wanted)
        offers: tuple[tuple[Aim, Move], ...] = (("total", total), ("largest", largest))
        for aim, move in offers:
            moves = np.abs([key.value for key in move.tracks[0].keys] - np.array(wanted.values))
            verdict = recheck(wanted, relaxed(wanted, PROOF_PIECES, aim))
            least = verdict.least_total(wanted.fixed) if aim == "total" else verdict.least_largest(wanted.fixed)
            found, proven = float(moves.sum() if aim == "total" else moves.max()), float(least or 0)
            rows.append(
                (
                    str(seed),
                    aim,
                    str(int((moves > 0).sum())),
                    f"{found:.4f}",
                    f"{proven:.4f}",
                    f"{found / proven:.4f}",
                    "1.02",
                    f"{best_ms(partial(least_values, wanted, (), aim), 3):.0f}",
                    f"{best_ms(partial(prove, wanted, aim), 3):.0f}",
                )
            )
    return Table(
        "Least moves of values as offered, their curves solved, beside what is proven necessary",
        ("track", "least", "keys moved", "deg", "proven, deg", "ratio", "bar", "program, ms", "proof, ms"),
        rows,
        "The bound is checked in exact fractions, without a solver; checking is in the proof's time.",
    )


def times() -> Table:
    """Compare offered moves of times with the best move of a single key, found by trying all of them."""
    rows = []
    for seed in SEEDS:
        wanted = tight(seed)
        at_s = np.array([float(at) for at in wanted.at])
        moves = np.abs([float(key.at) for key in offered(wanted)[2].tracks[0].keys] - at_s)
        best_s = brute_s(wanted, at_s)
        rows.append(
            (
                str(seed),
                str(int((moves > 1e-6).sum())),
                f"{moves.sum():.4f}",
                f"{best_s:.4f}" if np.isfinite(best_s) else "no single key works",
                f"{moves.sum() / best_s:.4f}" if np.isfinite(best_s) else "",
                "1.01",
                f"{best_ms(partial(_explained, wanted), 1):.0f}",
            )
        )
    return Table(
        "Small moves of times as offered, their curves solved, beside brute force over single keys",
        ("track", "keys moved", "s", "brute force, s", "ratio", "bar", "all reasons and offers, ms"),
        rows,
        f"Brute force tries every key both ways in steps of {_STEP_S} s to {_MOST_S} s, then bisects. "
        "The last column has all proofs, three offers, and their curves solved.",
    )


def brute_s(wanted: Wanted, at_s: np.ndarray) -> float:
    """Return the smallest move of a single key that is enough, infinite where none is."""
    best = np.inf
    for key in range(len(at_s)):
        for way in (-1, 1):
            for size in np.arange(_STEP_S, min(_MOST_S, best) + _STEP_S, _STEP_S).tolist():
                if _one(wanted, at_s, key, way * size):
                    low, high = size - _STEP_S, size
                    while high - low > _CLOSE * high:
                        middle = (low + high) / 2
                        low, high = (low, middle) if _one(wanted, at_s, key, way * middle) else (middle, high)
                    best = min(best, high)
                    break
    return float(best)


def _one(wanted: Wanted, at_s: np.ndarray, key: int, by_s: float) -> bool:
    moved = at_s.copy()
    moved[key] += by_s
    return bool((np.diff(moved) > _STEP_S).all()) and possible(wanted, moved)


@lru_cache
def offered(wanted: Wanted) -> tuple[Move, Move, Move]:
    """Return the moves that are offered: of values with the least total and the least largest, and of times."""
    total, largest, times = (offer.move for offer in _explained(wanted).offers)
    return total, largest, times


def _explained(wanted: Wanted) -> Impossible:
    legs = range(len(wanted.at) - 1)
    return explain(machine(wanted), written(wanted), SECONDS, LAWS, 0, 0, len(wanted.at) - 1, legs)


def tables() -> list[Table]:
    """Return this part of the benchmark."""
    return [values(), times()]
