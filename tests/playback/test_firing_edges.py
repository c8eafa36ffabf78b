"""The instants of the camera's orders, and which of them the clock, the phase or a jump takes away."""

from dataclasses import replace
from fractions import Fraction

import pytest

from sequencer.playback.ahead import Ahead, Made, Timing, add, at_horizon, due, instants, withdrawn
from sequencer.playback.firing import Firing, Order, before_s, behind_s, counts, fired, planned
from sequencer.playback.guard import at_rest
from sequencer.playback.state import STOPS, Phase
from sequencer.rig.signals import Setpoint, Trigger
from sequencer.score.camera import CameraCue
from sequencer.sync.reading import Clock, Lock
from tests.playback.moves import START
from tests.playback.test_state import state

MS = 1_000_000
RATE = Fraction(25)


def at(position_s: float, jumps: int = 1, speed: float = 1.0, lock: Lock = Lock.LOCKED) -> Clock:
    return Clock(lock, 500 * MS, position_s, speed, 0.0, jumps)


def orders(*at_s: float) -> Firing:
    return Firing(tuple(Order(one, "shutter") for one in at_s))


def test_orders_lie_where_they_are_written_and_by_time() -> None:
    cues = (
        CameraCue(do="cut", at="cue end", after_s=0.5, lead_s=0.2),
        CameraCue(do="shutter", at=Fraction(25 * 14)),
        CameraCue(do="record", at="cue start", after_s=-1.0),
    )
    # a part that is armed from 12 s as it is written, at half the speed, and counted from 100 s
    firing = planned(cues, (100.0, 108.0), 12.0, Fraction(1, 2), RATE)
    assert [(one.do, one.at_s) for one in firing.orders] == [("record", 99.0), ("shutter", 104.0), ("cut", 108.3)]
    assert (firing.missed, firing.seen_s, firing.jumps) == ((), None, None)


@pytest.mark.parametrize(("frame", "counted"), [(299, False), (300, True), (400, True), (401, False)])
def test_what_lies_at_an_end_of_the_armed_part_is_of_it(frame: int, counted: bool) -> None:
    shot = CameraCue(do="shutter", at=Fraction(frame))
    assert bool(planned((shot,), (12.0, 16.0), 12.0, Fraction(1), RATE).orders) == counted


def test_what_is_left_out_leaves_out_nothing_else() -> None:
    cues = (CameraCue(do="shutter", at=Fraction(0)), CameraCue(do="cut", at="cue end"))
    assert [one.do for one in planned(cues, (12.0, 16.0), 12.0, Fraction(1), RATE).orders] == ["cut"]


def test_the_first_and_the_last_order_say_how_long_the_clock_must_run() -> None:
    assert before_s(orders(8.0, 9.0, 21.0), 10.0) == 2.0
    assert behind_s(orders(8.0, 9.0, 21.0), 20.0) == 1.0
    assert before_s(orders(11.0), 10.0) == -1.0
    assert (before_s(Firing(), 10.0), behind_s(Firing(), 20.0)) == (0.0, 0.0)


@pytest.mark.parametrize("speed", [1.0, 0.5, 1.1])
def test_an_order_is_due_when_the_clock_was_there(speed: float) -> None:
    begun, _, _ = fired(orders(12.0), at(11.9, speed=speed))
    left, triggers, missed = fired(begun, at(12.2, speed=speed))
    assert triggers == (Trigger(500 * MS - round(0.2 / speed * 1e9), "shutter"),)
    assert (left.orders, left.seen_s, left.jumps, missed) == ((), 12.2, 1, ())


def test_an_order_goes_out_at_its_place_and_not_a_tick_before() -> None:
    begun, triggers, _ = fired(orders(12.0), at(11.999))
    assert triggers == ()
    after, triggers, _ = fired(begun, at(12.0))
    assert triggers == (Trigger(500 * MS, "shutter"),)
    # what was seen there before is not passed a second time
    assert fired(after, at(12.0))[1] == ()
    # and one at the very place where the clock was seen last goes out
    assert len(fired(Firing((Order(12.0, "cut"),), (), 12.0, 1), at(12.004))[1]) == 1


@pytest.mark.parametrize(("began_s", "goes"), [(13.99, True), (14.0, True), (14.01, False)])
def test_what_the_clock_began_up_to_two_seconds_after_goes_out_at_once(began_s: float, goes: bool) -> None:
    left, triggers, missed = fired(orders(12.0), at(began_s))
    assert triggers == ((Trigger(500 * MS, "shutter"),) if goes else ())
    assert [one.at_s for one in missed] == ([] if goes else [12.0])
    assert left.missed == missed


@pytest.mark.parametrize(
    ("now", "again"),
    [
        (at(12.5), False),
        (at(12.51), True),
        (at(11.999), True),
        (at(12.0), False),
        (at(12.1, jumps=2), True),
    ],
)
def test_a_clock_that_runs_on_makes_up_for_nothing_and_one_that_was_set_does(now: Clock, again: bool) -> None:
    """An order a second before where the clock was seen last is past; within two of where it was set it is not."""
    begun = Firing((Order(11.0, "cut"),), (), 12.0, 1)
    _, triggers, missed = fired(begun, now)
    assert bool(triggers) == again
    assert bool(missed) != again
    if again:
        assert triggers[0].due_ns == 500 * MS


def test_what_was_jumped_over_comes_back_with_the_clock_in_order_and_once() -> None:
    begun = Firing((Order(20.0, "cut"),), (Order(5.0, "record"), Order(9.0, "shutter"), Order(9.5, "cut")), 15.0, 1)
    back, triggers, missed = fired(begun, at(10.5, jumps=2))
    assert [one.name for one in triggers] == ["shutter", "cut"]
    assert missed == ()
    assert [one.at_s for one in back.missed] == [5.0]
    assert [one.at_s for one in back.orders] == [20.0]
    further, triggers, _ = fired(back, at(4.0, jumps=3))
    assert triggers == ()
    assert [one.at_s for one in further.orders] == [5.0, 20.0]
    assert further.missed == ()
    # what lies just two seconds back stays missed
    edge, triggers, _ = fired(Firing((), (Order(8.0, "cut"),), 15.0, 1), at(10.0, jumps=2))
    assert triggers == ()
    assert len(edge.missed) == 1


def test_what_is_missed_is_kept_by_time() -> None:
    begun = Firing((Order(3.0, "cut"), Order(9.5, "cut")), (Order(5.0, "record"),), 1.0, 1)
    left, triggers, missed = fired(begun, at(10.0, jumps=2))
    assert [one.at_s for one in left.missed] == [3.0, 5.0]
    assert [one.at_s for one in missed] == [3.0]
    assert len(triggers) == 1


def test_what_was_missed_is_told_once_however_near_it_is() -> None:
    begun = Firing((), (Order(11.5, "cut"),), 12.0, 1)
    on, triggers, missed = fired(begun, at(12.1))
    assert (triggers, missed) == ((), ())
    assert on == replace(begun, seen_s=12.1)


@pytest.mark.parametrize(
    "clock", [at(12.0, speed=0.0), at(12.0, speed=-0.5), at(12.0, lock=Lock.LOCKING), at(12.0, lock=Lock.LOST)]
)
def test_a_clock_that_does_not_steer_forward_is_not_even_looked_at(clock: Clock) -> None:
    before = Firing((Order(11.0, "cut"),), (), 10.0, 0)
    assert fired(before, clock) == (before, (), ())


def test_freewheeling_orders_go_out_like_any() -> None:
    begun, _, _ = fired(orders(12.0), at(11.9))
    assert len(fired(begun, at(12.0, lock=Lock.FREEWHEEL))[1]) == 1


def test_the_camera_goes_along_where_the_rig_does() -> None:
    """The cue starts at 10 s; the clock's count when the move began is 3."""
    for phase in Phase:
        now = state(phase, armed=state(Phase.READY).armed)
        before, past, set_anew = (counts(now, at(place, jumps)) for place, jumps in ((10.04, 3), (10.05, 3), (9.0, 4)))
        waits = phase in (Phase.LOCATING, Phase.READY)
        on = phase in (Phase.JOINING, Phase.RUNNING, Phase.FREEWHEELING)
        assert before == (phase not in STOPS)
        assert past == (phase not in STOPS and not waits)
        assert set_anew == (waits or on)


# --- setpoints ahead of time

TIMING = Timing(period_ns=4 * MS, ahead_ns=300 * MS, committed_ns=100 * MS)


def made(due_ns: int) -> Made:
    place = START
    return Made(Setpoint(due_ns, place, place), 0.0, at_rest(due_ns, place), (), Phase.RUNNING)


def test_unless_a_rig_wants_it_nothing_is_made_ahead() -> None:
    plain = Timing()
    assert (plain.period_ns, plain.ahead_ns, plain.committed_ns) == (4 * MS, 0, 0)
    assert plain.lead_ns(Phase.RUNNING) == plain.lead_ns(Phase.IDLE) == 0


def test_the_horizon_is_far_on_the_clock_and_where_it_is_waited_for_only() -> None:
    far = {phase for phase in Phase if TIMING.lead_ns(phase) == 300 * MS}
    assert far == {Phase.READY, Phase.JOINING, Phase.RUNNING, Phase.FREEWHEELING}
    # a rig that can withdraw less than its buffer is long is not led farther than that
    short = replace(TIMING, ahead_ns=50 * MS)
    assert short.lead_ns(Phase.DRIVING) == 50 * MS
    assert short.lead_ns(Phase.RUNNING) == 50 * MS


def test_setpoints_are_made_up_to_the_horizon_and_eight_at_most() -> None:
    assert instants(TIMING, 20 * MS, 100 * MS, 96 * MS) == (104 * MS, 108 * MS, 112 * MS, 116 * MS)
    assert len(instants(TIMING, 300 * MS, 100 * MS, 96 * MS)) == 8
    assert instants(TIMING, 300 * MS, 100 * MS, 96 * MS)[0] == 104 * MS
    assert instants(TIMING, 8 * MS, 100 * MS, 96 * MS) == (104 * MS,)
    assert instants(TIMING, 7 * MS, 100 * MS, 96 * MS) == ()


def test_after_a_pause_they_begin_with_the_next_that_can_be_carried() -> None:
    assert instants(TIMING, 300 * MS, 100 * MS, 103 * MS)[0] == 104 * MS
    assert instants(TIMING, 300 * MS, 100 * MS, 104 * MS)[0] == 204 * MS
    assert instants(TIMING, 300 * MS, 100 * MS, 900 * MS)[0] == 1000 * MS
    assert instants(TIMING, 60 * MS, 100 * MS, 900 * MS) == (960 * MS,)


def test_a_clock_is_carried_to_the_horizon_only_where_it_runs_and_there_is_one() -> None:
    clock = at(12.0)
    assert at_horizon(clock, 0) is clock
    stands = at(12.0, speed=0.0)
    assert at_horizon(stands, 300 * MS) is stands
    ahead = at_horizon(at(12.0, speed=0.5), 200 * MS)
    assert (ahead.at_ns, ahead.speed) == (700 * MS, 0.5)
    assert ahead.position_s == pytest.approx(12.1)


def test_what_is_due_is_due_at_its_instant() -> None:
    ahead = add(add(Ahead(), made(100)), made(200))
    assert due(ahead, 99) == (ahead, ())
    left, went = due(ahead, 100)
    assert [one.sent.due_ns for one in went] == [100]
    assert [one.sent.due_ns for one in left.made] == [200]
    assert [one.sent.due_ns for one in due(ahead, 1000)[1]] == [100, 200]


def test_what_can_no_longer_be_withdrawn_is_kept_and_where_nothing_can_be_nothing_changes() -> None:
    ahead = add(add(add(Ahead(), made(100 * MS)), made(150 * MS)), made(151 * MS))
    left, last = withdrawn(ahead, TIMING, 50 * MS)
    assert last is not None
    assert last.sent.due_ns == 150 * MS
    assert [one.sent.due_ns for one in left.made] == [100 * MS, 150 * MS]
    assert withdrawn(ahead, TIMING, 60 * MS) == (ahead, None)
    # where all that is made is far off, the first set stays, since what is made anew must go on from one
    assert withdrawn(ahead, TIMING, -10 * MS) == (Ahead(ahead.made[:1]), ahead.made[0])
    assert withdrawn(Ahead(), TIMING, 0) == (Ahead(), None)
