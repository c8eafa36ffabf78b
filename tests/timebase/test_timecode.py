"""Labels against the standard's counts, a general timecode library, and themselves."""

from fractions import Fraction

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from timecode.timecode import Timecode as Theirs

from sequencer.timebase.rate import RATES, Rate
from sequencer.timebase.timecode import Counting, Timebase, Timecode, count, label, parse

DROP_30 = Counting(Rate(30000, 1001), drop=True)
DROP_60 = Counting(Rate(60000, 1001), drop=True)
COUNTINGS = {str(rate): Counting(rate) for rate in RATES.values()} | {"30 drop": DROP_30, "60 drop": DROP_60}
# how the library names the rates; it counts frames from one
THEIR_RATES = {
    "24": "24",
    "25": "25",
    "30": "30",
    "48": "48",
    "50": "50",
    "60": "60",
    "24000/1001": "23.98",
    "30 drop": "29.97",
    "60 drop": "59.94",
}
names = st.sampled_from(sorted(COUNTINGS))
numbers = st.integers(0, 60 * 86_400 - 1)


def frames_of(text: str, counting: Counting) -> Fraction:
    return count(parse(text, counting), counting)


def test_drop_frame_counts_of_the_standard() -> None:
    # Source: SMPTE ST 12-1, drop-frame compensation: 17,982 frames in ten minutes, 107,892 in an hour at 30000/1001
    assert frames_of("00:10:00;00", DROP_30) == 17_982
    assert frames_of("01:00:00;00", DROP_30) == 107_892
    assert DROP_30.day == 24 * 107_892
    assert frames_of("00:10:00;00", DROP_60) == 2 * 17_982
    assert DROP_60.day == 2 * DROP_30.day


def test_labels_round_the_edge_of_a_minute() -> None:
    # Source: SMPTE ST 12-1: 00 and 01 are left out at the start of each minute but every tenth
    assert str(label(1799, DROP_30)) == "00:00:59;29"
    assert str(label(1800, DROP_30)) == "00:01:00;02"
    assert str(label(17_981, DROP_30)) == "00:09:59;29"
    assert str(label(17_982, DROP_30)) == "00:10:00;00"
    assert str(label(3600, DROP_60)) == "00:01:00;04"


@given(st.sampled_from(sorted(THEIR_RATES)), numbers)
@example("30 drop", 107_891)
@example("60 drop", 17_982)
def test_labels_are_those_of_a_general_library(name: str, number: int) -> None:
    # Source: the package `timecode` from the package index; its frames begin at one
    number %= COUNTINGS[name].day
    theirs = Theirs(THEIR_RATES[name], frames=number + 1)
    ours = label(number, COUNTINGS[name])
    assert (ours.hours, ours.minutes, ours.seconds, ours.frames) == (theirs.hrs, theirs.mins, theirs.secs, theirs.frs)
    assert Theirs(THEIR_RATES[name], str(ours)).frames - 1 == count(ours, COUNTINGS[name])


@given(names, numbers)
def test_count_is_the_inverse_of_label(name: str, number: int) -> None:
    counting = COUNTINGS[name]
    number %= counting.day
    assert count(label(number, counting), counting) == number
    assert label(number + counting.day, counting) == label(number, counting)


@given(names, numbers, st.integers(0, 10**9 - 1))
def test_printing_and_parsing_keep_the_part_of_a_frame(name: str, number: int, billionths: int) -> None:
    counting = COUNTINGS[name]
    at = label(number % counting.day + Fraction(billionths, 10**9), counting)
    assert parse(str(at), counting) == at


def test_parts_of_a_frame_are_printed_short_and_never_carry() -> None:
    counting = COUNTINGS["25"]
    assert str(parse("10:00:05:12.250", counting)) == "10:00:05:12.25"
    assert str(parse("10:00:05:12.0", counting)) == "10:00:05:12"
    assert parse("10:00:05:12.25", counting).part == Fraction(1, 4)
    assert str(Timecode(0, 0, 0, 12, Fraction(2, 3))) == "00:00:00:12.666666667"
    assert str(Timecode(0, 0, 0, 12, Fraction(10**12 - 1, 10**12))) == "00:00:00:12.999999999"


@pytest.mark.parametrize(
    ("text", "name", "says"),
    [
        ("10:00:61:00", "25", "10:00:61:00 has 61 seconds"),
        ("10:60:00:00", "25", "has 60 minutes"),
        ("24:00:00:00", "25", "has 24 hours"),
        ("10:00:00:25", "25", "has frame 25; at 25 frames run from 0 to 24"),
        ("10:01:00;01", "30 drop", "left out by drop-frame counting; the next label is frame 2"),
        ("10:01:00;03", "60 drop", "left out by drop-frame counting; the next label is frame 4"),
        ("１0:00:00:00", "25", "is not a timecode; write one like"),  # digits of another script
        ("10:00:00", "25", "is not a timecode; write one like"),
        ("", "25", "is not a timecode; write one like"),
        ("-1:00:00:00", "25", "is not a timecode; write one like"),
        ("10:00:00:00.", "25", "is not a timecode; write one like"),
        ("10:00:00:00\n", "25", "is not a timecode; write one like"),
    ],
)
def test_labels_that_do_not_exist_say_what_is_wrong(text: str, name: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        parse(text, COUNTINGS[name])


def test_labels_that_are_kept_every_tenth_minute_exist() -> None:
    assert frames_of("10:10:00;00", DROP_30) == 10 * 107_892 + 17_982


@pytest.mark.parametrize("rate", [Rate(25), Rate(30), Rate(24000, 1001)], ids=str)
def test_drop_frame_belongs_to_two_rates(rate: Rate) -> None:
    with pytest.raises(ValueError, match="drop-frame counting belongs to"):
        Counting(rate, drop=True)


@pytest.mark.parametrize("name", COUNTINGS)
def test_a_day_from_the_projects_start_does_not_drift(name: str) -> None:
    counting = COUNTINGS[name]
    base = Timebase(counting, label(counting.day // 3, counting))
    day = counting.day
    for frames in (*range(60), day // 2, day - 1, day):
        assert count(base.label(frames), counting) == (day // 3 + frames) % day
    assert base.rate.frames(base.rate.seconds(day)) == day
    # drop-frame labels stay within two frames of the wall clock over a day (Source: SMPTE ST 12-1 gives 86 ms)
    if counting.drop:
        assert abs(float(counting.rate.seconds(day)) - 86_400) < 0.0866


@given(names, numbers, numbers)
def test_the_day_is_wrapped_the_short_way(name: str, start: int, at: int) -> None:
    counting = COUNTINGS[name]
    base = Timebase(counting, label(start % counting.day, counting))
    frames = base.wrap(at % counting.day)
    assert -Fraction(counting.day, 2) <= frames < Fraction(counting.day, 2)
    assert count(base.label(frames), counting) == at % counting.day
    assert base.frames(str(base.label(frames))) == frames


def test_seconds_are_shown_to_a_hundredth_of_a_frame() -> None:
    base = Timebase(COUNTINGS["25"], Timecode(10, 0, 0, 0))
    assert str(base.label_at(5.49)) == "10:00:05:12.25"
    assert str(base.label_at(2 / 3)) == "10:00:00:16.67"
    assert str(base.label_at(-0.04)) == "09:59:59:24"


@given(names, numbers, numbers, st.fractions(0, 1, max_denominator=10**9).filter(lambda part: part < 1))
def test_the_quick_reader_and_writer_say_what_the_others_do(name: str, start: int, number: int, part: Fraction) -> None:
    counting = COUNTINGS[name]
    timebase = Timebase(counting, label(start, counting))
    at = timebase.wrap((number % counting.day) + part)
    text = timebase.writer()(at)
    assert text == str(timebase.label(at))
    assert timebase.reader()(text) == timebase.frames(text)
    assert timebase.frames(text) == pytest.approx(at, abs=1e-9)


@pytest.mark.parametrize(
    "text", ["", "1:2:3", "24:00:00:00", "00:60:00:00", "00:00:60:00", "00:00:00:30", "00:01:00;01"]
)
def test_the_quick_reader_says_what_is_wrong(text: str) -> None:
    timebase = Timebase(DROP_30, Timecode(10, 0, 0, 0))
    with pytest.raises(ValueError, match=r".") as slow:
        timebase.frames(text)
    with pytest.raises(ValueError, match=r".") as quick:
        timebase.reader()(text)
    assert str(quick.value) == str(slow.value)


def test_the_quick_ones_know_a_start_within_a_frame() -> None:
    timebase = Timebase(Counting(Rate(25)), Timecode(10, 0, 0, 0, Fraction(1, 2)))
    assert timebase.reader()("10:00:01:00") == Fraction(49, 2)
    assert timebase.writer()(Fraction(49, 2)) == "10:00:01:00"
