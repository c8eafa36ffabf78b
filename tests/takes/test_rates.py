"""The largest speed, acceleration and jerk of what was seen: of motions whose derivatives are known, noise and gaps."""

import numpy as np
import pytest
from numpy.typing import NDArray

from sequencer.takes.rates import largest_rates

OMEGA, SIZE = 2.0, 40.0  # 40 deg to either side, 2 rad/s: 80 deg/s, 160 deg/s², 320 deg/s³
KNOWN = (SIZE * OMEGA, SIZE * OMEGA**2, SIZE * OMEGA**3)


def swing(at_s: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(SIZE * np.sin(OMEGA * at_s))[:, None]


@pytest.mark.parametrize("step_s", [0.004, 0.02])
def test_a_swing_has_the_rates_of_its_derivatives(step_s: float) -> None:
    at_s = np.arange(0.0, 8.0, step_s)
    found = largest_rates(at_s, swing(at_s), (1.0, 7.0))[:, 0]
    # a parabola over a while w takes off about (ω w)²/40 of it
    assert found == pytest.approx(KNOWN, rel=0.01)


def test_noise_is_not_taken_for_motion() -> None:
    at_s = np.arange(0.0, 8.0, 0.004)
    noise = np.random.default_rng(4).normal(0.0, 0.004, (len(at_s), 1))
    found = largest_rates(at_s, swing(at_s) + noise, (1.0, 7.0))[:, 0]
    assert found[:2] == pytest.approx(KNOWN[:2], rel=0.02)
    assert found[2] == pytest.approx(KNOWN[2], rel=0.1)
    # differences from one sighting to the next would have said this
    assert np.abs(np.diff((swing(at_s) + noise)[:, 0], 2)).max() / 0.004**2 > 5 * KNOWN[1]


def test_nothing_is_made_up_across_a_gap() -> None:
    at_s = np.arange(0.0, 8.0, 0.004)
    place = swing(at_s)
    # it stands somewhere else after the gap: a jump that nobody saw
    kept = (at_s < 3.0) | (at_s > 3.4)
    place[at_s > 3.2] += 50.0
    found = largest_rates(at_s[kept], place[kept], (1.0, 7.0))[:, 0]
    assert found == pytest.approx(KNOWN, rel=0.01)


def test_only_the_span_counts_and_stamps_may_come_in_any_order() -> None:
    at_s = np.arange(0.0, 8.0, 0.004)
    place = np.where(at_s[:, None] < 4.0, 0.0, swing(at_s))
    shuffled = np.random.default_rng(1).permutation(len(at_s))
    found = largest_rates(at_s[shuffled], place[shuffled], (0.5, 3.0))[:, 0]
    assert found == pytest.approx([0.0, 0.0, 0.0], abs=1e-9)


def test_too_little_is_no_answer() -> None:
    empty = largest_rates(np.empty(0), np.empty((0, 2)), (0.0, 1.0))
    assert empty.shape == (3, 2)
    assert np.isnan(empty).all()
    one = largest_rates(np.array([0.5]), np.zeros((1, 2)), (0.0, 1.0))
    assert np.isnan(one).all()
    silent = np.full((500, 1), np.nan)
    assert np.isnan(largest_rates(np.linspace(0.0, 4.99, 500), silent, (1.0, 4.0))).all()
