"""How fast passes run: the square root of a model's scale beside handbook values, and frames that stay exact."""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.score.move import Pass, Scaled
from sequencer.score.pace import frame_for_frame, missed, model_rate, root, step
from sequencer.timebase.rate import RATES, Rate

FILM = Rate(24)
scales = st.fractions(Fraction(1, 500), 50, max_denominator=500)
rates = st.sampled_from(sorted(RATES.values(), key=lambda rate: rate.fraction))


@pytest.mark.parametrize(("one_to", "printed"), [(2, 34), (4, 48), (8, 68), (9, 72), (12, 83), (16, 96), (24, 118)])
def test_a_model_is_shot_at_the_rate_that_tables_of_miniature_work_print(one_to: int, printed: int) -> None:
    """Source: the table of camera speeds for models in handbooks of cinematography, 24 fps full size (from memory)."""
    assert round(model_rate(FILM, Fraction(1, one_to))) == printed


def test_a_river_model_of_1_to_25_runs_through_its_flood_five_times_as_fast() -> None:
    """Source: law of Froude, worked example of textbooks of hydraulics: 1:25 in length is 1:5 in time (from memory)."""
    factor = Fraction(1, 25)
    shot = model_rate(FILM, factor)
    one = Pass("flood", frame_for_frame(FILM, shot), scale=Scaled(factor, time=True), rate=shot)
    assert (shot, one.speed, step(FILM, one)) == (Fraction(120), Fraction(5), Fraction(1))
    assert missed(one) == pytest.approx(0, abs=1e-15)


@given(scales, rates)
def test_whatever_is_rounded_the_frames_stay_exact_and_the_time_is_hardly_off(factor: Fraction, rate: Rate) -> None:
    shot = model_rate(rate, factor)
    one = Pass("model", frame_for_frame(rate, shot), scale=Scaled(factor, time=True), rate=shot)
    assert step(rate, one) == 1
    off = missed(one)
    assert off is not None
    exact = root(factor)
    if exact is not None:
        assert shot * exact == rate.fraction
    else:
        # nearest thousandth of a frame a second; an integer comparison, so no rounding hides a miss
        assert (shot * 1000).denominator == 1
        assert abs(float(shot) - float(rate.fraction) / math.sqrt(factor)) <= 0.000500001
    assert abs(off) <= 0.000500001 / float(shot) + 1e-12


@given(st.fractions(Fraction(1, 1000), 1000))
def test_a_root_is_exact_or_not_there(number: Fraction) -> None:
    found = root(number)
    assert found is None or found * found == number
    assert root(number * number) == number


@pytest.mark.parametrize(
    ("speed", "rate", "found"),
    [
        ("1", None, "1"),  # as written
        ("1/2", None, "1/2"),  # every second frame shot is a frame of the move
        ("1/4", None, "1/4"),
        ("2", "48", "1"),  # a camera at twice the rate sees the same frames one after the other
        ("1/2", "12", "1"),
        ("1", "48", "1/2"),
        ("720", None, "720"),
    ],
)
def test_which_frames_are_shared(speed: str, rate: str | None, found: str) -> None:
    one = Pass("one", Fraction(speed), rate=None if rate is None else Fraction(rate))
    assert step(FILM, one) == Fraction(found)


def test_nothing_is_missed_where_nothing_was_asked() -> None:
    assert missed(Pass("one", scale=Scaled(Fraction(1, 6)))) is None
    assert missed(Pass("one")) is None
    assert missed(Pass("one", scale=Scaled(Fraction(1, 4), time=True))) == pytest.approx(-0.5)
