"""Noise that is told from movement, and ends without it."""

import numpy as np
import pytest

from sequencer.live.filmed import Way
from sequencer.live.previz import shaken
from sequencer.rig.axis import Rig
from tests.live.rigs import PAN

COUNT = 1000
T_S = np.arange(COUNT) / 25
RIG = Rig(name="pan", axes=(PAN,))


def way(values: np.ndarray) -> Way:
    return Way(
        at_s=T_S[: len(values)],
        positions=values[:, None],
        driven=(("pan", None),),
        off_m=np.zeros((len(values), 3)),
        off_deg=np.zeros(len(values)),
        remarks=(),
    )


@pytest.mark.parametrize("by", [0.001, 0.01, 0.3])
def test_noise_is_measured_whatever_moves_below_it(by: float) -> None:
    moves = 40 * np.sin(0.5 * T_S) + 2 * np.sin(4 * T_S)
    noisy = way(moves + np.random.default_rng(5).normal(0, by, COUNT))
    found = shaken(noisy, RIG, {"pan": by})[0]
    assert found.by == pytest.approx(by, rel=0.1)
    assert found.room == pytest.approx(4 * by, rel=0.15)
    assert not shaken(noisy, RIG, {"pan": 3.5 * by})


def test_movement_is_no_noise() -> None:
    """A hand's sway to 1 Hz, a stop and start, and a straight line."""
    for moves in (np.sin(2 * np.pi * T_S), np.where(T_S < 20, 0.0, 30 * (T_S - 20)), 7 * T_S):
        assert not shaken(way(moves), RIG, {"pan": 0.02})


def test_of_a_few_samples_nothing_is_said() -> None:
    assert not shaken(way(np.random.default_rng(1).normal(0, 1, 11)), RIG, {"pan": 0.01})
