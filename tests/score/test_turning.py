"""Which way round: whole rounds are never added for what rounding leaves."""

import pytest

from sequencer.score.move import TURNS, Turn
from sequencer.score.turning import turned


@pytest.mark.parametrize(
    ("written", "turn", "way"),
    [
        (20, "up", 20),
        (20, "down", -340),
        (-20, "short", -20),
        (-340, "short", 20),
        (180, "short", 180),
        (-180, "short", 180),
        (-180, "down", -180),
        (540, "up", 180),
        (720, "up", 0),
        (720, "down", 0),
    ],
)
def test_the_way_is_the_one_that_is_said(written: float, turn: Turn, way: float) -> None:
    assert turned(written, turn) == pytest.approx(way)


def test_values_that_differ_by_rounds_but_for_rounding_are_no_way_apart() -> None:
    for tenths in range(3600):
        value = tenths / 10
        for rounds in (-720, -360, 0, 360, 720):
            for turn in TURNS:
                assert abs(turned(value + rounds - value, turn)) < 1e-9
    assert abs(turned(0.3 - (0.1 + 0.2), "up")) < 1e-9
    assert abs(turned((0.1 + 0.2) - 0.3, "down")) < 1e-9
