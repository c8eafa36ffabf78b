"""Seconds of what the benchmark does for ten minutes: two hands that do their worst on eight axes break no limit."""

import numpy as np
import pytest

from tests.bench.hands import RIG, asked, driven


@pytest.mark.parametrize("seed", [1, 2])
def test_the_worst_that_hands_do_breaks_no_limit(seed: int) -> None:
    seen = driven(6.0, seed)
    assert seen.held_back == 0
    assert seen.apart < 1e-6
    # the hands did drive
    assert seen.steered > 500
    assert np.ptp(seen.sent, axis=0).min() > 0
    for name, parts in asked(seen):
        assert parts.shape[1] == len(RIG.axes)
        assert parts.max() <= 1 + 1e-6, name
