"""What the pilot begins from, when it is done, and what it leaves alone."""

from dataclasses import replace

import numpy as np
import pytest

from sequencer.live.driving import eased
from sequencer.playback.cued import cue_up
from sequencer.playback.events import (
    Action,
    Begin,
    Brake,
    Follow,
    GoTo,
    HandOver,
    Hold,
    Join,
    Say,
    Steer,
    ToMark,
)
from sequencer.playback.guard import Sent, at_rest
from sequencer.playback.pilot import (
    HEADROOM,
    Driving,
    Flown,
    Following,
    Joining,
    Pilot,
    Still,
    joined,
    motion,
    obey,
    plan,
    planning,
    settled,
    taken_over,
    want,
)
from sequencer.rig.axis import Rig
from sequencer.score.marks import Mark
from sequencer.sync.reading import Clock, Lock
from tests.playback.moves import END, START, there
from tests.playback.rules import ACCELERATION, RIG, SPEED

TICK_NS = 4_000_000
MS = 1_000_000
CUED = cue_up(RIG, there(), 10.0, 14.0)
NOWHEN = Clock(Lock.WAITING, 0)
MARK = Mark("window", (("pan", -40.0),))
STANDING = Pilot(RIG, Still(START))


def clock(due_ns: int, position_s: float = 11.0, speed: float = 1.0) -> Clock:
    return Clock(Lock.LOCKED, due_ns, position_s, speed, 1e-4, 0)


def sent(speed: float, earlier: float, claimed: float = 0.0, span_s: float = 0.004) -> Sent:
    """All axes at START, with mean speeds over the last two steps, in parts of their full speed."""
    last, before, claims = (tuple((part * SPEED).tolist()) for part in (speed, earlier, claimed))
    return Sent(0, tuple(START.tolist()), last, before, claims, span_s, span_s)


def test_a_rig_that_was_told_nothing_yet_stands() -> None:
    position, velocity, acceleration = motion(RIG, at_rest(0, START))
    np.testing.assert_array_equal(position, START)
    assert not velocity.any()
    assert not acceleration.any()


def test_the_mean_speed_of_a_step_is_the_speed_in_its_middle() -> None:
    last = replace(sent(0.0, 0.0), speed=(10.0, 0.0, 0.0, 0.0), earlier=(9.8, 0.0, 0.0, 0.0), apart_s=0.005)
    _, velocity, acceleration = motion(RIG, last)
    assert acceleration[0] == pytest.approx(0.2 / 0.005)
    assert velocity[0] == pytest.approx(10.0 + 40.0 * 0.002)


def test_what_rounding_makes_too_fast_begins_at_the_limits() -> None:
    _, velocity, acceleration = motion(RIG, sent(1.0, 1.1))
    np.testing.assert_array_equal(acceleration, -ACCELERATION)
    assert (velocity < SPEED).all()
    for way in (1.0, -1.0):
        _, velocity, acceleration = motion(RIG, sent(way, way * 0.9))
        np.testing.assert_array_equal(velocity, way * SPEED)
        # at full speed none is left that could be undone
        assert not acceleration.any()


@pytest.mark.parametrize("way", [1.0, -1.0])
def test_near_full_speed_no_more_acceleration_counts_than_can_be_undone_before_it(way: float) -> None:
    """Else braking would begin faster than the axis may go, be held back, and swing past where it is to rest."""
    jerk = np.array([axis.jerk for axis in RIG.axes])
    _, velocity, acceleration = motion(RIG, sent(way * 0.97, way * 0.96))
    assert (way * acceleration > 0).all()
    assert (np.abs(velocity) + acceleration**2 / (2 * jerk) <= SPEED * (1 + 1e-12)).all()
    # one that brakes already is as it is
    _, _, acceleration = motion(RIG, sent(way * 0.99, way * 0.991))
    np.testing.assert_allclose(acceleration, -way * np.minimum(0.001 * SPEED / 0.004, ACCELERATION), rtol=1e-9)


@pytest.mark.parametrize("action", [GoTo(CUED, 0.5), ToMark(MARK), Join(CUED, clock(0)), Brake()])
def test_a_way_that_is_planned_from_here_is_not_held_to_what_an_earlier_one_wanted(action: Action) -> None:
    last = sent(0.1, 0.1, claimed=0.9)
    assert taken_over(RIG, last, action) == replace(last, claimed=tuple((0.1 * SPEED).tolist()))


@pytest.mark.parametrize("action", [Follow(CUED), Steer(()), Hold(), Begin(), Say("code", "words"), HandOver((True,))])
def test_what_goes_on_or_stands_claims_what_it_claimed(action: Action) -> None:
    last = sent(0.1, 0.1, claimed=0.9)
    assert taken_over(RIG, last, action) is last


def test_beginning_anew_is_for_the_engine_and_changes_no_flight() -> None:
    assert obey(STANDING, Begin(), at_rest(0, END), TICK_NS) is STANDING


def test_a_way_is_done_at_its_end_and_standing_always() -> None:
    pilot = obey(STANDING, Brake(), sent(0.3, 0.3), TICK_NS)
    assert isinstance(pilot.flight, Flown)
    end_ns = pilot.flight.start_ns + pilot.flight.way.end_s * 1e9
    assert pilot.flight.start_ns == 0
    assert not settled(pilot, int(end_ns) - MS)
    assert settled(pilot, int(end_ns) + 1)
    exact = Pilot(RIG, replace(pilot.flight, start_ns=round(5e9 - end_ns)))
    assert settled(exact, round(5e9 - end_ns) + int(end_ns) + 1)
    assert settled(STANDING, 0)
    for flight in (Following(CUED), obey(STANDING, Steer(()), at_rest(0, START), TICK_NS).flight):
        assert not settled(Pilot(RIG, flight), 10**15)


def test_the_last_part_of_the_way_to_the_start_comes_by_the_approach() -> None:
    """An axis with play is brought past the start, and from there to it as it will move first."""
    worn = Rig(name="worn", axes=tuple(replace(axis, backlash=axis.speed / 100) for axis in RIG.axes))
    cued = cue_up(worn, there(), 10.0, 14.0)
    assert not np.array_equal(cued.approach, cued.position)
    flight = obey(Pilot(worn, Still(END)), GoTo(cued, 0.5), at_rest(0, END), TICK_NS).flight
    assert isinstance(flight, Flown)
    np.testing.assert_allclose(flight.way.at(flight.way.end_s)[0], cued.position, atol=1e-9)
    t_s = np.linspace(0, flight.way.end_s, 4000)
    way = flight.way.sample(t_s)
    # every axis goes down to its approach, stands, and comes up to the start
    np.testing.assert_allclose(way.min(axis=0), cued.approach, atol=1e-6)
    speed = np.abs(flight.way.sample(t_s, 1)).max(axis=0)
    assert (speed <= 0.5 * SPEED * (1 + 1e-9)).all()
    plain = obey(STANDING, GoTo(CUED, 0.5), at_rest(0, END), TICK_NS).flight
    assert isinstance(plain, Flown)
    assert plain.way.end_s < flight.way.end_s
    assert plain.way.sample(np.linspace(0, plain.way.end_s, 999)).min(axis=0) == pytest.approx(START, abs=1e-9)


# --- by hand


def steered(wanted: tuple[float, ...] = (6.0, 0.0, 0.0, 0.0)) -> Driving:
    flight = obey(STANDING, Steer(wanted), at_rest(0, START), TICK_NS).flight
    assert isinstance(flight, Driving)
    return flight


def test_a_hand_begins_at_the_last_setpoint_with_what_driving_leaves_of_the_limits() -> None:
    flight = steered()
    assert flight.rig == eased(RIG)
    assert (flight.at_ns, flight.wanted) == (0, (6.0, 0.0, 0.0, 0.0))
    assert flight.driven.position == tuple(START.tolist())
    moving = obey(STANDING, Steer(()), sent(0.1, 0.1), TICK_NS).flight
    assert isinstance(moving, Driving)
    assert moving.driven.velocity == pytest.approx(tuple((0.1 * SPEED).tolist()))
    assert moving.wanted == (0.0,) * 4


def test_a_new_wish_changes_the_wish_and_not_where_the_axes_are() -> None:
    pilot = plan(Pilot(RIG, steered()), at_rest(0, START), 20 * MS, NOWHEN)
    flight = obey(pilot, Steer((0.0, 1.0, 0.0, 0.0)), at_rest(0, END), 24 * MS).flight
    assert isinstance(flight, Driving)
    assert isinstance(pilot.flight, Driving)
    assert flight.driven is pilot.flight.driven
    assert flight.wanted == (0.0, 1.0, 0.0, 0.0)


def test_driving_goes_on_to_the_instant_once_and_waits_through_a_silence() -> None:
    first = plan(Pilot(RIG, steered()), at_rest(0, START), 20 * MS, NOWHEN)
    assert isinstance(first.flight, Driving)
    assert first.flight.at_ns == 20 * MS
    assert first.flight.driven.position[0] > START[0]
    for due_ns in (20 * MS, 10 * MS):
        same = plan(first, at_rest(0, START), due_ns, NOWHEN)
        assert isinstance(same.flight, Driving)
        assert (same.flight.driven, same.flight.at_ns) == (first.flight.driven, 20 * MS)
    late, soon = (plan(first, at_rest(0, START), 20 * MS + ms * MS, NOWHEN).flight for ms in (3000, 50))
    assert isinstance(late, Driving)
    assert isinstance(soon, Driving)
    assert late.driven.position == pytest.approx(soon.driven.position)
    assert late.at_ns == 3020 * MS
    less = plan(first, at_rest(0, START), 60 * MS, NOWHEN).flight
    assert isinstance(less, Driving)
    assert less.driven.position[0] < soon.driven.position[0]
    wanted = want(first, 20 * MS, NOWHEN)
    assert tuple(wanted.position) == first.flight.driven.position
    assert tuple(wanted.velocity) == first.flight.driven.velocity


PAN = (True, False, False, False)


def performed() -> tuple[Pilot, Sent]:
    last = at_rest(0, START)
    pilot = obey(STANDING, Follow(CUED), last, TICK_NS)
    assert isinstance(pilot.flight, Following)
    assert (pilot.flight.hand, pilot.flight.by_hand) == (None, ())
    return obey(pilot, HandOver(PAN), last, TICK_NS), last


def test_of_a_hand_that_performs_only_its_own_axes_count() -> None:
    pilot, last = performed()
    assert isinstance(pilot.flight, Following)
    assert pilot.flight.by_hand == PAN
    assert pilot.flight.hand is not None
    assert pilot.flight.hand.wanted == (0.0,) * 4
    flight = obey(pilot, Steer((6.0, 7.0, 8.0, 0.1)), last, TICK_NS).flight
    assert isinstance(flight, Following)
    assert flight.hand is not None
    assert flight.hand.wanted == (6.0, 0.0, 0.0, 0.0)
    assert flight.hand.driven is pilot.flight.hand.driven


def test_a_hand_that_performs_knows_where_the_others_are() -> None:
    pilot, _ = performed()
    pilot = obey(pilot, Steer((6.0, 0.0, 0.0, 0.0)), at_rest(0, START), TICK_NS)
    # the others were sent on meanwhile, and pan to where the hand had it
    flight = plan(pilot, at_rest(0, END), 20 * MS, clock(20 * MS)).flight
    assert isinstance(flight, Following)
    assert flight.hand is not None
    assert flight.hand.driven.position[1:] == pytest.approx(tuple(END[1:]))
    assert START[0] < flight.hand.driven.position[0] < START[0] + 1
    assert flight.hand.at_ns == 20 * MS
    wanted = want(Pilot(RIG, flight), 20 * MS, clock(20 * MS))
    on_time, pace = CUED.ahead(11.0, 1.0)
    assert wanted.position[0] == flight.hand.driven.position[0]
    assert wanted.velocity[0] == flight.hand.driven.velocity[0]
    np.testing.assert_array_equal(wanted.position[1:], on_time[1:])
    np.testing.assert_array_equal(wanted.velocity[1:], pace[1:])
    assert wanted.due_ns == 20 * MS


def test_axes_that_a_hand_has_stay_in_it_and_nobody_hands_over_what_does_not_play() -> None:
    pilot, last = performed()
    assert obey(pilot, HandOver((True, True, True, True)), last, TICK_NS).flight is pilot.flight
    assert obey(STANDING, HandOver(PAN), last, TICK_NS).flight is STANDING.flight
    plain = obey(STANDING, Follow(CUED), last, TICK_NS)
    assert obey(plain, Steer((1.0, 1.0, 1.0, 1.0)), last, TICK_NS).flight is plain.flight


# --- joining


def joining(speed: float = 1.0, due_ns: int = TICK_NS) -> tuple[Pilot, Joining]:
    pilot = obey(STANDING, Join(CUED, clock(due_ns, 11.0, speed)), at_rest(0, START), due_ns)
    assert isinstance(pilot.flight, Joining)
    return pilot, pilot.flight


def test_a_joining_is_planned_for_a_clock_that_runs_three_per_cent_faster() -> None:
    assert HEADROOM == 1.03
    for speed in (1.0, 0.9):
        _, flight = joining(speed)
        factor = speed * 1.03
        for paced, axis in zip(flight.planner.rig.axes, RIG.axes, strict=True):
            assert paced.speed == pytest.approx(axis.speed / factor)
            assert paced.acceleration == pytest.approx(axis.acceleration / factor**2)
            assert paced.jerk == pytest.approx(axis.jerk / factor**3)


@pytest.mark.parametrize("tick_ns", [4 * MS, 20 * MS])
def test_planning_has_a_step_for_each_axis_and_four_ticks_to_spare(tick_ns: int) -> None:
    _, flight = joining(due_ns=tick_ns)
    assert flight.lead_s == pytest.approx(4 * 0.004 + 4 * tick_ns * 1e-9)
    assert flight.leave_s == pytest.approx(11.0 + flight.lead_s)
    _, slower = joining(0.9, tick_ns)
    assert slower.leave_s == pytest.approx(11.0 + 0.9 * flight.lead_s)
    # each axis leaves braking when the clock, that much ahead of it, is there
    np.testing.assert_allclose(flight.planner.leave_s, flight.leave_s + np.array([0.0, 0.05, 0.0, 0.02]))
    np.testing.assert_allclose(slower.planner.leave_s, slower.leave_s + 0.9 * np.array([0.0, 0.05, 0.0, 0.02]))


def test_how_long_planning_may_take_does_not_hang_on_when_it_begins() -> None:
    last = replace(at_rest(0, START), due_ns=3000 * MS)
    flight = obey(STANDING, Join(CUED, clock(3004 * MS)), last, 3004 * MS).flight
    assert isinstance(flight, Joining)
    assert flight.lead_s == pytest.approx(4 * 0.004 + 4 * 0.004)


@pytest.mark.parametrize("speed", [1.0, 0.9])
def test_braking_begins_with_the_acceleration_that_the_rig_has(speed: float) -> None:
    """Along a clock at 0.9 a speed is a ninth more for a second of it, and an acceleration by that squared."""
    last = sent(0.2, 0.195)
    _, velocity, acceleration = motion(RIG, last)
    flight = obey(STANDING, Join(CUED, clock(TICK_NS, 11.0, speed)), last, TICK_NS).flight
    assert isinstance(flight, Joining)
    for axis, one in enumerate(RIG.axes):
        from_s = np.array([11.0 - speed * TICK_NS * 1e-9 + speed * one.latency_s + 1e-9])
        began = [float(flight.way.timeline.sample(from_s, order)[0, axis]) for order in (1, 2)]
        assert began[0] == pytest.approx(velocity[axis] / speed, rel=1e-6)
        assert began[1] == pytest.approx(acceleration[axis] / speed**2, rel=1e-5)


@pytest.mark.parametrize("speed", [1.0, 0.9])
def test_while_it_is_planned_the_rig_brakes_from_the_speed_that_it_has(speed: float) -> None:
    last = sent(0.2, 0.2)
    pilot = obey(STANDING, Join(CUED, clock(TICK_NS, 11.0, speed)), last, TICK_NS)
    # at the last setpoint, as the way has it at the clock of then
    at_last = want(pilot, 0, clock(TICK_NS, 11.0, speed))
    np.testing.assert_allclose(at_last.position, START, atol=1e-9)
    np.testing.assert_allclose(at_last.velocity, 0.2 * SPEED, rtol=1e-9)
    soon, later = (
        np.abs(want(pilot, ms * MS, clock(ms * MS, 11.0 + speed * (ms - 4) / 1e3, speed)).velocity) for ms in (60, 120)
    )
    assert (later < soon).all()
    assert (soon < 0.2 * SPEED).all()
    rest = want(pilot, 4000 * MS, clock(4000 * MS, 16.0, speed))
    assert not rest.velocity.any()


def test_only_a_joining_is_planned_and_only_until_it_is_done() -> None:
    pilot, flight = joining()
    assert planning(pilot)
    assert not planning(STANDING)
    assert not planning(Pilot(RIG, replace(flight, planned=True)))
    assert not joined(pilot, 10**12, clock(10**12, 99.0))
    for _ in range(400):
        if not planning(pilot):
            break
        pilot = plan(pilot, at_rest(0, START), TICK_NS, clock(TICK_NS))
    done = pilot.flight
    assert isinstance(done, Joining)
    assert done.planned
    in_s = done.planner.in_s
    assert not joined(pilot, TICK_NS, clock(TICK_NS, in_s - 1e-6))
    assert joined(pilot, TICK_NS, clock(TICK_NS, in_s))
    # once planned it is flown, however late the clock is
    assert plan(pilot, at_rest(0, START), TICK_NS, clock(TICK_NS, 13.9)) is pilot
    on = CUED.ahead(in_s + 0.5, 1.0)
    flown = want(pilot, TICK_NS, clock(TICK_NS, in_s + 0.5))
    np.testing.assert_allclose(flown.position, on[0], atol=1e-9)


def test_a_plan_is_in_time_up_to_the_instant_at_which_braking_is_left() -> None:
    pilot, flight = joining()
    just = plan(pilot, at_rest(0, START), TICK_NS, clock(TICK_NS, flight.leave_s)).flight
    assert isinstance(just, Joining)
    assert just.leave_s == flight.leave_s
    late = plan(pilot, at_rest(0, START), TICK_NS, clock(TICK_NS, flight.leave_s + 1e-6)).flight
    assert isinstance(late, Joining)
    assert late.lead_s == 2 * flight.lead_s
    assert late.leave_s == pytest.approx(flight.leave_s + 2 * flight.lead_s)
    assert late.planner.rig == flight.planner.rig
    assert late.way is flight.way
