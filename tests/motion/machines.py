"""Rigs, laws and moves that the tests of motion and score share."""

from collections.abc import Sequence
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from sequencer.rig.axis import Axis, Rig
from sequencer.score.move import Ease, Key, Move, Track
from sequencer.shell.kinds import laws
from sequencer.timebase.rate import Rate

LAWS = laws()
# at one frame a second, frames are seconds
SECONDS = Rate(1)


def rig(axes: int = 1, travel: tuple[float, float] | None = None) -> Rig:
    """Return a rig with axes pan0, pan1, and the limits 60, 120 and 600 of the studies."""
    return Rig(
        name="bench",
        axes=tuple(
            Axis(name=f"pan{number}", kind="pan", unit="deg", travel=travel, speed=60.0, acceleration=120.0, jerk=600.0)
            for number in range(axes)
        ),
    )


def track(
    at: Sequence[float | Fraction], values: Sequence[float], eases: str | Ease | Sequence[Ease], axis: str = "pan0"
) -> Track:
    """Return a track; one ease for all legs, or one for each key."""
    if isinstance(eases, str):
        eases = Ease(eases)
    each = [eases] * len(at) if isinstance(eases, Ease) else list(eases)
    rows = zip(at, values, each, strict=True)
    return Track(axis, tuple(Key(Fraction(when), float(value), ease) for when, value, ease in rows))


def leg(ease: Ease, way: float = 1.0, lasts_s: float = 1.0) -> Move:
    """Return the move of one leg from 0."""
    return Move(tracks=(track([0, Fraction(lasts_s)], [0, way], ease),))


def seeded_keys(kind: str, seed: int, count: int = 20) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return instants and values of one of four kinds of track: beats, uneven gaps, one direction, moves and holds."""
    rng = np.random.default_rng(seed)
    gaps = (
        rng.integers(1, 5, count - 1) * 0.5 if kind in ("beats", "holds") else np.exp(rng.uniform(-1.9, 1.8, count - 1))
    )
    steps = rng.normal(0, 20, count - 1) * np.sqrt(gaps)
    if kind == "one way":
        steps = np.abs(steps)
    if kind == "holds":
        steps[rng.random(count - 1) < 0.4] = 0.0
    # instants on a millisecond grid, so that they are short fractions
    at_s = np.round(np.concatenate(([0.0], np.cumsum(gaps))) * 1000) / 1000
    return at_s, np.concatenate(([0.0], np.cumsum(steps)))
