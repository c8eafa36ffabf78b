"""Axes that lag, that are left behind, that never answer: which of them is astray, and from when on."""

import math
from dataclasses import replace

import numpy as np
import pytest

from sequencer.playback import contact, watch
from sequencer.playback.contact import Contact
from sequencer.playback.guard import Sent, at_rest, limits
from sequencer.rig.signals import Feedback, Floats
from tests.playback.rules import RIG

LIMITS = limits(RIG)
MS = 1_000_000
FROM = np.array([0.0, -20.0, 100.0, 0.1])
STILL = (0.0,) * 4
PAN_OFF = np.array([5.0, 0.0, 0.0, 0.0])  # its tolerance is 1.2 degrees


def said(seen: watch.Watch, position: Floats, at_ms: float) -> watch.Watch:
    at_ns = round(at_ms * MS)
    return watch.hear(seen, LIMITS, Feedback(at_ns, position, at_ns))


def sent(seen: watch.Watch, position: Floats, at_ms: float) -> watch.Watch:
    return watch.remember(seen, Sent(round(at_ms * MS), tuple(position.tolist()), STILL, STILL, STILL))


def begun(answers: bool | list[bool] = True) -> watch.Watch:
    return watch.begin(RIG, answers, at_rest(0, FROM))


def test_an_axis_is_astray_once_it_has_been_out_for_a_tenth_of_a_second_without_a_break() -> None:
    seen = said(begun(), FROM + PAN_OFF, 1000)
    assert watch.astray(said(seen, FROM + PAN_OFF, 1099.9), LIMITS) is None
    stray = watch.astray(said(seen, FROM + PAN_OFF, 1100), LIMITS)
    assert stray is not None
    assert (stray.axis, stray.by) == ("pan", 5.0)
    # once in bounds, the time begins anew
    back = said(said(seen, FROM, 1050), FROM + PAN_OFF, 1060)
    assert watch.astray(said(back, FROM + PAN_OFF, 1110), LIMITS) is None
    assert watch.astray(said(back, FROM + PAN_OFF, 1160), LIMITS) is not None


def test_what_is_within_the_tolerance_is_no_beginning_of_being_astray() -> None:
    near = said(begun(), FROM + 0.2 * PAN_OFF, 1000)
    assert near.strayed_ns is None
    assert near.gap == pytest.approx((1.0, 0.0, 0.0, 0.0))
    assert watch.astray(said(near, FROM + PAN_OFF, 1100), LIMITS) is None


@pytest.mark.parametrize(("left_ms", "covered"), [(240, True), (275, False)])
def test_an_axis_may_lag_by_its_latency_and_a_fifth_of_a_second(left_ms: int, covered: bool) -> None:
    """The longest latency of the rig is 50 ms: what was sent within the last 250 ms is where an axis may be."""
    seen = begun()
    for at_ms in range(10, 1001, 10):
        seen = sent(seen, FROM if at_ms <= 1000 - left_ms else FROM + 10 * PAN_OFF, at_ms)
    assert bool(said(seen, FROM, 1000).gap) == (not covered)
    assert seen.window_s == pytest.approx(0.25)


def test_setpoints_nearer_than_a_hundredth_of_a_second_are_not_all_kept() -> None:
    seen = begun()
    assert sent(seen, FROM + 1, 9.9) is seen
    assert sent(seen, FROM + 1, 10).due_ns == (0, 10 * MS)
    assert sent(sent(seen, FROM + 1, 10), FROM - 1, 20).due_ns == (0, 10 * MS, 20 * MS)
    between = sent(sent(seen, FROM + 1, 10), FROM - 1, 20)
    assert tuple(between.low) == tuple(FROM - 1)
    assert tuple(between.high) == tuple(FROM + 1)


def test_the_oldest_setpoint_that_is_kept_is_the_one_just_before_the_window() -> None:
    seen = begun()
    for at_ms in range(100, 1001, 100):
        seen = sent(seen, FROM, at_ms)
    assert [due_ns // MS for due_ns in seen.due_ns] == [700, 800, 900, 1000]


def test_an_axis_that_is_left_behind_is_no_fault_wherever_it_is() -> None:
    seen = said(begun(), FROM + PAN_OFF, 1000)
    assert seen.strayed_ns is not None
    left = watch.leave(seen, [0])
    assert (left.strayed_ns, left.gap) == (None, ())
    for at_ms in (1010, 1200, 1400):
        left = said(left, FROM + PAN_OFF, at_ms)
    assert watch.astray(left, LIMITS) is None
    assert watch.near(left, LIMITS, at_rest(0, FROM))
    assert not watch.near(watch.leave(left, [1]), LIMITS, at_rest(0, FROM))
    # taken along again, it is judged again
    again = watch.leave(left, ())
    for at_ms in (1500, 1700):
        again = said(again, FROM + PAN_OFF, at_ms)
    assert watch.astray(again, LIMITS) is not None


def test_an_axis_that_is_left_behind_is_not_missed_either() -> None:
    left = watch.leave(said(begun(), FROM, 1000), [0])
    answer = FROM.copy()
    answer[0] = math.nan
    left = said(left, answer, 3000)
    assert watch.silent_s(left, 3100 * MS) == pytest.approx(0.1)
    assert watch.silent_s(watch.leave(left, ()), 3100 * MS) == pytest.approx(2.1)
    nobody = watch.leave(left, [0, 1, 2, 3])
    assert not nobody.answers
    assert watch.silent_s(nobody, 9000 * MS) == 0.0


def test_an_axis_that_falls_silent_is_judged_for_the_window_and_then_missed_for_its_silence() -> None:
    seen = said(begun(), FROM + PAN_OFF, 1000)
    answer = FROM.copy()
    answer[0] = math.nan
    seen = said(seen, answer, 1200)
    assert seen.gap[0] == 5.0
    assert watch.astray(seen, LIMITS) is not None
    seen = said(seen, answer, 1201)
    assert seen.gap == ()
    assert watch.silent_s(seen, 1300 * MS) == pytest.approx(0.3)


def test_only_axes_that_answer_are_waited_for() -> None:
    seen = begun([True, False, True, False])
    assert seen.answers
    some = said(seen, np.array([1.0, math.nan, math.nan, math.nan]), 1000)
    assert not some.told
    assert some.longest_ns == 0
    rest = said(some, np.array([math.nan, math.nan, 3.0, math.nan]), 1100)
    assert rest.told
    assert rest.longest_ns == 1000 * MS
    assert not begun(False).answers
    assert not begun().told


@pytest.mark.parametrize(("place", "said_so"), [(9_999_999.0, True), (1e7, False), (-1e7, False)])
def test_ten_kilometres_away_is_no_place(place: float, said_so: bool) -> None:
    answer = FROM.copy()
    answer[2] = place
    seen = said(begun(), answer, 1000)
    assert seen.position is not None
    assert (seen.position[2] == place) == said_so


def test_a_rig_of_which_one_axis_spoke_is_near_as_far_as_it_says() -> None:
    seen = said(begun(), np.array([0.0, math.nan, math.nan, math.nan]), 1000)
    assert watch.near(seen, LIMITS, at_rest(0, FROM))
    assert not watch.near(seen, LIMITS, at_rest(0, FROM + PAN_OFF))


def test_a_watch_begun_anew_keeps_what_was_heard_and_forgets_who_was_left() -> None:
    seen = watch.leave(said(begun([True, True, False, True]), FROM + PAN_OFF, 1000), [1])
    first = at_rest(1500 * MS, FROM + PAN_OFF)
    anew = watch.anew(seen, RIG, first)
    assert anew.answering.tolist() == [True, True, False, True]
    assert not anew.left.any()
    assert (anew.heard_ns, anew.longest_ns, anew.strayed_ns, anew.gap) == (1000 * MS, 1000 * MS, None, ())
    assert anew.position is not None
    assert tuple(anew.position) == tuple(FROM + PAN_OFF)
    assert anew.due_ns == (1500 * MS,)
    assert tuple(anew.low) == tuple(anew.high) == tuple(FROM + PAN_OFF)


def test_a_rig_that_dropped_stands_nowhere_until_it_speaks_again() -> None:
    gone = watch.forget(said(watch.leave(begun(), [0]), FROM, 1000))
    assert gone.position is None
    assert not gone.told
    assert not gone.left.any()
    assert gone.heard_ns == 1000 * MS
    assert not watch.near(gone, LIMITS, at_rest(0, FROM))


# --- where playback begins anew


def test_what_was_never_said_stays_where_it_was_sent() -> None:
    """After a drop too, an axis that said nothing is begun from its last setpoint."""
    seen = said(begun(), np.array([8.0, math.nan, math.nan, math.nan]), 1000)
    first = contact.begun(Contact(dropped_ns=1, why="gone"), seen, LIMITS, at_rest(7, FROM))
    assert first.position == (8.0, -20.0, 100.0, 0.1)
    assert first.due_ns == 7
    none = contact.begun(Contact(dropped_ns=1), begun(), LIMITS, at_rest(7, FROM))
    assert none == at_rest(7, FROM)


@pytest.mark.parametrize(("off", "begins"), [(1.19, 0.0), (1.21, 1.21), (-1.21, -1.21)])
def test_an_axis_within_its_tolerance_begins_where_it_was_sent(off: float, begins: float) -> None:
    seen = said(begun(), FROM + np.array([off, 0.0, 0.0, 0.0]), 1000)
    assert contact.begun(Contact(), seen, LIMITS, at_rest(0, FROM)).position[0] == begins


def test_outside_is_beyond_the_end_by_more_than_the_tolerance_and_only_where_nothing_is_sent() -> None:
    dropped = Contact(dropped_ns=1)
    below = said(begun(), np.array([0.0, -31.0, 100.0, 0.1]), 1000)
    stray = contact.outside(dropped, below, LIMITS)
    assert str(stray) == "tilt by 1 deg"
    assert stray is not None
    assert stray.by == -1.0
    assert contact.outside(dropped, said(begun(), np.array([0.0, -30.7, 100.0, 0.1]), 1000), LIMITS) is None
    silent = said(begun(), np.array([math.nan, -31.0, math.nan, math.nan]), 1000)
    assert contact.outside(dropped, silent, LIMITS) == stray
    assert contact.outside(dropped, begun(), LIMITS) is None
    assert contact.outside(Contact(), below, LIMITS) is None


def test_the_words_when_it_is_back_say_how_long_and_how_fast() -> None:
    seen = said(begun(), FROM, 1000)
    there = at_rest(0, FROM)
    away = Contact(dropped_ns=1000 * MS)
    told = contact.back(away, seen, LIMITS, there, None, 3500 * MS)
    assert told.startswith("the rig answers again after 2.5 s")
    assert "round trip" not in told
    assert told.endswith("Nothing moves before Reset")
    assert "round trip of 7 ms" in contact.back(away, seen, LIMITS, there, 0.007, 3500 * MS)
    deaf = contact.back(away, begun(), LIMITS, there, None, 3500 * MS)
    assert deaf.startswith("the link to the rig is open again after 2.5 s. The rig does not say where it stands: look")
    never = contact.back(Contact(), seen, LIMITS, there, None, 3500 * MS)
    assert never.startswith("the rig answers again after 0.0 s. It stands where it was sent")
    assert contact.elsewhere(begun(), LIMITS, there) == ""
    at_edge = replace(seen, position=FROM + np.array([LIMITS.tolerance[0], 0.0, 0.0, 0.0]))
    assert contact.elsewhere(at_edge, LIMITS, there) == ""
