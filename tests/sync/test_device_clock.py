"""The clock of a device over made-up links whose truth is known: offset and skew, steps, spoilt stamps, other ways.

Limits are the issue's own; the ways that differ for good are stated, not hidden.
"""

import math

import numpy as np
import pytest

from sequencer.sync.device_clock import GOOD_S, MOST_SLEW, DeviceClock, Exchange, Slewed
from tests.sync.far_clock import SECOND_NS, FarClock, exponential, spread

MS = 1e-3
JITTERS = {"spread": spread(0.010, 0.110), "exponential": exponential(0.010, 0.050)}
OUTAGES = ((12.0, 17.0), (60.0, 65.0))


def off_s(clock: DeviceClock, far: FarClock, t_s: float) -> float:
    return (clock.device_ns(far.here_ns(t_s)) - far.there_ns(t_s)) * 1e-9


def test_offset_and_delay_are_those_of_the_on_wire_protocol() -> None:
    """Source: RFC 5905, section 8: theta = ((T2-T1)+(T3-T4))/2, delta = (T4-T1)-(T3-T2); the numbers are our own."""
    one = Exchange(sent_ns=1_000, received_ns=51_030, answered_ns=51_130, back_ns=1_150)
    assert one.offset_ns == ((51_030 - 1_000) + (51_130 - 1_150)) / 2 == 50_005
    assert one.delay_ns == 150 - 100


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("skew", [-100e-6, 100e-6])
@pytest.mark.parametrize("jitter", JITTERS)
def test_jitter_of_50_ms_loss_and_outages_leave_a_millisecond_after_30_s_and_a_fifth_after_120(
    jitter: str, skew: float, seed: int
) -> None:
    far = FarClock(out=JITTERS[jitter], back=JITTERS[jitter], skew=skew, away=OUTAGES)
    clock = DeviceClock()
    late = []
    checked_s = 30.0
    for t_s, exchange in far.exchanges(125.0, 50, seed):
        while t_s > checked_s:
            most_s = 1.0 * MS if checked_s < 120 else 0.2 * MS
            assert abs(off_s(clock, far, checked_s)) <= most_s
            late.append(abs(off_s(clock, far, checked_s)) <= clock.error_s(far.here_ns(checked_s)))
            checked_s += 1.0
        clock.feed(exchange)
    assert checked_s > 120
    assert clock.steps == 0
    # the bound that is told holds nearly always
    assert np.mean(late) >= 0.95
    assert clock.skew == pytest.approx(skew, abs=3e-6)


@pytest.mark.parametrize("jitter", JITTERS)
def test_within_two_seconds_sets_may_go_out(jitter: str) -> None:
    for seed in range(20):
        far = FarClock(out=JITTERS[jitter], back=JITTERS[jitter], skew=50e-6)
        clock = DeviceClock()
        assert math.isinf(clock.error_s(far.here_ns(0)))
        for t_s, exchange in far.exchanges(2.0, 100, seed):
            clock.feed(exchange)
            if clock.certain(far.here_ns(t_s)):
                assert abs(off_s(clock, far, t_s)) <= 2 * GOOD_S
        assert clock.certain(far.here_ns(2.0))
        assert abs(off_s(clock, far, 2.0)) <= GOOD_S


@pytest.mark.parametrize("longer_s", [0.004, -0.006])
def test_ways_that_differ_put_the_offset_off_by_half_of_what_they_differ(longer_s: float) -> None:
    """Source: RFC 5905, section 8: the offset is right for ways alike; that nobody can tell is common knowledge."""
    far = FarClock(out=spread(0.010 + longer_s, 0.030 + longer_s), back=spread(0.010, 0.030))
    clock = DeviceClock()
    for _, exchange in far.exchanges(60.0, 50, 1):
        clock.feed(exchange)
    assert off_s(clock, far, 60.0) == pytest.approx(longer_s / 2, abs=0.2 * MS)
    # half the least round trip is the most that it can be
    assert abs(off_s(clock, far, 60.0)) <= clock.round_trip_s / 2


def told(far: FarClock, seconds: float, per_s: float, seed: int) -> tuple[DeviceClock, list[float]]:
    """Feed a clock as an output does, twice as often while it doubts; return it, and when it told a step."""
    clock, times = DeviceClock(), []
    asked_s = 0.0
    for t_s, exchange in far.exchanges(seconds, per_s, seed):
        sent_s = (exchange.sent_ns - far.begun_ns) * 1e-9
        if sent_s - asked_s < 1 / 20 - 1e-6 and not clock.in_doubt and sent_s > 3:
            continue
        asked_s = sent_s
        steps = clock.steps
        clock.feed(exchange)
        if clock.steps > steps:
            times.append(t_s)
    return clock, times


@pytest.mark.parametrize("step_s", [-5.0, -0.2, -0.06, 0.06, 0.2, 100.0])
@pytest.mark.parametrize("jitter", JITTERS)
def test_a_step_is_told_within_a_second_and_learnt_anew(jitter: str, step_s: float) -> None:
    for seed in range(5):
        far = FarClock(out=JITTERS[jitter], back=JITTERS[jitter], skew=20e-6, step_at_s=20.0, step_s=step_s)
        clock, times = told(far, 24.0, 50, seed)
        assert 20.0 < times[0] <= 21.0
        assert clock.step_s == pytest.approx(step_s, abs=0.06) or len(times) > 1
        assert clock.certain(far.here_ns(24.0))
        assert abs(off_s(clock, far, 24.0)) < GOOD_S


def test_on_a_calm_link_a_step_of_a_millisecond_is_told() -> None:
    calm = exponential(0.0002, 0.0001)
    far = FarClock(out=calm, back=calm, loss=0.0, step_at_s=20.0, step_s=0.001)
    clock, times = told(far, 23.0, 50, 1)
    assert len(times) == 1
    assert 20.0 < times[0] <= 20.5
    assert clock.step_s == pytest.approx(0.001, abs=0.1 * MS)


def test_a_device_that_begins_anew_is_a_step_back_to_nothing() -> None:
    far = FarClock(out=JITTERS["spread"], back=JITTERS["spread"], apart_s=500.0, step_at_s=20.0, step_s=-519.9)
    clock, times = told(far, 23.0, 50, 4)
    assert times[0] <= 20.5
    assert abs(off_s(clock, far, 23.0)) < GOOD_S


@pytest.mark.parametrize("jitter", JITTERS)
@pytest.mark.parametrize("seed", range(5))
def test_no_step_is_told_where_there_is_none(jitter: str, seed: int) -> None:
    far = FarClock(out=JITTERS[jitter], back=JITTERS[jitter], skew=-80e-6, away=OUTAGES)
    assert told(far, 90.0, 50, seed)[1] == []


def test_a_way_that_becomes_shorter_or_longer_is_no_step() -> None:
    for shorter_s in (0.005, -0.02):
        before = FarClock(out=spread(0.030, 0.060), back=spread(0.030, 0.060))
        after = FarClock(out=spread(0.030 - shorter_s, 0.060 - shorter_s), back=spread(0.030, 0.060))
        clock = DeviceClock()
        for far, begin_s, end_s in ((before, 0, 20), (after, 20, 40)):
            for t_s, exchange in far.exchanges(40.0, 50, 3):
                if begin_s <= t_s < end_s:
                    clock.feed(exchange)
        assert clock.steps == 0
        # what the ways differ by now spoils half of itself at most, as everywhere
        assert abs(off_s(clock, before, 40.0)) <= abs(shorter_s) / 2 + 0.5 * MS


def test_stamps_that_were_spoilt_on_the_way_do_not_move_it() -> None:
    far = FarClock(out=spread(0.010, 0.030), back=spread(0.010, 0.030))
    clock, clean = DeviceClock(), DeviceClock()
    for number, (_, exchange) in enumerate(far.exchanges(40.0, 50, 9)):
        clean.feed(exchange)
        clock.feed(exchange)
        if number % 211 == 100:
            # a flipped bit of the seconds, in one stamp or in both
            flipped = exchange.received_ns ^ (1 << 34)
            clock.feed(exchange._replace(received_ns=flipped))
            clock.feed(exchange._replace(received_ns=flipped, answered_ns=exchange.answered_ns ^ (1 << 34)))
    assert clock.steps == 0
    assert clock.nonsense >= 8
    here_ns = far.here_ns(40.0)
    assert abs(clock.device_ns(here_ns) - clean.device_ns(here_ns)) < 300_000


def test_an_answer_before_its_question_is_nonsense() -> None:
    clock = DeviceClock()
    clock.feed(Exchange(100, 50, 40, 200))
    clock.feed(Exchange(100, 50, 60, -20_000_000))
    assert clock.nonsense == 2
    with pytest.raises(ValueError, match="not known"):
        clock.device_ns(0)


def test_instants_go_there_and_back() -> None:
    far = FarClock(out=spread(0.001, 0.002), back=spread(0.001, 0.002), skew=100e-6, apart_s=1e6)
    clock = DeviceClock()
    for _, exchange in far.exchanges(10.0, 50, 1):
        clock.feed(exchange)
    for t_s in (0.0, 9.9, 3600.0):
        here_ns = far.here_ns(t_s)
        assert abs(clock.here_ns(clock.device_ns(here_ns)) - here_ns) < 1_000


def test_a_moving_axis_is_told_instants_that_are_slewed_and_one_at_rest_the_best_known() -> None:
    far = FarClock(out=JITTERS["spread"], back=JITTERS["spread"], skew=50e-6)
    clock, moving, resting = DeviceClock(), Slewed(), Slewed()
    tick_ns, last = 4_000_000, None
    due_ns = far.here_ns(2.0)
    worst = 0.0
    for t_s, exchange in far.exchanges(20.0, 50, 2):
        clock.feed(exchange)
        while t_s > 2 and due_ns <= exchange.back_ns:
            told_ns = moving.device_ns(clock, due_ns, moves=True)
            assert resting.device_ns(clock, due_ns, moves=False) == clock.device_ns(due_ns)
            if last is not None:
                assert abs(told_ns - last - tick_ns) <= MOST_SLEW * tick_ns + 1
            worst = max(worst, abs(told_ns - clock.device_ns(due_ns)))
            last, due_ns = told_ns, due_ns + tick_ns
    assert 0 < worst < 5_000_000
    assert abs(told_ns - clock.device_ns(due_ns - tick_ns)) < SECOND_NS / 2_000


def test_a_clock_that_runs_for_a_day_is_as_fine_as_at_first() -> None:
    calm = exponential(0.0002, 0.0001)
    far = FarClock(out=calm, back=calm, skew=30e-6, loss=0.0)
    clock = DeviceClock()
    # an exchange a minute, and then a lively hour's end
    day_s = 86_400.0
    for _, exchange in far.exchanges(day_s, 1 / 60, 1):
        clock.feed(exchange)
    late = FarClock(out=calm, back=calm, skew=30e-6, loss=0.0)
    for back_s, exchange in late.exchanges(20.0, 20, 2):
        later_s = day_s + back_s
        moved_ns = late.here_ns(later_s) - exchange.back_ns
        there_ns = late.there_ns(later_s) - late.there_ns(back_s)
        clock.feed(
            Exchange(
                exchange.sent_ns + moved_ns,
                exchange.received_ns + there_ns,
                exchange.answered_ns + there_ns,
                exchange.back_ns + moved_ns,
            )
        )
    assert clock.steps == 0
    assert abs(off_s(clock, far, day_s + 20.0)) < 0.05 * MS
