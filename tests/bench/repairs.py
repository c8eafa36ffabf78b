"""Whether what a repair gives back keeps every limit: a thousand random moves, traps included, sampled at 10 kHz.

The moves are of two axes, the second with limits a thousandth of the first's; most have keys a frame apart,
flat stretches, or keys at the ends of travel.
"""

from collections import Counter
from collections.abc import Callable
from fractions import Fraction
from functools import partial

import numpy as np

from sequencer.motion.compile import compile_move
from sequencer.motion.repair.choices import CHOICES, Task
from sequencer.motion.repair.outcome import Impossible, Repaired, Unrepaired
from sequencer.motion.repair.smooth import smooth
from sequencer.motion.trajectory import Trajectory
from sequencer.rig.axis import Axis, Rig
from sequencer.score.move import Ease, Key, Move, Track
from sequencer.shell.kinds import laws
from sequencer.timebase.rate import RATES
from tests.bench.table import Table

MOVES = 1000
SLOW = {"stretch-smooth": 50}  # each smooths the move a dozen times
# of the way from key to key: those that keep the keys' times can do little about moves that are far too fast
GENTLER = {"soften": 0.4, "smooth": 0.4}
RATE = RATES["25"]
SAMPLES_HZ = 10_000
TOLERANCE = 1e-9
TRAVEL = 60.0
TRAPS = ("none", "a frame apart", "flat", "ends of travel")


def _axis(name: str, part: float) -> Axis:
    return Axis(
        name=name,
        kind="pan",
        unit="deg",
        travel=(-TRAVEL * part, TRAVEL * part),
        speed=60.0 * part,
        acceleration=120.0 * part,
        jerk=600.0 * part,
    )


PARTS = {"wide": 1.0, "fine": 1e-3}
RIG = Rig(name="bench", axes=tuple(_axis(name, part) for name, part in PARTS.items()))


def move(number: int, part: float = 1.0) -> Move:
    """Return one of the moves: six to ten keys an axis, at half seconds, by laws that motors can follow.

    `part` makes all ways smaller.
    """
    rng = np.random.default_rng(number)
    eases = [Ease(name) for name in ("poly345", "cycloidal", "modified-sine", "through")]
    trap = TRAPS[number % len(TRAPS)]
    ease = eases[number // len(TRAPS) % len(eases)]
    tracks = []
    for axis in RIG.axes:
        count = int(rng.integers(6, 11))
        gaps = [int(halves) * Fraction(25, 2) for halves in rng.integers(1, 5, count - 1)]
        steps = part * rng.normal(0, 20, count - 1) * np.sqrt([float(gap) / 25 for gap in gaps])
        if trap == "a frame apart":
            gaps[int(rng.integers(count - 1))] = Fraction(1)
        if trap == "flat":
            steps[rng.random(count - 1) < 0.3] = 0.0
        values = np.clip(np.cumsum(np.append(0.0, steps)), -TRAVEL, TRAVEL)
        if trap == "ends of travel":
            values[int(rng.integers(count))] = rng.choice([-TRAVEL, TRAVEL])
        at = [Fraction(0)]
        for gap in gaps:
            at.append(at[-1] + gap)
        own = tuple(Key(when, float(value), ease) for when, value in zip(at, values * PARTS[axis.name], strict=True))
        tracks.append(Track(axis.name, own))
    return Move(tracks=tuple(tracks))


def beyond(path: Trajectory) -> float:
    """Return by what part of a limit the path, sampled at 10 kHz, is beyond it at most; below zero it keeps all."""
    t_s = np.arange(path.start_s, path.end_s, 1 / SAMPLES_HZ)
    worst = -1.0
    position = path.sample(t_s)
    for number, axis in enumerate(RIG.axes):
        low, high = axis.travel or (-np.inf, np.inf)
        out = max(position[:, number].max() - high, low - position[:, number].min())
        worst = max(worst, float(out / (high - low)))
    for order, name in ((1, "speed"), (2, "acceleration"), (3, "jerk")):
        most = np.abs(path.sample(t_s, order)).max(axis=0)
        limits = np.array([getattr(axis, name) for axis in RIG.axes])
        worst = max(worst, float((most / limits).max()) - 1)
    return worst


def _after(work: Callable[[], Repaired | Impossible], count: Counter[str]) -> Move | None:
    try:
        outcome = work()
    except Unrepaired:
        count["unsolved"] += 1
        return None
    if isinstance(outcome, Repaired):
        count["repaired"] += 1
        return outcome.move
    count["impossible"] += 1
    return None


def _repair(name: str, task: Task) -> Repaired | Impossible:
    """Run one repair; smoothing without looking for the reasons and offers of what is impossible, which takes long."""
    if name == "smooth":
        return smooth(task.rig, task.move, task.rate, task.laws, overshoot=False)
    return CHOICES[name].run(task)


def kept() -> Table:
    """Repair every move in every way, and look at what comes out."""
    kinds = laws()
    rows = []
    for name in CHOICES:
        moves = SLOW.get(name, MOVES)
        count: Counter[str] = Counter()
        worst = -1.0
        for number in range(moves):
            task = Task(rig=RIG, move=move(number, GENTLER.get(name, 1.0)), rate=RATE, laws=kinds)
            after = _after(partial(_repair, name, task), count)
            if after is not None:
                found = beyond(compile_move(RIG, after, RATE, kinds))
                worst = max(worst, found)
                count["broken"] += found > TOLERANCE
        rows.append(
            (
                name,
                str(moves),
                *(str(count[what]) for what in ("repaired", "impossible", "unsolved", "broken")),
                f"{worst:.1e}",
                f"{TOLERANCE:.0e}",
            )
        )
    return Table(
        f"Limits after a repair: random moves sampled at {SAMPLES_HZ // 1000} kHz",
        ("repair", "moves", "repaired", "impossible", "unsolved", "broken", "worst, of the limit", "bar"),
        rows,
        "Impossible is an answer, with its reason; unsolved is arithmetic that did not suffice, and is said.",
    )


def tables() -> list[Table]:
    """Return this part of the benchmark."""
    return [kept()]
