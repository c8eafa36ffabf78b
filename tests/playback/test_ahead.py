"""Which setpoints are made at a tick where a rig wants them ahead, what is due, and what can be withdrawn."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.playback.ahead import Ahead, Made, Timing, add, at_horizon, due, instants, withdrawn
from sequencer.playback.guard import at_rest
from sequencer.playback.state import Phase
from sequencer.rig.signals import Setpoint
from sequencer.sync.reading import Clock, Lock

MS = 1_000_000
TIMING = Timing(period_ns=4 * MS, ahead_ns=300 * MS, committed_ns=100 * MS)


def made(due_ns: int) -> Made:
    place = np.zeros(1)
    return Made(Setpoint(due_ns, place, place), 0.0, at_rest(due_ns, place), (), Phase.RUNNING)


def test_without_a_buffer_a_tick_makes_what_is_due_at_it_however_late() -> None:
    assert instants(Timing(), 0, 3 * MS, 40 * MS) == (40 * MS,)


def test_on_the_clock_the_horizon_is_as_far_as_the_buffer_and_by_hand_as_near_as_may_be() -> None:
    assert {phase: TIMING.lead_ns(phase) // MS for phase in (Phase.READY, Phase.RUNNING, Phase.JOINING)} == {
        Phase.READY: 300,
        Phase.RUNNING: 300,
        Phase.JOINING: 300,
    }
    assert {TIMING.lead_ns(phase) // MS for phase in (Phase.IDLE, Phase.DRIVING, Phase.GOING)} == {100}
    assert {TIMING.lead_ns(phase, performed=True) // MS for phase in Phase} == {100}


@given(st.integers(1, 12), st.integers(0, 400), st.integers(0, 400), st.lists(st.integers(0, 60), max_size=200))
def test_setpoints_are_a_period_apart_and_reach_the_horizon_whatever_the_ticks_do(
    period_ms: int, ahead_ms: int, committed_ms: int, gaps_ms: list[int]
) -> None:
    timing = Timing(period_ns=period_ms * MS, ahead_ns=ahead_ms * MS, committed_ns=min(ahead_ms, committed_ms) * MS)
    now_ns = last_ns = 10**9
    for gap_ms in gaps_ms:
        now_ns += gap_ms * MS
        for at_ns in instants(timing, timing.ahead_ns, last_ns, now_ns):
            if ahead_ms:
                assert at_ns > now_ns or at_ns >= now_ns + timing.committed_ns
                assert at_ns <= now_ns + timing.ahead_ns
                late = last_ns + timing.period_ns <= now_ns
                assert late or at_ns == last_ns + timing.period_ns
            last_ns = at_ns


def test_after_a_change_the_horizon_is_reached_again_in_an_eighth_of_the_time_to_it() -> None:
    last_ns, ticks = 100 * MS, 0
    while last_ns + 8 * MS <= ticks * 4 * MS + 300 * MS:
        last_ns = instants(TIMING, TIMING.ahead_ns, last_ns, ticks * 4 * MS)[-1]
        ticks += 1
    assert ticks * 4 <= 300 / 7


def test_what_is_due_leaves_in_order_and_what_is_committed_stays() -> None:
    ahead = Ahead()
    for at_ms in range(0, 300, 4):
        ahead = add(ahead, made(at_ms * MS))
    ahead, passed = due(ahead, 8 * MS)
    assert [one.sent.due_ns // MS for one in passed] == [0, 4, 8]
    ahead, last = withdrawn(ahead, TIMING, 8 * MS)
    assert last is not None
    assert last.sent.due_ns == 108 * MS
    assert [one.sent.due_ns // MS for one in ahead.made] == list(range(12, 109, 4))
    assert withdrawn(ahead, TIMING, 8 * MS) == (ahead, None)


@pytest.mark.parametrize("committed_ms", [0, 1])
def test_where_nothing_is_committed_all_is_withdrawn_but_the_next_set(committed_ms: int) -> None:
    """A tick always comes somewhat late, so what is due at it has left already."""
    timing = Timing(period_ns=4 * MS, ahead_ns=300 * MS, committed_ns=committed_ms * MS)
    ahead = Ahead(tuple(made(at_ms * MS) for at_ms in range(12, 300, 4)))
    ahead, last = withdrawn(ahead, timing, 8 * MS + 1000)
    assert last is not None
    assert [one.sent.due_ns // MS for one in ahead.made] == [last.sent.due_ns // MS] == [12]
    assert withdrawn(ahead, timing, 8 * MS + 1000) == (ahead, None)
    assert withdrawn(Ahead(), timing, 8 * MS) == (Ahead(), None)


@pytest.mark.parametrize(("speed", "expected_s"), [(1.0, 7.3), (0.5, 7.15), (0.0, 7.0), (-1.0, 6.7)])
def test_the_clock_at_the_horizon_is_where_it_comes_to_if_it_goes_on(speed: float, expected_s: float) -> None:
    clock = at_horizon(Clock(Lock.LOCKED, 5 * MS, 7.0, speed, 0.0, 1), 300 * MS)
    assert clock.position_s == pytest.approx(expected_s, abs=1e-12)
    assert clock.at_ns == (305 * MS if speed else 5 * MS)
