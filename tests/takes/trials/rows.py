"""Rows of a step as an ideal rig would give them, for estimators to be held against what was put in."""

from collections.abc import Callable

import numpy as np

from sequencer.takes.trials.seen import Floats, Seen
from sequencer.takes.trials.step import Step

TICK_S = 0.004


def asked(step: Step) -> tuple[Floats, Floats]:
    """Return the setpoints of a step, 250 a second, from the pieces of its legs. Shape: (N,) each."""
    at_s = np.arange(-0.5, step.lasts_s + 0.5, TICK_S)
    position = np.full(len(at_s), step.legs[0].start)
    for leg in step.legs:
        states = np.array(leg.states)
        since = np.clip(at_s - leg.at_s, 0.0, leg.lasts_s)
        piece = np.clip(np.searchsorted(states[:, 0], since, side="right") - 1, 0, len(states) - 2)
        start_s, place, speed, pull = states[piece].T
        lasts = np.diff(states[:, 0])
        jerk = (np.diff(states[:, 3]) / lasts)[piece]
        u = since - start_s
        there = place + u * (speed + u * (pull / 2 + u * jerk / 6))
        position = np.where(at_s >= leg.at_s, there, position)
    return at_s, position


def behind_play(motor: Floats, play: float) -> Floats:
    """Return where a load stands behind its motor's play. Source: the play operator of hysteresis (from memory)."""
    load = np.empty_like(motor)
    stands = motor[0] - play / 2
    for number, there in enumerate(motor):
        stands = load[number] = min(max(stands, there - play / 2), there + play / 2)
    return load


def seen_of(step: Step, answer: Callable[[Floats, Floats], Floats], noise: float = 0.0, seed: int = 1) -> Seen:
    """Return what is seen of a rig that makes `answer` of instants and setpoints."""
    at_s, position = asked(step)
    actual = answer(at_s, position) + np.random.default_rng(seed).normal(0.0, noise or 0.0, len(at_s))
    return Seen(asked_s=at_s, asked=position, actual_s=at_s, actual=actual, begun=True)
