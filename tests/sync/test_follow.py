"""How a master is followed: what an operator may ask for, and what no follower could do."""

import math
import re

import pytest

from sequencer.sync.reading import Follow

DAY_S = 86_400.0


@pytest.mark.parametrize("offset_s", [DAY_S, -DAY_S, 3_999_999.96, math.inf, math.nan])
def test_an_offset_of_a_day_or_more_is_refused(offset_s: float) -> None:
    with pytest.raises(ValueError, match=f"^offset_s is {offset_s}; it must lie within a day either way$"):
        Follow(offset_s=offset_s)
    assert Follow(offset_s=DAY_S - 0.04).offset_s == -Follow(offset_s=0.04 - DAY_S).offset_s


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("freewheel_s", -0.1, "freewheel_s is -0.1; it must be zero or more"),
        ("freewheel_s", math.inf, "freewheel_s is inf; it must be zero or more"),
        ("delay_s", 1.001, "delay_s is 1.001; it must lie within a second either way"),
        ("delay_s", math.nan, "delay_s is nan; it must lie within a second either way"),
    ],
)
def test_a_coast_or_a_delay_that_cannot_be_is_refused(name: str, value: float, words: str) -> None:
    with pytest.raises(ValueError, match=f"^{re.escape(words)}$"):
        Follow(**{name: value})
