"""What operators type is read exactly, or refused in words that say what to write."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.timebase.rate import RATES
from sequencer.timebase.tempo import Change, TempoMap
from sequencer.timebase.timecode import Counting, Timebase, Timecode
from ui.acts.written import Counted, decimal, value_text, written
from ui.panels.typed import Mistyped, Times, typed_factor, typed_instant, typed_length, typed_number

FILM = Timebase(Counting(RATES["25"]), Timecode(10, 0, 0, 0))
WALTZ = TempoMap(Fraction(96), 4, changes=(Change(beat=Fraction(16), beats_per_bar=3, beat_note=4),))
TIMES = Times(timebase=FILM, tempo=WALTZ, here=Fraction(100))


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("12.5", "deg", 12.5),
        ("12,5", "deg", 12.5),
        ("12,5 deg", "deg", 12.5),
        (" -3° ", "deg", -3.0),
        ("−7 degrees", "deg", -7.0),
        ("+4", "deg", 4.0),
        (",5", "mm", 0.5),
        ("7.", "mm", 7.0),
        ("1,2 m", "mm", 1200.0),
        ("34cm", "mm", 340.0),
        ("1/3", "part", 1 / 3),
        ("25 %", "part", 0.25),
        ("0.4", "part", 0.4),
        ("1000", "mm", 1000.0),
        ("1.000", "mm", 1.0),
        ("3", "", 3.0),
    ],
)
def test_numbers_have_either_decimal_mark_and_a_unit_that_fits(text: str, unit: str, value: float) -> None:
    assert typed_number(text, unit) == value


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("12,5,1", "one decimal mark"),
        ("1.000,5", "none for thousands"),
        ("1,000.5", "none for thousands"),
        ("1.2.3", "one decimal mark"),
        ("deg", "is not a number"),
        ("", "nothing is written"),
        ("   ", "nothing is written"),
        ("12 mm", "counted in deg, not in mm; write 12 deg"),
        ("12 f", "counted in deg, not in f"),
        ("12 parsec", "no unit that counts here"),
        ("nan", "is not a number"),
        ("inf", "is not a number"),
        ("1e5", "more than one number"),
        ("1 2", "more than one number"),
        ("٣", "is not a number"),
        ("1/0", "divides by zero"),
        ("1" * 19, "more digits"),
        ("1" * 60, "too long"),
    ],
)
def test_what_is_no_number_of_the_unit_is_refused_with_the_mend(text: str, says: str) -> None:
    with pytest.raises(Mistyped, match=says) as fault:
        typed_number(text, "deg")
    assert fault.value.words.format(**fault.value.values) == str(fault.value)


def test_a_number_without_a_unit_is_asked_for_alone() -> None:
    with pytest.raises(Mistyped, match="number alone"):
        typed_number("3 deg")


@pytest.mark.parametrize(
    ("text", "counted", "at"),
    [
        ("10:00:05:12", "frames", Fraction(137)),
        ("10:00:05:12.25", "timecode", Fraction(549, 4)),
        ("10:00:05:12,25", "timecode", Fraction(549, 4)),
        ("09:59:59:20", "timecode", Fraction(-5)),
        ("137", "frames", Fraction(137)),
        ("frame 137,5", "timecode", Fraction(275, 2)),
        ("137 f", "timecode", Fraction(137)),
        ("2.5 s", "timecode", Fraction(125, 2)),
        ("2,5", "seconds", Fraction(125, 2)),
        ("500 ms", "seconds", Fraction(25, 2)),
        ("1 min", "frames", Fraction(1500)),
        ("at -2 s", "seconds", Fraction(-50)),
        ("bar 1", "bars", Fraction(0)),
        ("Bar 3 beat 2", "timecode", Fraction(9 * 60 * 25, 96)),
        ("bar 3, beat 2.5", "bars", Fraction(19 * 60 * 25, 2 * 96)),
        ("bar 6 beat 1", "bars", Fraction(19 * 60 * 25, 96)),
        ("+10", "frames", Fraction(110)),
        ("+10", "timecode", Fraction(110)),
        ("-10", "frames", Fraction(90)),
        ("+1", "seconds", Fraction(125)),
        ("-2 s", "frames", Fraction(50)),
        ("+1 beat", "frames", 100 + Fraction(60 * 25, 96)),
        ("+1", "bars", 100 + Fraction(60 * 25, 96)),
        ("+1 bar", "frames", 100 + Fraction(4 * 60 * 25, 96)),
    ],
)
def test_instants_are_read_in_every_way_of_counting(text: str, counted: Counted, at: Fraction) -> None:
    times = Times(timebase=FILM, tempo=WALTZ, counted=counted, here=Fraction(100))
    assert typed_instant(text, times) == at


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("10", "could be frames or seconds; write 10 f, 10 s"),
        ("10:00:05", "is not a timecode; write one like"),
        ("10:00:05:25", "frames run from 0 to 24"),
        ("10:00:05:1,2.3", "a comma and a point"),
        ("bar 3 beat 5", "has 4 beats"),
        ("bar 6 beat 4", "has 3 beats"),
        ("bar 3 beat 0", "counted from 1"),
        ("bar two", "is not a number"),
        ("3 beats", "write bar 3 beat 2"),
        ("10 deg", "no unit of time"),
        ("+1.5 bars", "counted whole"),
        ("noon", "is not a number"),
        ("", "nothing is written"),
    ],
)
def test_what_could_be_two_times_or_none_is_refused(text: str, says: str) -> None:
    with pytest.raises(Mistyped, match=says):
        typed_instant(text, TIMES)


def test_bars_need_a_tempo_and_a_plus_needs_a_place_to_count_from() -> None:
    with pytest.raises(Mistyped, match="no tempo yet"):
        typed_instant("bar 3", Times(timebase=FILM))
    with pytest.raises(Mistyped, match="count from"):
        typed_instant("+3", Times(timebase=FILM))


def test_bars_are_also_read_as_the_ruler_has_them() -> None:
    times = Times(timebase=FILM, tempo=WALTZ, counted="bars")
    assert typed_instant("7", times) == typed_instant("bar 7 beat 1", times)
    assert typed_instant("3.2", times) == typed_instant("bar 3 beat 2", times)
    for text in ("3,2", "3.250", "1/2"):
        with pytest.raises(Mistyped, match=r"write bar 3 beat 2\.5"):
            typed_instant(text, times)


def test_lengths_of_time_go_both_ways() -> None:
    assert typed_length("10", TIMES) == 10
    assert typed_length("-2 s", TIMES) == -50
    assert typed_length("1/2 beat", TIMES) == Fraction(60 * 25, 2 * 96)


@pytest.mark.parametrize(
    ("text", "factor"),
    [("1.1", "11/10"), ("1,1", "11/10"), ("11/10", "11/10"), ("110 %", "11/10"), ("110%", "11/10"), ("2x", "2"),
     ("×3", "3"), ("1/3", "1/3")],
)  # fmt: skip
def test_factors_are_exact(text: str, factor: str) -> None:
    assert typed_factor(text) == Fraction(factor)


@pytest.mark.parametrize(
    ("text", "says"), [("0", "above zero"), ("-1", "above zero"), ("2 s", "no unit"), ("", "nothing"), ("x", "nothing")]
)
def test_no_factor_is_refused(text: str, says: str) -> None:
    with pytest.raises(Mistyped, match=says):
        typed_factor(text)


BILLIONTHS = st.integers(-(10**14), 10**14).map(lambda number: Fraction(number, 10**9))


@given(at=BILLIONTHS, counted=st.sampled_from(["timecode", "frames"]))
def test_an_instant_that_is_written_is_read_back(at: Fraction, counted: Counted) -> None:
    times = Times(timebase=FILM, tempo=WALTZ, counted=counted)
    assert typed_instant(written(at, counted, FILM, WALTZ), times) == at


@given(
    number=st.integers(-(10**12), 10**12),
    counted=st.sampled_from(["seconds", "bars"]),
    rate=st.sampled_from(sorted(RATES)),
)
def test_seconds_and_bars_are_read_back_to_what_their_decimals_say(number: int, counted: Counted, rate: str) -> None:
    timebase, at = Timebase(Counting(RATES[rate]), Timecode(10, 0, 0, 0)), Fraction(number, 10**7)
    times = Times(timebase=timebase, tempo=WALTZ, counted=counted)
    assert abs(typed_instant(written(at, counted, timebase, WALTZ), times) - at) < Fraction(1, 10**6)


@given(value=st.integers(-(10**9), 10**9), unit=st.sampled_from(["deg", "mm", "part"]), comma=st.booleans())
def test_a_value_that_is_written_is_read_back(value: int, unit: str, comma: bool) -> None:
    text = value_text(value / 10**6, unit)
    assert typed_number(text.replace(".", ",") if comma else text, unit) == value / 10**6


def test_numbers_have_no_decimals_that_say_nothing() -> None:
    assert [decimal(one) for one in (0.0, -0.0, 12.5, -0.25, 100.0)] == ["0", "0", "12.5", "-0.25", "100"]
    assert decimal(Fraction(7, 3), 2) == "2.33"
    assert decimal(-0.0001, 2) == "0"
    assert decimal(Fraction(7, 2), 0) == "4"
