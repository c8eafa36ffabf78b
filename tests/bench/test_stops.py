"""Whether the bench finds the setpoint with which a stop begins: by numbers made for it, and in a real run."""

import numpy as np
import pytest

from tests.bench import stop_causes
from tests.bench.stop_causes import CUT, OSC, WORD
from tests.bench.stop_rig import Arrival, Record
from tests.bench.stopped import ACCELERATION, JERK, NotCounted, compiled, project, reckon, reckon_silent

MOVE = compiled(project())
TICK_NS, ON_ITS_WAY_NS = 4_000_000, 300_000
BEGIN_NS = 7_000_000_000
CLOCK = (BEGIN_NS, 0.0)


def braked(at_s: float, rests_after_s: float | None = 0.3) -> Record:
    """Return what comes of a move whose setpoints brake from those on that are due at `at_s` or later.

    The way is that of the least change: each axis takes its acceleration up at its jerk, then brakes evenly.
    """
    record = Record()
    position, speed, acceleration = np.zeros(2), np.zeros(2), np.zeros(2)
    for number in range(1000):
        due_s, step_s = number * TICK_NS * 1e-9, TICK_NS * 1e-9
        if due_s < at_s:
            before = speed
            position, speed = MOVE.at(due_s)
            acceleration = (speed - before) / step_s
        else:
            wanted = -np.sign(speed) * ACCELERATION
            change = np.clip(wanted - acceleration, -JERK * step_s, JERK * step_s)
            acceleration = acceleration + change
            slower = speed + acceleration * step_s
            speed = np.where(np.sign(slower) == np.sign(speed), slower, 0.0)
            position = position + speed * step_s
        due_ns = BEGIN_NS + number * TICK_NS
        record.arrivals.append(Arrival(due_ns + ON_ITS_WAY_NS, due_ns, tuple(position), tuple(speed)))
    if rests_after_s is not None:
        record.rests_ns = BEGIN_NS + round((at_s + rests_after_s) * 1e9)
    return record


@pytest.mark.parametrize("at_ms", range(400, 2400, 52))
def test_the_last_setpoint_of_the_move_is_found_wherever_it_is_stopped(at_ms: int) -> None:
    cause_ns = BEGIN_NS + at_ms * 1_000_000 - 9_000_000
    found = reckon(braked(at_ms * 1e-3), cause_ns, MOVE, CLOCK)
    assert found.due_ns == BEGIN_NS + at_ms * 1_000_000 - TICK_NS
    assert found.last_ms == pytest.approx(9 - 4 + 0.3)
    assert found.first_ms == pytest.approx(9 + 0.3)
    assert found.rest_ms == pytest.approx(309)
    assert found.first_ms < found.set_ms < 400


def test_a_stop_that_no_setpoint_of_the_move_outran_took_nothing() -> None:
    found = reckon(braked(1.0), BEGIN_NS + 999_000_000, MOVE, CLOCK)
    assert found.last_ms == 0
    assert found.first_ms == pytest.approx(1.3)


def test_what_says_nothing_of_a_stop_is_not_counted() -> None:
    cause_ns = BEGIN_NS + 1_000_000_000
    with pytest.raises(NotCounted, match="left the move"):
        reckon(braked(99.0), cause_ns, MOVE, CLOCK)
    with pytest.raises(NotCounted, match="before the cause"):
        reckon(braked(0.5), cause_ns, MOVE, CLOCK)
    with pytest.raises(NotCounted, match="before the cause"):
        reckon(Record(arrivals=braked(1.0).arrivals[300:]), cause_ns, MOVE, (BEGIN_NS, 0.0))
    with pytest.raises(NotCounted, match="the rig did not come to rest"):
        reckon(braked(1.0, rests_after_s=None), cause_ns, MOVE, CLOCK)
    with pytest.raises(NotCounted, match="nobody told"):
        reckon_silent(braked(1.0), cause_ns)


def test_where_nothing_brakes_the_order_to_stop_counts() -> None:
    record = braked(1.0)
    del record.arrivals[260:]
    cause_ns = BEGIN_NS + 900_000_000
    record.stops_ns = [BEGIN_NS, BEGIN_NS + 1_043_000_000, BEGIN_NS + 1_500_000_000]
    found = reckon_silent(record, cause_ns)
    assert found.last_ms == pytest.approx((259 * 4 + 0.3) - 900)
    assert found.first_ms == pytest.approx(143)
    assert found.rest_ms == pytest.approx(400)


@pytest.mark.real_time
def test_a_real_stop_is_found_as_the_take_has_it() -> None:
    counted = stop_causes.taken(1, only=(WORD, OSC, CUT))
    assert counted.left_out == []
    assert {name: len(stops) for name, stops in counted.stops.items()} == {WORD: 1, OSC: 1, CUT: 1}
    assert (counted.takes, counted.agreeing) == (2, 2)
    assert counted.stops[CUT][0].first_ms > 480  # the half second, less a tick or two
    for name in (WORD, OSC):
        one = counted.stops[name][0]
        assert 0 <= one.last_ms < one.first_ms < one.set_ms < one.rest_ms


@pytest.mark.real_time
def test_a_killed_engine_is_followed_by_an_order_to_stop() -> None:
    counted = stop_causes.killed(1)
    assert counted.left_out == []
    ((one,),) = counted.stops.values()
    assert one.first_ms > 90  # the watchdog waits for a tenth of a second
    assert one.rest_ms > one.first_ms
