"""Figures of an axis refuse what no measurement gives."""

import pytest

from sequencer.rig.measured import Figure, Measured


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"value": -1.0}, "value is -1.0; it must be zero or more"),
        ({"value": float("nan")}, "value is nan"),
        ({"spread": float("inf")}, "spread is inf"),
        ({"trials": 0}, "trials is 0; it must be one or more"),
    ],
)
def test_a_figure_is_a_measured_number(fields: dict[str, float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        Figure(**{"value": 1.0, "spread": 0.0, "trials": 1} | fields)  # type: ignore[arg-type]  # wrong on purpose


@pytest.mark.parametrize("day", ["", "30.11.2026", "2026-13-01", "2026-11-32", "2026-11-3", "2026-11-30T00:00"])
def test_the_day_is_written_in_one_way(day: str) -> None:
    with pytest.raises(ValueError, match="write the day like 2026-11-30"):
        Measured(on=day)


def test_figures_are_those_that_were_measured() -> None:
    speed = Figure(value=40.0, spread=0.1, trials=4)
    assert Measured(on="2026-11-30", speed=speed).figures == {"speed": speed}
