"""The limits at which the guard lets a setpoint out as it is, and what it makes of one beyond them, in numbers."""

import math
from dataclasses import replace

import numpy as np
import pytest

from sequencer.playback.guard import Guarded, Sent, Stray, at_rest, guard, limits, strays
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.signals import Setpoint
from tests.playback.rules import RIG

ONE = Rig(
    name="one",
    axes=(Axis(name="pan", kind="pan", unit="deg", travel=(-170, 170), speed=60, acceleration=120, jerk=600),),
)
LIMITS = limits(ONE)
TICK_NS = 10_000_000  # 10 ms: in one, 60 deg/s go 0.6 degrees, and 120 deg/s2 change the speed by 1.2 deg/s
SPAN_S = 0.01


def moving(x: float, v: float, claimed: float | None = None, span_s: float = SPAN_S) -> Sent:
    return Sent(0, (x,), (v,), (v,), (v if claimed is None else claimed,), span_s, span_s)


def asked(last: Sent, x: float, v: float, after_ns: int = TICK_NS) -> Guarded:
    return guard(LIMITS, last, Setpoint(last.due_ns + after_ns, np.array([x]), np.array([v])))


def paced(v: float, last: float, x0: float = 0.0) -> Guarded:
    """Ask an axis that goes at `last` for `v` over the next step, honestly."""
    return asked(moving(x0, last), x0 + v * SPAN_S, v)


def test_what_the_rig_is_is_what_it_is_held_to() -> None:
    held = limits(RIG)
    assert held.names == ("pan", "tilt", "slide", "focus")
    assert held.units == ("deg", "deg", "mm", "part")
    assert held.low == (-math.inf, -30, 0, 0)
    assert held.high == (math.inf, 60, 1200, 1)
    assert held.speed == (60, 40, 300, 1.5)
    assert held.acceleration == (120, 90, 700, 12)
    assert held.tolerance == pytest.approx((1.2, 0.8, 6.0, 0.03))
    # a millionth more is rounding, and no more than that
    assert np.array(held.ceiling) / np.array(held.speed) - 1 == pytest.approx([1e-6] * 4, rel=1e-6)


@pytest.mark.parametrize("side", [-1, 1])
def test_full_speed_goes_out_and_a_ten_thousandth_more_does_not(side: int) -> None:
    assert paced(side * 60.0, side * 60.0).gap == ()
    over = paced(side * 60.006, side * 60.0)
    assert over.sent.speed[0] == pytest.approx(side * 60.0, rel=1e-9)
    assert over.gap[0] == pytest.approx(side * 0.006 * SPAN_S, rel=1e-6)
    # a position that can be had with a velocity that cannot
    lied = asked(moving(0.0, side * 60.0), side * 0.6, side * 60.006)
    assert lied.gap != ()
    assert abs(float(lied.setpoint.velocity[0])) <= 60 * (1 + 1e-6)


@pytest.mark.parametrize("side", [-1, 1])
@pytest.mark.parametrize("last", [0.0, 20.0, -20.0])
def test_full_acceleration_goes_out_and_a_thousandth_more_does_not(side: int, last: float) -> None:
    def half(change: float) -> Guarded:
        # the mean speed of the step lies between the velocities at its ends
        return asked(
            moving(0.0, last, last + side * 0.5 * change), (last + side * change) * SPAN_S, last + side * 1.5 * change
        )

    assert half(1.2).gap == ()
    over = half(1.2012)
    assert over.gap != ()
    assert abs(over.sent.speed[0] - last) <= 1.2 * (1 + 1e-6)


@pytest.mark.parametrize("side", [-1, 1])
def test_the_first_step_from_rest_may_change_the_speed_by_half_as_much(side: int) -> None:
    """Before it nothing was sent, and so only half of the step lies between its middle and rest."""
    start = at_rest(0, np.zeros(1))
    fair = asked(start, side * 0.6 * SPAN_S, side * 1.2)
    assert fair.gap == ()
    assert fair.sent.apart_s == SPAN_S / 2
    over = asked(start, side * 0.601 * SPAN_S, side * 1.2)
    assert over.sent.speed[0] == pytest.approx(side * 0.6, rel=1e-6)


@pytest.mark.parametrize("side", [-1, 1])
def test_the_time_between_two_steps_is_that_between_their_middles(side: int) -> None:
    slow = Sent(0, (0.0,), (0.0,), (0.0,), (0.0,), 0.03, 0.03)
    out = asked(slow, side * 99.0, 0.0)
    assert out.sent.apart_s == pytest.approx(0.02)
    assert out.sent.span_s == pytest.approx(0.01)
    assert out.sent.speed[0] == pytest.approx(side * 120 * 0.02)
    assert out.sent.earlier == (0.0,)


@pytest.mark.parametrize("side", [-1, 1])
def test_the_end_of_travel_is_reached_and_never_passed(side: int) -> None:
    end = side * 170.0
    near = moving(end - side * 0.001, side * 0.1)
    assert asked(near, end, 0.0).sent.position == (end,)
    assert asked(near, end, 0.0).gap == ()
    past = asked(near, end + side * 0.001, side * 0.1)
    assert past.sent.position[0] == pytest.approx(end)
    assert abs(past.sent.position[0]) <= 170
    assert past.gap[0] == pytest.approx(side * 0.001)


@pytest.mark.parametrize("side", [-1, 1])
def test_an_axis_is_slowed_where_it_could_just_stop_before_the_end(side: int) -> None:
    """From the end of a step of mean speed v, at v - 0.6, it takes that squared over 240 to stand."""
    v = 30.0
    left = (v - 0.6) ** 2 / 240
    fits = side * (170 - left - v * SPAN_S)
    assert paced(side * v, side * v, fits - side * 1e-6).gap == ()
    beyond = paced(side * v, side * v, fits + side * 1e-4)
    assert beyond.gap != ()
    assert abs(beyond.sent.speed[0]) < v
    room = 170 - abs(beyond.sent.position[0])
    # and what it is slowed to is the most from which it can stand at the end
    assert (abs(beyond.sent.speed[0]) - 0.6) ** 2 / 240 == pytest.approx(room, rel=1e-9)
    # inward nothing holds it
    assert paced(-side * v, -side * v, side * 169.99).gap == ()


@pytest.mark.parametrize("room", [0.0059, 0.0045, 0.001])
@pytest.mark.parametrize("side", [-1, 1])
def test_an_axis_that_can_stand_within_the_step_comes_to_the_very_end_in_it(room: float, side: int) -> None:
    """In half of 120 deg/s2 times the step squared, 0.006 degrees, it can."""
    near = asked(moving(side * (170 - room), side * 0.5), side * 171.0, 0.0)
    assert near.sent.position[0] == pytest.approx(side * 170.0, abs=1e-9)


def test_an_axis_that_is_slow_enough_to_stand_within_a_step_goes_on() -> None:
    creeping = asked(moving(169.99, 0.5), 169.995, 0.5)
    assert creeping.gap == ()


def test_a_velocity_that_the_positions_do_not_bear_out_is_not_believed() -> None:
    """Claims at both ends of a step say what its mean speed is; half the acceleration is what they may be off."""
    assert asked(moving(0.0, 20.0), 20.5 * SPAN_S, 20.0).gap == ()
    assert asked(moving(0.0, 20.0), 20.7 * SPAN_S, 20.0).gap != ()
    # where the claims themselves change, less is left for that
    tight = asked(moving(0.0, 20.0, 20.0), 20.9 * SPAN_S, 20.8)
    assert tight.gap != ()
    fair = asked(moving(0.0, 20.0, 20.0), 20.59 * SPAN_S, 20.8)
    assert fair.gap == ()
    # but an eighth of half the acceleration always is
    spent = asked(moving(0.0, 20.0, 20.0), 20.67 * SPAN_S, 21.2)
    assert spent.gap == ()
    assert asked(moving(0.0, 20.0, 20.0), 20.69 * SPAN_S, 21.2).gap != ()


def test_what_is_remembered_of_a_setpoint_is_what_the_next_depends_on() -> None:
    last = Sent(0, (1.0,), (10.0,), (9.0,), (10.0,), SPAN_S, SPAN_S)
    went = asked(last, 1.1, 10.0)
    assert went.sent.speed == pytest.approx((10.0,))
    assert replace(went.sent, speed=(10.0,)) == Sent(TICK_NS, (1.1,), (10.0,), (10.0,), (10.0,), SPAN_S, SPAN_S)
    held = asked(last, 5.0, 12.0)
    assert held.sent.claimed == (12.0,)
    assert held.sent.earlier == (10.0,)
    assert held.sent.speed == pytest.approx((11.2,))
    assert held.sent.position == pytest.approx((1.112,))
    assert held.setpoint.velocity == pytest.approx([11.2])
    assert held.setpoint.due_ns == held.sent.due_ns == TICK_NS
    assert held.gap == pytest.approx((5.0 - 1.112,))


@pytest.mark.parametrize("claim", [math.nan, math.inf, -math.inf])
def test_a_velocity_that_is_no_number_counts_as_rest(claim: float) -> None:
    one = asked(moving(0.0, 20.0), 0.2, claim)
    other = asked(moving(0.0, 20.0), 0.2, 0.0)
    assert one.sent.position == other.sent.position
    assert math.isfinite(float(one.setpoint.velocity[0]))
    # the step after counts it as rest too
    after = asked(replace(moving(0.0, 20.0), claimed=(claim,)), 0.35, 20.0)
    assert after.sent.position == asked(moving(0.0, 20.0, 0.0), 0.35, 20.0).sent.position


def test_a_claim_beyond_full_speed_counts_as_full_speed() -> None:
    for side in (-1, 1):
        one = asked(moving(0.0, side * 59.5), side * 0.7, side * 500.0)
        other = asked(moving(0.0, side * 59.5), side * 0.7, side * 60.0)
        assert one.sent.position == other.sent.position


@pytest.mark.parametrize("room", [5.0, 0.5, 0.05, 0.005])
@pytest.mark.parametrize("side", [-1, 1])
def test_a_gap_to_a_standing_axis_is_closed_as_fast_as_it_can_still_stop_there(room: float, side: int) -> None:
    """The greatest mean speed v over a step from which it stands at the place: v h + (v - a h / 2)^2 / 2a = room."""
    out = asked(moving(0.0, side * 59.0, 0.0), side * room, 0.0)
    v, h, a = abs(out.sent.speed[0]), SPAN_S, 120.0
    braked = 59.0 - a * SPAN_S
    most = room / h if 2 * room <= a * h * h else math.sqrt(2 * a * room) - a * h / 2
    assert v == pytest.approx(max(most, braked))
    # one that can be at that speed has it exactly
    just = asked(moving(0.0, side * most, 0.0), side * room, 0.0)
    assert abs(just.sent.speed[0]) == pytest.approx(most)


def test_an_axis_too_fast_brakes_by_its_acceleration_and_no_harder() -> None:
    fast = asked(moving(0.0, 75.0), 0.75, 75.0)
    assert fast.sent.speed[0] == pytest.approx(75.0 - 1.2)
    back = asked(moving(0.0, -75.0), -0.75, -75.0)
    assert back.sent.speed[0] == pytest.approx(-75.0 + 1.2)


@pytest.mark.parametrize("side", [-1, 1])
def test_an_axis_outside_its_travel_goes_no_farther_out_and_stays_where_it_is_asked_to_stay(side: int) -> None:
    out = asked(at_rest(0, np.array([side * 180.0])), side * 190.0, 0.0)
    assert out.sent.position == (side * 180.0,)
    assert out.gap == (side * 10.0,)
    inward = asked(at_rest(0, np.array([side * 180.0])), side * 160.0, 0.0)
    assert inward.sent.position[0] == pytest.approx(side * (180.0 - 0.6 * SPAN_S))
    drifting = asked(moving(side * 180.0, side * 5.0), side * 190.0, 0.0)
    assert drifting.sent.position == (side * 180.0,)


def test_a_steady_path_is_caught_up_with_by_its_own_pace_and_what_braking_can_spare() -> None:
    """An axis 3 degrees behind a path at 20 deg/s comes no faster than it can brake to that pace when it is there."""
    x, behind = 0.0, 3.0
    last = moving(-behind, 20.0)
    fastest = 0.0
    for _ in range(400):
        x += 20.0 * SPAN_S
        guarded = asked(last, x, 20.0)
        last = guarded.sent
        fastest = max(fastest, last.speed[0])
        assert last.position[0] <= x + 1e-9
        if not guarded.gap:
            break
    assert guarded.gap == ()
    assert last.due_ns * 1e-9 < 2 * math.sqrt(behind / 120) * 1.2
    assert fastest == pytest.approx(20 + math.sqrt(behind * 120), rel=0.05)


def test_a_rig_stands_when_no_setpoint_moves() -> None:
    assert at_rest(3, np.array([1.0, 2.0])) == Sent(3, (1.0, 2.0), (0.0, 0.0), (0.0, 0.0), (0.0, 0.0), 0.0, 0.0)
    assert at_rest(3, np.array([1.0, 2.0])).stands
    assert not moving(0.0, 1e-12).stands


def test_the_axis_that_is_farthest_beyond_its_own_tolerance_is_the_stray() -> None:
    held = limits(RIG)
    assert strays(held, (1.2, -0.8, 6.0, -0.03)) is None
    assert strays(held, (-2.4, 0.9, 13.0, 0.0)) == Stray("slide", 13.0, "mm")
    assert strays(held, (-2.7, 0.9, 13.0, 0.0)) == Stray("pan", -2.7, "deg")
    assert strays(held, (math.inf, 0.0, 0.0, 0.0)) == Stray("pan", math.inf, "deg")
    with pytest.raises(ValueError, match="zip"):
        strays(held, (1.0,))


def test_setpoints_come_in_order_of_time() -> None:
    last = replace(at_rest(0, np.zeros(1)), due_ns=10)
    for due_ns in (9, 10):
        with pytest.raises(ValueError, match=f"due at {due_ns} ns cannot follow one due at 10 ns"):
            guard(LIMITS, last, Setpoint(due_ns, np.zeros(1), np.zeros(1)))
    assert guard(LIMITS, last, Setpoint(11, np.zeros(1), np.zeros(1))).gap == ()


def stepped(v: float) -> float:
    """Return the place, a step from zero, at which the guard finds just this mean speed."""
    x = v * SPAN_S
    for near in (x, np.nextafter(x, math.inf), np.nextafter(x, -math.inf)):
        if float(near) / SPAN_S == v:
            return float(near)
    raise AssertionError(f"no place gives {v}")


@pytest.mark.parametrize("side", [-1, 1])
def test_what_is_asked_for_at_just_a_limit_goes_out_as_it_is(side: int) -> None:
    """A bound belongs to what may be: of speed, of the velocity that is claimed, of acceleration."""
    (ceiling,) = LIMITS.ceiling
    fast = side * ceiling
    assert asked(moving(0.0, fast), stepped(fast), fast).gap == ()
    # half of full acceleration times the step: what a mean speed may be off from standing claims
    off = side * 120.0 * (SPAN_S / 2)
    assert asked(at_rest(0, np.zeros(1)), stepped(off), 0.0).gap == ()
    # between steps, full acceleration with what rounding may add
    change = side * 120.0 * (SPAN_S * (1 + 1e-6))
    between = Sent(0, (0.0,), (0.0,), (0.0,), (change,), SPAN_S, SPAN_S)
    assert asked(between, stepped(change), change).gap == ()
    # an eighth of that half is always granted, where the claims use up all of it
    least = side * 120.0 * (SPAN_S / 2) / 8
    spent = Sent(0, (0.0,), (0.0,), (0.0,), (-0.6,), SPAN_S, SPAN_S)
    assert asked(spent, stepped(least), 0.6).gap == ()
