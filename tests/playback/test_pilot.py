"""What is wanted begins where the last setpoint left off, whatever it was doing."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.playback.cued import cue_up
from sequencer.playback.events import Brake, Follow, GoTo, Hold, Say
from sequencer.playback.guard import LONGEST_STEP_S, Guarded, Sent, at_rest, guard, limits
from sequencer.playback.pilot import Flown, Pilot, Still, obey, plan, settled, want
from sequencer.rig.signals import Setpoint
from sequencer.sync.reading import Clock, Lock
from tests.playback.moves import END, START, there
from tests.playback.rules import RIG, SPEED

TICK_NS = 4_000_000
LIMITS = limits(RIG)
NOWHEN = Clock(Lock.WAITING, 0)
CUED = cue_up(RIG, there(), 10.0, 14.0)


def clock(due_ns: int, position_s: float, speed: float = 1.0) -> Clock:
    return Clock(Lock.LOCKED, due_ns, position_s, speed, 1e-4, 0)


def underway(after_s: float) -> tuple[Pilot, Sent]:
    """Follow the move from its start, as the tick does, for `after_s`."""
    pilot, sent = Pilot(RIG, Still(START)), at_rest(0, START)
    pilot = obey(pilot, Follow(CUED), sent, TICK_NS)
    for tick in range(1, round(after_s * 1e9) // TICK_NS + 1):
        due_ns = tick * TICK_NS
        sent = guard(LIMITS, sent, want(pilot, due_ns, clock(due_ns, 10 + due_ns * 1e-9))).sent
    return pilot, sent


def held_back(guarded: Guarded) -> float:
    """The largest gap, in seconds of the axis's full speed."""
    return max(
        (abs(gap) / axis.speed for gap, axis in zip(guarded.gap, RIG.axes, strict=bool(guarded.gap))), default=0.0
    )


def test_saying_moves_nothing_and_holding_stays_where_the_last_setpoint_is() -> None:
    pilot, sent = underway(1.0)
    assert obey(pilot, Say("x", "y"), sent, sent.due_ns + TICK_NS) is pilot
    held = want(obey(pilot, Hold(), sent, sent.due_ns + TICK_NS), sent.due_ns + TICK_NS, NOWHEN)
    assert tuple(held.position) == sent.position
    assert not held.velocity.any()


@settings(max_examples=30, deadline=None)
@given(after_s=st.floats(0.02, 4.5))
def test_braking_from_anywhere_is_within_the_limits_and_comes_to_rest(after_s: float) -> None:
    pilot, sent = underway(after_s)
    pilot = obey(pilot, Brake(), sent, sent.due_ns + TICK_NS)
    for _ in range(400):
        due_ns = sent.due_ns + TICK_NS
        guarded = guard(LIMITS, sent, want(pilot, due_ns, NOWHEN))
        # a plan that began elsewhere than the setpoints did would have to be held back by more
        assert held_back(guarded) < 1e-3 * TICK_NS * 1e-9
        sent = guarded.sent
        if settled(pilot, due_ns) and sent.stands:
            break
    assert sent.stands
    assert settled(pilot, sent.due_ns)


def test_going_to_the_start_keeps_to_the_cap_and_arrives() -> None:
    sent = at_rest(0, END)
    pilot = obey(Pilot(RIG, Still(END)), GoTo(CUED, 0.25), sent, TICK_NS)
    fastest = np.zeros(4)
    while not (settled(pilot, sent.due_ns) and sent.stands):
        guarded = guard(LIMITS, sent, want(pilot, sent.due_ns + TICK_NS, NOWHEN))
        assert max(map(abs, guarded.gap), default=0.0) < 1e-6
        sent = guarded.sent
        fastest = np.maximum(fastest, np.abs(sent.speed))
        assert sent.due_ns < 30e9
    assert sent.position == pytest.approx(START, abs=1e-9)
    assert (fastest <= 0.25 * SPEED * (1 + 1e-6)).all()
    assert (fastest / SPEED).max() > 0.24


def test_on_the_timeline_an_older_clock_is_carried_to_the_due_instant() -> None:
    pilot = Pilot(RIG, Still(START))
    pilot = obey(pilot, Follow(CUED), at_rest(0, START), TICK_NS)
    carried = want(pilot, 5_000_000_000, clock(4_900_000_000, 11.4, 1.02))
    exact = want(pilot, 5_000_000_000, clock(5_000_000_000, 11.4 + 0.1 * 1.02, 1.02))
    np.testing.assert_allclose(carried.position, exact.position, rtol=1e-12)
    np.testing.assert_allclose(exact.velocity, 1.02 * CUED.ahead(11.502, 1.02)[1], rtol=1e-9)
    assert not settled(pilot, 5_000_000_000)


def test_after_a_long_silence_braking_begins_where_the_rig_was_left() -> None:
    pilot, sent = underway(2.0)
    due_ns = sent.due_ns + 3_000_000_000
    pilot = obey(pilot, Brake(), sent, due_ns)
    assert isinstance(pilot.flight, Flown)
    assert pilot.flight.start_ns == due_ns - round(LONGEST_STEP_S * 1e9)
    guarded = guard(LIMITS, sent, want(pilot, due_ns, NOWHEN))
    assert held_back(guarded) < 1e-4
    assert (np.abs(np.array(guarded.sent.position) - sent.position) < SPEED * LONGEST_STEP_S).all()


@pytest.mark.parametrize("apart_ms", [51, 60, 200])
def test_after_a_pause_in_mid_flight_the_way_goes_on_from_where_the_rig_was_left(apart_ms: int) -> None:
    """Else the way would be ahead of what the guard lets out, and the rig would swing past where it is to rest."""
    pilot, sent = underway(2.0)
    pilot = obey(pilot, Brake(), sent, sent.due_ns + TICK_NS)
    rest = want(pilot, sent.due_ns + 10_000_000_000, NOWHEN).position
    where = [np.array(sent.position)]
    for number in range(400):
        due_ns = sent.due_ns + (apart_ms * 1_000_000 if number == 20 else TICK_NS)
        pilot = plan(pilot, sent, due_ns, NOWHEN)
        guarded = guard(LIMITS, sent, want(pilot, due_ns, NOWHEN))
        assert held_back(guarded) < 1e-4
        sent = guarded.sent
        where.append(np.array(sent.position))
    np.testing.assert_allclose(where[-1], rest, atol=1e-6)
    # no axis turns round on its way to rest
    steps = np.sign(rest - where[0]) * np.diff(where, axis=0)
    assert steps.min() > -1e-6
    assert settled(pilot, sent.due_ns)


def test_two_setpoints_as_far_apart_as_the_guard_counts_are_no_pause() -> None:
    pilot, sent = underway(2.0)
    pilot = obey(pilot, Brake(), sent, sent.due_ns + TICK_NS)
    assert plan(pilot, sent, sent.due_ns + round(LONGEST_STEP_S * 1e9), NOWHEN) is pilot


def test_a_clock_that_is_no_number_makes_the_guard_brake() -> None:
    pilot, sent = underway(2.0)
    due_ns = sent.due_ns + TICK_NS
    wanted = want(pilot, due_ns, Clock(Lock.LOCKED, due_ns, float("nan"), 1.0, 0.0, 0))
    assert isinstance(wanted, Setpoint)
    guarded = guard(LIMITS, sent, wanted)
    assert np.isfinite(guarded.setpoint.position).all()
    assert (np.abs(guarded.sent.speed) < np.abs(sent.speed)).all()


@pytest.mark.parametrize("after_s", [0.4, 1.2, 2.0, 2.9, 3.6])
def test_braking_begins_with_the_speed_and_acceleration_of_the_last_setpoint(after_s: float) -> None:
    pilot, sent = underway(after_s)
    braking = obey(pilot, Brake(), sent, sent.due_ns + TICK_NS).flight
    assert isinstance(braking, Flown)
    assert braking.start_ns == sent.due_ns
    tick_s = TICK_NS * 1e-9
    for axis, one in enumerate(RIG.axes):
        at_s = np.array([10 + sent.due_ns * 1e-9 + one.latency_s])
        true = [float(there().sample(at_s, order)[0, axis]) for order in (0, 1, 2)]
        began = [float(braking.way.sample(np.zeros(1), order)[0, axis]) for order in (0, 1, 2)]
        assert began[0] == pytest.approx(true[0], abs=1e-9 * one.speed)
        # differences of three setpoints are exact but for the jerk in between
        most = float(np.abs(there().sample(at_s + np.linspace(-3, 0, 7) * tick_s, 3)[:, axis]).max())
        assert abs(began[1] - true[1]) <= most * tick_s**2
        assert abs(began[2] - true[2]) <= 1.5 * most * tick_s
