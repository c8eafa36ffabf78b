"""Moves that are too fast, and an independent look at whether a repaired one keeps its limits: dense samples."""

from dataclasses import replace
from fractions import Fraction

import numpy as np

from sequencer.motion.compile import compile_move
from sequencer.rig.axis import Rig
from sequencer.score.move import Ease, Move, Track
from sequencer.timebase.rate import Rate
from tests.motion.machines import LAWS, seeded_keys, track

RATE = Rate(25)
SAMPLE_HZ = 10_000


def most(rig: Rig, move: Move) -> float:
    """Return the largest speed, acceleration or jerk over its limit, of samples and of the steps between them.

    The steps see a jolt that no sample hits: from one sample to the next a speed changes by its acceleration at most.
    """
    trajectory = compile_move(rig, move, RATE, LAWS)
    t_s = np.arange(trajectory.start_s - 0.01, trajectory.end_s + 0.01, 1 / SAMPLE_HZ)
    limits = np.array([(axis.speed, axis.acceleration, axis.jerk) for axis in rig.axes])
    states = [trajectory.sample(t_s, order) for order in (1, 2, 3)]
    largest = [np.abs(state) / limits[:, order] for order, state in enumerate(states)]
    steps = [
        np.abs(np.diff(state, axis=0)) * SAMPLE_HZ / limits[:, order + 1] for order, state in enumerate(states[:2])
    ]
    # the steps carry the rounding of differences
    return float(max(*(each.max() for each in largest), *(each.max() - 1e-6 for each in steps)))


def hasty(kind: str, seed: int, ease: str | Ease, *, scale: float = 1.0, axis: str = "pan0", count: int = 10) -> Track:
    """Return one of the study's tracks in frames of RATE, its values `scale` times as large."""
    at_s, values = seeded_keys(kind, seed, count)
    at = [Fraction(round(1000 * when), 1000) * 25 for when in at_s]
    return track(at, (values * scale).tolist(), ease, axis)


def pinned(one: Track, *numbers: int) -> Track:
    """Return the track with these keys pinned, and no others."""
    return replace(one, keys=tuple(replace(key, pin=place in numbers) for place, key in enumerate(one.keys)))


def instants(move: Move) -> list[list[Fraction]]:
    return [[key.at for key in one.keys] for one in move.tracks]
