"""Path repeatability on tables worked by hand. Source: ISO 9283:1998, RT_p (8.3; clause number from memory)."""

import math

import numpy as np
import pytest

from sequencer.takes.repeatability import path_repeatability


def test_a_table_worked_by_hand() -> None:
    # three runs, three points of one axis
    runs = [
        [0.0, 1.0, 2.0],
        [0.0, 1.3, 2.0],
        [0.0, 1.1, 2.6],
    ]
    # point 0: all equal: 0
    # point 1: mean 3.4/3 = 1.13333; distances 0.13333 0.16667 0.03333; their mean 0.11111;
    #          S = sqrt((0.02222^2 + 0.05556^2 + 0.07778^2) / 2) = sqrt(0.0096296 / 2) = 0.0693889; RT = 0.3192778
    # point 2: mean 2.2; distances 0.2 0.2 0.4; mean 0.26667;
    #          S = sqrt((0.06667^2 + 0.06667^2 + 0.13333^2) / 2) = sqrt(0.0266667 / 2) = 0.1154701; RT = 0.6130769
    worst, place = path_repeatability(np.array(runs)[:, :, None])
    assert worst == pytest.approx(0.6130769, abs=1e-6)
    assert place == 2
    up_to_1, place = path_repeatability(np.array(runs)[:, :2, None])
    assert up_to_1 == pytest.approx(0.3192778, abs=1e-6)
    assert place == 1


def test_a_path_in_space_uses_the_distance() -> None:
    # two runs 3 by 4 apart: the mean lies halfway, both distances are 2.5, and they do not spread
    worst, _ = path_repeatability(np.array([[[0.0, 0.0, 1.0]], [[3.0, 4.0, 1.0]]]))
    assert worst == 2.5


def test_it_is_not_the_standard_deviation_of_positions() -> None:
    # runs at 0, 0, 3: mean 1, distances 1, 1, 2; mean 4/3, S = sqrt((1/9 + 1/9 + 4/9) / 2) = sqrt(1/3)
    worst, _ = path_repeatability(np.array([0.0, 0.0, 3.0])[:, None, None])
    assert worst == pytest.approx(4 / 3 + 3 * math.sqrt(1 / 3))


@pytest.mark.parametrize("shape", [(1, 5, 1), (3, 0, 1)])
def test_too_little_is_refused(shape: tuple[int, int, int]) -> None:
    with pytest.raises(ValueError, match="two runs and one point"):
        path_repeatability(np.zeros(shape))
