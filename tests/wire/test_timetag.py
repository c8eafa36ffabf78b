"""Timetags against the epochs that RFC 5905 tabulates, and against an exact inverse."""

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.wire.timetag import IMMEDIATELY, UNIX_EPOCH_S, WallOffset, instant, timetag

SECOND_NS = 1_000_000_000
NOW_NS = 5_000 * SECOND_NS


def unix_ns(*date: int) -> int:
    return int(datetime(*date, tzinfo=UTC).timestamp()) * SECOND_NS  # type: ignore[arg-type, misc]  # year to second


@pytest.mark.parametrize(
    ("date", "seconds"),
    [
        ((1970, 1, 1), 2_208_988_800),
        ((1972, 1, 1), 2_272_060_800),
        ((1999, 12, 31), 3_155_587_200),
        ((2036, 2, 8), 63_104),  # era 1
    ],
)
def test_seconds_count_from_1900(date: tuple[int, ...], seconds: int) -> None:
    """Source: RFC 5905, figure 4, "Interesting Historic NTP Dates"."""
    assert timetag(0, unix_ns(*date)) == seconds << 32


def test_a_fraction_of_a_second_is_in_the_lower_half() -> None:
    """Worked by hand: 0.25 s is a quarter of 2^32, and an instant adds to the offset."""
    assert timetag(SECOND_NS // 4, -UNIX_EPOCH_S * SECOND_NS) == 0x4000_0000
    assert timetag(3 * SECOND_NS, -UNIX_EPOCH_S * SECOND_NS - SECOND_NS // 2) == 0x0000_0002_8000_0000


@given(
    at_ns=st.integers(0, 10**18),
    offset_ns=st.integers(0, 5 * 10**18),
    apart_ns=st.integers(-60 * SECOND_NS, 60 * SECOND_NS),
)
def test_every_nanosecond_comes_back(at_ns: int, offset_ns: int, apart_ns: int) -> None:
    """Also across the end of an era (2036-02-07 06:28:16), since offsets reach beyond it."""
    tag = timetag(at_ns, offset_ns)
    if tag != IMMEDIATELY:
        assert instant(tag, offset_ns, at_ns + apart_ns) == at_ns


def test_at_once_is_now() -> None:
    assert instant(IMMEDIATELY, 123, NOW_NS) == NOW_NS


def test_drift_of_the_clock_is_followed() -> None:
    """A disciplined clock moves by up to 500 parts in a million (RFC 5905, section 11.3)."""
    offset = WallOffset(0, 1000)
    for second in range(1, 101):
        offset = offset.follow(second * SECOND_NS, 1000 + second * 400_000)
    assert offset == WallOffset(100 * SECOND_NS, 1000 + 100 * 400_000)


@pytest.mark.parametrize("step_ns", [SECOND_NS, -SECOND_NS, 3_600 * SECOND_NS, 2_000_000])
def test_a_step_of_the_clock_leaves_timetags_where_they_were(step_ns: int) -> None:
    offset = WallOffset(0, 1000).follow(SECOND_NS, 1000 + step_ns)
    assert (offset.offset_ns, offset.stepped_ns) == (1000, step_ns)
    # from then on the drift of the stepped clock is followed, and a step back takes the first one away
    offset = offset.follow(2 * SECOND_NS, 1000 + step_ns + 100_000)
    assert (offset.offset_ns, offset.stepped_ns) == (101_000, step_ns)
    offset = offset.follow(3 * SECOND_NS, 101_000)
    assert (offset.offset_ns, offset.stepped_ns) == (101_000, 0)
