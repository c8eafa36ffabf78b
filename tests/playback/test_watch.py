"""A rig that lags is in bounds, one that stalls is not, and one wrong answer stops nothing."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from sequencer.playback import watch
from sequencer.playback.guard import Sent, at_rest, limits, strays
from sequencer.rig.signals import Feedback
from tests.playback.rules import ACCELERATION, RIG, SPEED

LIMITS = limits(RIG)
TICK_NS = 4_000_000
Floats = NDArray[np.float64]
FROM = np.array([0.0, -20.0, 100.0, 0.1])


def sent_at(t_s: float) -> Floats:
    """From rest at FROM up to 0.8 of full speed."""
    ramp_s = 0.8 * SPEED / ACCELERATION
    return np.asarray(
        FROM + np.where(t_s < ramp_s, ACCELERATION * t_s**2 / 2, 0.8 * SPEED * (t_s - ramp_s / 2)), np.float64
    )


def go(seen: watch.Watch, answer: Floats, tick: int) -> watch.Watch:
    """One tick: the rig answers, and the next setpoint goes out."""
    due_ns = tick * TICK_NS
    seen = watch.hear(seen, LIMITS, Feedback(due_ns, answer, due_ns))
    still = (0.0,) * 4
    return watch.remember(seen, Sent(due_ns, tuple(sent_at(due_ns * 1e-9).tolist()), still, still, still))


def begun(answers: bool = True) -> watch.Watch:
    return watch.begin(RIG, answers, at_rest(0, FROM))


def test_a_rig_that_lags_behind_or_leads_by_a_little_is_in_bounds() -> None:
    for lag_s in (-0.005, 0.0, 0.05, 0.2):
        seen = begun()
        for tick in range(1, 200):
            seen = go(seen, sent_at(max(tick * TICK_NS * 1e-9 - lag_s, 0.0)), tick)
            assert watch.astray(seen, LIMITS) is None


@pytest.mark.parametrize("tick_hz", [25, 40, 50, 101, 125])
def test_a_rig_on_its_setpoints_at_full_speed_is_in_bounds_at_few_ticks_a_second(tick_hz: int) -> None:
    """It answers just before its next setpoint is due, and is as good as there."""
    seen, tick_s = begun(), 1 / tick_hz
    for tick in range(1, 2 * tick_hz):
        due_ns = round(tick * tick_s * 1e9)
        seen = watch.hear(seen, LIMITS, Feedback(due_ns, FROM + SPEED * tick * tick_s, due_ns))
        if tick > 1:  # the first step is to full speed at once, which no rig is asked for
            assert strays(LIMITS, seen.gap) is None
        there, speed = tuple((FROM + SPEED * tick * tick_s).tolist()), tuple(SPEED.tolist())
        seen = watch.remember(seen, Sent(due_ns, there, speed, speed, speed, span_s=tick_s))


def test_an_axis_that_stalls_is_named_soon_after_its_setpoints_have_left_it() -> None:
    seen = begun()
    stalled = sent_at(0.6)
    for tick in range(1, 400):
        t_s = tick * TICK_NS * 1e-9
        answer = sent_at(max(t_s - 0.03, 0.0))
        if t_s > 0.6:
            answer[2] = stalled[2]
        seen = go(seen, answer, tick)
        stray = watch.astray(seen, LIMITS)
        if stray is not None:
            break
    assert stray is not None
    assert (stray.axis, stray.unit) == ("slide", "mm")
    assert stray.by < 0
    most_s = watch.WINDOW_S + 0.05 + watch.ASTRAY_S + LIMITS.tolerance[2] / (0.8 * SPEED[2])
    assert most_s - 0.05 < t_s - 0.6 < most_s + 0.03


def test_one_wrong_answer_stops_nothing() -> None:
    seen = begun()
    for tick in range(1, 100):
        wrong = 1e6 if tick == 50 else 0.0
        seen = go(seen, sent_at(tick * TICK_NS * 1e-9) + wrong, tick)
        assert watch.astray(seen, LIMITS) is None


def test_a_rig_may_name_its_axes_one_at_a_time() -> None:
    seen = begun()
    for tick in range(1, 300):
        answer = np.full(4, np.nan)
        answer[tick % 4] = sent_at(max(tick * TICK_NS * 1e-9 - 0.03, 0.0))[tick % 4]
        seen = go(seen, answer, tick)
        assert watch.astray(seen, LIMITS) is None
    assert seen.position is not None
    assert np.isfinite(seen.position).all()


def test_an_axis_that_falls_silent_while_the_others_speak_is_missed_for_its_silence_and_is_never_astray() -> None:
    seen = begun()
    for tick in range(1, 300):
        answer = sent_at(max(tick * TICK_NS * 1e-9 - 0.03, 0.0))
        if tick > 100:
            answer[0] = np.nan
        seen = go(seen, answer, tick)
        assert watch.astray(seen, LIMITS) is None
    assert watch.silent_s(seen, 299 * TICK_NS) == pytest.approx(199 * TICK_NS * 1e-9)


def test_silence_is_counted_from_the_last_answer() -> None:
    assert watch.silent_s(begun(answers=False), 10**12) == 0
    assert watch.silent_s(begun(), 10**9) == math.inf
    seen = go(begun(), FROM, 250)
    assert watch.silent_s(seen, 1_700_000_000) == pytest.approx(0.7)


def test_near_is_within_the_tolerance_as_far_as_the_rig_says() -> None:
    there = at_rest(0, FROM)
    assert watch.near(begun(answers=False), LIMITS, there)
    assert not watch.near(begun(), LIMITS, there)
    assert watch.near(go(begun(), FROM + 0.5 * np.array(LIMITS.tolerance), 1), LIMITS, there)
    assert not watch.near(go(begun(), FROM + np.array([0, 0, 1.5 * LIMITS.tolerance[2], 0]), 1), LIMITS, there)


def test_what_is_kept_of_the_setpoints_covers_the_window_and_no_more() -> None:
    seen = begun()
    for tick in range(1, 2000):
        seen = go(seen, sent_at(tick * TICK_NS * 1e-9), tick)
    kept_s = (seen.due_ns[-1] - seen.due_ns[0]) * 1e-9
    assert seen.window_s <= kept_s < seen.window_s + 0.03
    assert len(seen.due_ns) < 30


@pytest.mark.parametrize("mad", [1e30, -1e30, math.inf, -math.inf])
def test_what_no_axis_can_be_at_counts_as_nothing_said(mad: float) -> None:
    seen = go(begun(), FROM, 1)
    answer = FROM.copy()
    answer[1] = mad
    for tick in range(2, 200):
        seen = go(seen, answer, tick)
    assert seen.position is not None
    assert seen.position[1] == FROM[1], "what it said before stands"
    assert watch.silent_s(seen, 199 * TICK_NS) == pytest.approx(198 * TICK_NS * 1e-9)
    # a rig of which nothing sane was ever heard stands nowhere
    first = watch.hear(begun(), LIMITS, Feedback(TICK_NS, answer, TICK_NS))
    assert first.position is not None
    assert math.isnan(first.position[1])
    assert not first.told
