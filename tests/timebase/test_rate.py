"""Rates are exact, and twenty-four hours of frames come back to the nanosecond and to the frame."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.timebase.rate import RATES, Rate, parse_rate

rates = st.sampled_from(sorted(RATES.values(), key=str))


def test_every_rate_reads_as_it_is_written() -> None:
    assert sorted(RATES) == sorted(["24000/1001", "24", "25", "30000/1001", "30", "48", "50", "60000/1001", "60"])
    for text, rate in RATES.items():
        assert parse_rate(text) == rate
        assert str(rate) == text


@pytest.mark.parametrize("text", ["23.976", "29.97", "", "0", "25/1", " 25", "120"])
def test_other_rates_are_refused_with_the_list(text: str) -> None:
    with pytest.raises(ValueError, match="one of 24000/1001, 24, 25"):
        parse_rate(text)


@pytest.mark.parametrize(("num", "den"), [(0, 1), (-25, 1), (25, 0), (25, -1), (23.976, 1)])
def test_a_rate_is_a_fraction_above_zero(num: int, den: int) -> None:
    with pytest.raises(ValueError, match="whole numbers above zero"):
        Rate(num, den)


def test_the_nominal_rate_counts_labels() -> None:
    # Source: SMPTE ST 12-1: 30 labels a second at 30000/1001, 24 at 24000/1001
    assert [Rate(30000, 1001).nominal, Rate(24000, 1001).nominal, Rate(60000, 1001).nominal, Rate(25).nominal] == [
        30,
        24,
        60,
        25,
    ]


@given(rates, st.fractions(-(10**7), 10**7))
def test_frames_and_seconds_are_inverse(rate: Rate, frames: Fraction) -> None:
    assert rate.frames(rate.seconds(frames)) == frames


@pytest.mark.parametrize("rate", RATES.values(), ids=str)
def test_a_day_of_single_frames_does_not_drift(rate: Rate) -> None:
    frames = rate.frames(86_400)
    assert rate.seconds(frames) == 86_400
    whole = frames.numerator // frames.denominator
    # through the float seconds of the engine and back, every frame of the day's last second is itself
    for frame in range(whole - rate.nominal, whole + 1):
        seconds = float(rate.seconds(frame))
        assert abs(Fraction(seconds) - rate.seconds(frame)) < Fraction(1, 10**10)
        assert round(rate.frames(Fraction(seconds))) == frame


def test_a_thousand_seconds_at_a_1001_rate() -> None:
    # 30000 frames last 1001 s: worked by hand
    assert Rate(30000, 1001).seconds(30_000) == 1001
    assert Rate(24000, 1001).frames(1001) == 24_000
