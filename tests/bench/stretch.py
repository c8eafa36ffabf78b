"""How much longer a move becomes when it is stretched, smoothed at the same time or spread between pins, and how fast.

The limits are those of the study of trajectories: 10 % under the smallest part of a track's own peaks at which some
curve through its keys keeps them.
"""

import time
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from functools import partial
from typing import Any, TypeVar

import numpy as np
from scipy.interpolate import make_interp_spline

from sequencer.motion.compile import compile_move
from sequencer.motion.peaks import Peak, peaks
from sequencer.motion.repair.outcome import Repaired, Unrepaired
from sequencer.motion.repair.smooth import smooth
from sequencer.motion.repair.soften import soften
from sequencer.motion.repair.spread import spread
from sequencer.motion.repair.stretch import stretch, stretch_and_smooth
from sequencer.motion.repair.written import drawn
from sequencer.motion.thin import thin
from sequencer.rig.axis import Rig
from sequencer.score.edits.selection import everything
from sequencer.score.move import Move
from tests.bench.table import Table
from tests.motion.machines import LAWS, SECONDS, rig, seeded_keys, track
from tests.motion.repair.limits import RATE, hasty, most

SEEDS = range(1, 9)
UNDER = 0.9
FINE = 5e-4


def smoothest(seed: int) -> Move:
    """Return ten keys on beats, and the smoothest curve through them that no limit bends (scipy's quintic spline)."""
    at_s, values = seeded_keys("beats", seed, 10)
    rest: Any = [(1, 0.0), (2, 0.0)]
    curve = make_interp_spline(at_s, values, k=5, bc_type=(rest, rest))
    state = np.stack([curve(at_s, order) for order in range(3)], axis=1)
    keys = track([Fraction(round(1000 * when), 1000) for when in at_s], values.tolist(), "poly345")
    return Move(tracks=(drawn(keys, 0, len(at_s) - 1, at_s, at_s, state),))


def limited(peak: Peak, part: float) -> Rig:
    """Return a rig whose limits are this part of what the curve asks for."""
    limits = {name: getattr(peak, name).value * part for name in ("speed", "acceleration", "jerk")}
    return Rig(name="bench", axes=(replace(rig().axes[0], **limits),))


def edge(move: Move, peak: Peak) -> float:
    """Return the smallest part of its peaks at which the move can be smoothed, by bisection."""
    low, high = 0.3, 1.0
    while high - low > FINE:
        part = (low + high) / 2
        try:
            found = isinstance(smooth(limited(peak, part), move, SECONDS, LAWS), Repaired)
        except Unrepaired:
            found = False
        low, high = (low, part) if found else (part, high)
    return high


Answer = TypeVar("Answer")


def timed(work: Callable[[], Answer]) -> tuple[Answer, float]:
    """Return what came of it, and how many milliseconds it took."""
    begin_ns = time.perf_counter_ns()
    answer = work()
    return answer, (time.perf_counter_ns() - begin_ns) / 1e6


def factors() -> Table:
    """Stretch as drawn, and with smoothing, under limits that no curve keeps at the keys' own times."""
    rows: list[tuple[str, ...]] = []
    for seed in SEEDS:
        move = smoothest(seed)
        (peak,) = peaks(compile_move(rig(), move, SECONDS, LAWS), rig())
        machine = limited(peak, UNDER * edge(move, peak))
        solve = partial(smooth, machine, rate=SECONDS, laws=LAWS)
        both = partial(stretch_and_smooth, machine, move, SECONDS, LAWS, solve)
        answers = [timed(partial(stretch, machine, move, SECONDS, LAWS)), timed(both)]
        cells = [str(seed)]
        for (answer, lasted_ms), bar in zip(answers, ("none", "1.10"), strict=True):
            assert isinstance(answer, Repaired)
            longer = answer.move.tracks[0].keys[-1].at / move.tracks[0].keys[-1].at
            cells += [f"{float(longer):.3f}", bar, f"{lasted_ms:.0f}"]
        rows.append(tuple(cells))
    return Table(
        "Stretch: ten keys on beats, limits 10 % under the edge of what can be",
        ("seed", "as drawn", "bar", "ms", "and smooth", "bar", "ms"),
        rows,
        "Where the speed limit alone is the edge, 1/0.9 = 1.111 is the least for any curve; where jerk is, 1.036.",
    )


def sizes() -> Table:
    """Time the repairs that solve for times and laws, on ever larger moves."""
    rows: list[tuple[str, ...]] = []
    for axes, keys in ((1, 10), (16, 100), (16, 300)):
        for law in ("poly345", "through", "linear"):
            # a jolt is all that is wrong with the straight lines
            scale = 0.05 if law == "linear" else 0.3
            tracks = [
                hasty("beats", number, law, scale=scale, axis=f"pan{number}", count=keys) for number in range(axes)
            ]
            move, machine = Move(tracks=tuple(tracks)), rig(axes)
            cells = [f"{axes} of {keys}", law]
            for repair in (stretch, spread, soften):
                answer, lasted_ms = timed(partial(repair, machine, move, RATE, LAWS))
                how = "kept" if isinstance(answer, Repaired) else "refused"
                if isinstance(answer, Repaired) and keys < 300:
                    how = f"{most(machine, answer.move):.9f}"
                cells += [f"{lasted_ms:.0f}", how]
            rows.append(tuple(cells))
    return Table(
        "Stretch, spread and soften, whole repairs",
        ("axes of keys", "laws", "stretch, ms", "peak/limit", "spread, ms", "peak/limit", "soften, ms", "peak/limit"),
        rows,
        "Peak over limit is of samples at 10 kHz. What is refused names its reasons: a jolt that no time cures, a leg "
        "that no law does in its time; its offers are in the time.",
    )


def thinning() -> Table:
    """Thin a performance of a key a frame."""
    rows: list[tuple[str, ...]] = []
    for minutes in (0.5, 2, 10):
        count = int(minutes * 60 * 25)
        at_s, values = seeded_keys("beats", 1, int(minutes * 60))
        run = Move(
            tracks=(track([Fraction(round(1000 * when), 1000) * 25 for when in at_s], values.tolist(), "through"),)
        )
        heard = compile_move(rig(), run, RATE, LAWS).sample(np.arange(count) / 25)[:, 0]
        heard += np.random.default_rng(1).uniform(-0.05, 0.05, count)
        move = Move(tracks=(track(range(count), heard.tolist(), "linear"),))
        for tolerance in (0.2, 1.0):
            thinned, lasted_ms = timed(partial(thin, rig(), move, RATE, LAWS, everything(move), tolerance))
            curve = compile_move(rig(), thinned, RATE, LAWS).sample(np.arange(count) / 25)[:, 0]
            far = float(np.abs(curve - heard).max())
            left = len(thinned.tracks[0].keys)
            rows.append((f"{minutes:g}", f"{tolerance:g}", str(count), str(left), f"{far:.3f}", f"{lasted_ms:.0f}"))
    return Table(
        "Thin a performance of a key a frame, 25 frames a second",
        ("minutes", "tolerance, deg", "keys", "keys left", "furthest off, deg", "ms"),
        rows,
        "The hand trembles by 0.05 deg, and has about one key of its own a second.",
    )


def tables() -> list[Table]:
    """Return all tables of this part."""
    return [factors(), sizes(), thinning()]
