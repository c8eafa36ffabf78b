"""What is tried next: up by a quarter, nearer once something failed, and never beyond the most that was allowed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.takes.trials.ladder import GROWTH, Ladder, climbed, ladder, lowered


def climb(rungs: Ladder, truth: float) -> tuple[Ladder, list[float]]:
    """Climb until nothing is left to try; whatever is above `truth` fails."""
    tried = []
    while (place := rungs.next()) is not None:
        tried.append(rungs.rungs[place])
        rungs = climbed(rungs, place, tried[-1] <= truth)
    return rungs, tried


@given(st.floats(1e-3, 1e4), st.floats(0.02, 1.0), st.floats(0.01, 1.5))
def test_it_ends_next_to_the_truth(most: float, part: float, truth: float) -> None:
    rungs, tried = climb(ladder(part * most, most), truth * most)
    assert max(tried) <= most * (1 + 1e-12)
    assert tried[0] <= part * most * (1 + 1e-9)
    held = rungs.at_least
    if held is None:
        assert tried == [tried[0]], "nothing is tried after the first step failed"
    elif held < rungs.rungs[-1]:
        assert held <= truth * most <= held * GROWTH**0.25 * (1 + 1e-9)
        assert len(rungs.bad) >= 2, "one failure gives no spread"


@given(st.floats(0.02, 1.0), st.floats(0.01, 1.5))
def test_no_step_is_more_than_a_quarter_beyond_what_was_held(part: float, truth: float) -> None:
    _, tried = climb(ladder(part, 1.0), truth)
    held = 0.0
    for one in tried:
        assert not held or one <= held * GROWTH * (1 + 1e-9)
        held = max(held, one) if one <= truth else held


def test_a_rung_that_is_not_safe_gives_way_to_a_nearer_one() -> None:
    rungs = climbed(ladder(0.1, 1.0), 0, True)
    assert rungs.next() == 4
    assert rungs.next(lambda held, place: place - held <= 2) == 2
    assert rungs.next(lambda held, place: False) == 1


def test_it_comes_nearer_by_halves() -> None:
    rungs = climbed(climbed(ladder(0.1, 1.0), 0, True), 4, False)
    assert rungs.next() == 2
    assert climbed(rungs, 2, True).next() == 3
    assert climbed(rungs, 2, False).next() == 1


def test_what_cannot_be_reached_is_not_tried() -> None:
    rungs, tried = climb(lowered(ladder(0.1, 1.0), 6), 2.0)
    assert tried == [rungs.rungs[place] for place in (0, 4, 5)]
    assert lowered(rungs, 0).next() is None


@pytest.mark.parametrize(("first", "most"), [(0.0, 1.0), (2.0, 1.0), (1.0, float("inf")), (float("nan"), 1.0)])
def test_numbers_out_of_order_are_no_ladder(first: float, most: float) -> None:
    with pytest.raises(ValueError, match="no rungs"):
        ladder(first, most)
