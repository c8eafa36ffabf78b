"""Performances as they were recorded: where the clock has gaps, what is left, and what is said of it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from sequencer.errors import TakeError
from sequencer.live.performed import Clocked, Gap, Stretch, Why, chosen, path, punched, stretches
from sequencer.timebase.rate import Rate

Floats = NDArray[np.float64]
RATE = Rate(25)
TICK_NS = 4_000_000
NONE = slice(0)


def clock(timeline_s: Floats, *, pace: float = 1.0, missing: slice = NONE, off: slice = NONE) -> Clocked:
    """Return a clock looked at each 4 ms; `missing`: where timecode was; `off`: where the rig was not on it."""
    count = len(timeline_s)
    followed, coasting = np.ones(count, np.bool_), np.zeros(count, np.bool_)
    followed[off], coasting[missing] = False, True
    due_ns = 77_000_000_000 + TICK_NS * np.arange(count, dtype=np.int64)
    return Clocked(due_ns=due_ns, timeline_s=timeline_s, followed=followed, coasting=coasting, pace=pace)


def even(count: int = 1000, from_s: float = 2.0) -> Floats:
    return np.asarray(from_s + 0.004 * np.arange(count), np.float64)


def test_a_clock_that_runs_is_one_stretch() -> None:
    found, gaps = stretches(clock(even()))
    assert found == (Stretch(0, 999),)
    assert gaps == ()


@pytest.mark.parametrize("speed", [0.86, 1.14])
def test_a_master_that_runs_a_little_off_its_speed_runs(speed: float) -> None:
    assert stretches(clock(np.asarray(2.0 + speed * 0.004 * np.arange(500), np.float64)))[0] == (Stretch(0, 499),)


def jumping(by_s: float) -> Floats:
    timeline_s = even()
    timeline_s[400:] += by_s
    return timeline_s


@pytest.mark.parametrize(
    ("by_s", "why"), [(1.0, Why.FORWARD), (0.04, Why.FORWARD), (-0.04, Why.BACK), (-3.0, Why.BACK)]
)
def test_a_jump_splits_and_says_by_how_much(by_s: float, why: Why) -> None:
    found, gaps = stretches(clock(jumping(by_s)))
    assert found == (Stretch(0, 399), Stretch(400, 999))
    (gap,) = gaps
    assert gap.why is why
    assert gap.lasts_s == pytest.approx(abs(by_s), abs=1e-9)
    # the setpoint before it was for 3.596 s, which is frame 89.9
    assert gap.words(RATE) == f"the clock {why} at @89.9 by {abs(by_s):.3g} s"


def test_a_clock_that_stands_splits_and_says_for_how_long() -> None:
    timeline_s = even()
    timeline_s[400:650] = timeline_s[400]
    timeline_s[650:] = timeline_s[400] + 0.004 * np.arange(1, 351)
    found, (gap,) = stretches(clock(timeline_s))
    assert found == (Stretch(0, 400), Stretch(649, 999))
    assert gap.why is Why.STANDING
    assert gap.lasts_s == pytest.approx(0.996)
    assert gap.words(RATE) == "the clock stands at @90 for 0.996 s"


def test_where_timecode_is_missing_it_splits_unless_it_is_told_to_go_on() -> None:
    one = clock(even(), missing=slice(300, 350))
    found, (gap,) = stretches(one)
    assert found == (Stretch(0, 299), Stretch(350, 999))
    assert gap.why is Why.COASTING
    assert gap.lasts_s == pytest.approx(0.204)
    assert stretches(one, coasts=True) == ((Stretch(0, 999),), ())
    # but a clock that jumped when it came back is not bridged
    assert len(stretches(clock(jumping(0.2), missing=slice(300, 400)), coasts=True)[0]) == 2


def test_setpoints_that_are_missing_split() -> None:
    one = clock(even())
    late_ns = one.due_ns.copy()
    late_ns[500:] += 200_000_000
    found, (gap,) = stretches(
        Clocked(
            due_ns=late_ns,
            timeline_s=one.timeline_s + (np.arange(1000) >= 500) * 0.2,
            followed=one.followed,
            coasting=one.coasting,
        )
    )
    assert found == (Stretch(0, 499), Stretch(500, 999))
    assert gap.why is Why.MISSING
    assert gap.lasts_s == pytest.approx(0.204)


def test_what_is_not_on_the_clock_before_and_after_is_no_gap() -> None:
    one = clock(even(), off=slice(0, 200))
    assert stretches(one) == ((Stretch(200, 999),), ())


def test_a_slower_pass_is_measured_by_its_own_speed() -> None:
    assert stretches(clock(np.asarray(2.0 + 0.001 * np.arange(500), np.float64), pace=0.25)) == ((Stretch(0, 499),), ())


@given(st.lists(st.sampled_from([0.004, 0.0041, 0.0, -0.5, 0.5]), min_size=2, max_size=60))
def test_in_every_stretch_the_clock_rises(steps: list[float]) -> None:
    one = clock(np.cumsum([0.0, *steps]))
    found, gaps = stretches(one)
    assert len(gaps) == max(0, len(found) - 1)
    for part in found:
        assert (np.diff(one.timeline_s[part.first : part.last + 1]) > 0).all()


def test_hands_had_the_axes_from_in_to_out() -> None:
    one = clock(even())
    at = [int(one.due_ns[place]) for place in (100, 300, 500, 800)]
    whole = (Stretch(0, 999),)
    marks = tuple(zip(at, ("in", "out", "in", "out"), strict=True))
    assert punched(one, marks, whole) == (Stretch(100, 300), Stretch(500, 800))
    assert punched(one, (), whole) == whole
    assert punched(one, marks[:1], whole) == (Stretch(100, 999),)
    assert punched(one, marks[1:2], whole) == (Stretch(0, 300),)
    assert punched(one, marks, (Stretch(0, 200), Stretch(210, 999))) == (
        Stretch(100, 200),
        Stretch(210, 300),
        Stretch(500, 800),
    )


def test_the_longest_stretch_is_taken_or_the_one_that_is_named() -> None:
    one = clock(even())
    parts = (Stretch(0, 200), Stretch(300, 900))
    assert chosen(one, parts, (), RATE) == parts[1]
    assert chosen(one, parts, (), RATE, (2.4, None)) == parts[0]
    assert chosen(one, parts, (), RATE, (None, 2.5)) == parts[0]
    with pytest.raises(TakeError, match=r"not performed in one piece there; the clock stands at @70 for 0.4 s; name.*"):
        chosen(one, parts, (Gap(2.8, 0.4, Why.STANDING),), RATE, (2.1, 4.0))
    with pytest.raises(TakeError, match=r"one of @50 to @70, @80 to @140"):
        chosen(one, parts, (), RATE, (2.9, None))


def test_where_nothing_is_left_it_is_said_with_the_gaps() -> None:
    one = clock(even(100))
    with pytest.raises(TakeError, match=r"no 0\.2 s of it.*stands at @51 for 0\.3 s; record it again"):
        chosen(one, (Stretch(0, 10),), (Gap(2.04, 0.3, Why.STANDING),), RATE)


def test_the_axis_stands_at_a_setpoint_later_by_its_latency() -> None:
    one = clock(even(), pace=0.5)
    found = path(one, Stretch(10, 20), np.arange(1000.0), 0.02)
    assert found.position.tolist() == list(range(10, 21))
    assert found.at_s == pytest.approx(one.timeline_s[10:21] + 0.01)
