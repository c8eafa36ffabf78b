"""No setpoint leaves that breaks a limit, whatever was asked for; and what can be done goes out as it is."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from sequencer.playback.guard import LONGEST_STEP_S, Guarded, Sent, Stray, at_rest, guard, limits, strays
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.signals import Setpoint
from tests.playback.rules import ACCELERATION, HIGH, LOW, RIG, SPEED, broken

Floats = NDArray[np.float64]
LIMITS = limits(RIG)
TICK_NS = 4_000_000
HOME = np.array([0.0, 0.0, 400.0, 0.5])
ONE = Rig(
    name="one",
    axes=(Axis(name="pan", kind="pan", unit="deg", travel=(-170, 170), speed=60, acceleration=120, jerk=600),),
)


ENDLESS = Rig(name="endless", axes=(replace(ONE.axes[0], travel=None),))


def seeds() -> st.SearchStrategy[np.random.Generator]:
    return st.integers(0, 2**32 - 1).map(np.random.default_rng)


def legal_start(rng: np.random.Generator) -> Sent:
    """A state that keeps the rules, more often than not hard by an end of travel and hardly able to stop there."""
    span_s = float(rng.uniform(0.001, LONGEST_STEP_S))
    speed = rng.uniform(-1, 1, 4) * SPEED
    left = np.maximum(np.abs(speed) - ACCELERATION * span_s / 2, 0)
    way = left**2 / (2 * ACCELERATION)
    low, high = np.where(np.isinf(LOW), -1000, LOW), np.where(np.isinf(HIGH), 1000, HIGH)
    low, high = low + np.where(speed < 0, way, 0), high - np.where(speed > 0, way, 0)
    part = rng.choice([0.0, 1e-6, 0.3, 1.0 - 1e-6, 1.0], 4)
    position = np.clip(low + part * (high - low), low, high)
    still = tuple(speed.tolist())
    return Sent(0, tuple(position.tolist()), still, still, (0.0,) * 4, span_s, span_s)


def hostile(rng: np.random.Generator, steps: int) -> tuple[Floats, Floats]:
    """Positions and velocities (N, A) that no planner would ask for."""
    centre = np.array([0.0, 15.0, 600.0, 0.5])
    width = np.array([200.0, 60.0, 900.0, 0.8])
    kind = rng.integers(0, 8, (steps, 4))
    wild = np.choose(
        kind % 5,
        [
            centre + width * rng.uniform(-1, 1, (steps, 4)),
            centre + width * rng.standard_normal((steps, 4)) * 1e3,
            np.broadcast_to(centre + width, (steps, 4)),
            np.broadcast_to(centre - width, (steps, 4)),
            centre + np.cumsum(rng.standard_normal((steps, 4)) * width * 0.01, axis=0),
        ],
    )
    odd = rng.choice([np.nan, np.inf, -np.inf, 1e308, -1e308], (steps, 4))
    position = np.where(kind == 7, odd, wild)
    # long stretches of one wish take the axes to full speed and to their ends
    hold = np.maximum.accumulate(np.where(rng.random(steps) < rng.choice([0.01, 0.1, 1.0]), np.arange(steps), 0))
    velocity = np.where(rng.random((steps, 4)) < 0.1, odd, rng.standard_normal((steps, 4)) * SPEED)
    return position[hold], velocity


def driven(rng: np.random.Generator, start: Sent, due_ns: NDArray[np.int64]) -> tuple[Floats, Floats]:
    """Positions and velocities (N, A) of a driver who keeps legal speeds and says them, but never looks at the ends.

    What is wanted can be had until the very last moment, and then cannot.
    """
    steps = len(due_ns)
    change = np.maximum.accumulate(np.where(rng.random(steps) < 0.01, np.arange(steps), 0))
    velocity = (rng.uniform(-1, 1, (steps, 4)) * SPEED)[change]
    # begin at the pace that the axis has, so that the first wish can be had as well
    velocity[change == 0] = start.speed
    span_s = np.diff(due_ns, prepend=0)[:, None] * 1e-9
    return np.array(start.position) + np.cumsum(velocity * span_s, axis=0), velocity


def spans_ns(rng: np.random.Generator, steps: int) -> NDArray[np.int64]:
    """Steps as a tick makes them: regular, jittered, skipped, absurdly short, and after a long silence."""
    kinds = np.choose(
        rng.choice(5, steps, p=[0.6, 0.2, 0.14, 0.03, 0.03]),
        [
            np.full(steps, TICK_NS),
            rng.integers(1_000_000, 9_000_000, steps),
            TICK_NS * rng.integers(2, 13, steps),
            rng.integers(1_000, 200_000, steps),
            rng.integers(50_000_000, 5_000_000_000, steps),
        ],
    )
    return kinds.astype(np.int64)


def run(last: Sent, due_ns: NDArray[np.int64], position: Floats, velocity: Floats) -> list[Guarded]:
    out = []
    for due, x, v in zip(due_ns.tolist(), position, velocity, strict=True):
        guarded = guard(LIMITS, last, Setpoint(due, x, v))
        out.append(guarded)
        last = guarded.sent
    return out


@settings(max_examples=30, deadline=None)
@given(rng=seeds())
def test_whatever_is_asked_for_every_rule_is_kept(rng: np.random.Generator) -> None:
    start = legal_start(rng)
    due_ns = np.cumsum(spans_ns(rng, 300))
    out = run(start, due_ns, *hostile(rng, 300))
    sent = np.array([start.position, *(one.setpoint.position for one in out)])
    assert not broken(np.array([0, *due_ns]), sent, np.array(start.speed), start.span_s)
    told = np.array([one.setpoint.velocity for one in out])
    assert np.isfinite(told).all()
    assert (np.abs(told) <= SPEED * (1 + 2e-6)).all()
    for one in out:
        assert one.sent.position == tuple(one.setpoint.position.tolist())
        assert one.sent.due_ns == one.setpoint.due_ns


@settings(max_examples=30, deadline=None)
@given(rng=seeds())
def test_an_honest_driver_who_does_not_look_is_stopped_at_the_end_of_travel(rng: np.random.Generator) -> None:
    start = legal_start(rng)
    start = replace(start, claimed=start.speed)
    regular = rng.random() < 0.5
    due_ns = np.cumsum(np.full(400, TICK_NS) if regular else spans_ns(rng, 400))
    out = run(start, due_ns, *driven(rng, start, due_ns))
    sent = np.array([start.position, *(one.setpoint.position for one in out)])
    assert not broken(np.array([0, *due_ns]), sent, np.array(start.speed), start.span_s)


@pytest.mark.parametrize("part", [0.05, 0.3, 0.7, 1.0])
@pytest.mark.parametrize("side", [-1, 1])
def test_a_steady_drive_into_the_end_comes_to_rest_exactly_there(part: float, side: int) -> None:
    v = side * part * 60
    span_s = TICK_NS * 1e-9
    last = moving(side * 150.0, v, v)
    positions = [last.position]
    steps = 4000
    for step in range(1, steps + 1):
        at = side * 150 + v * step * span_s
        last = guard(limits(ONE), last, Setpoint(step * TICK_NS, np.array([at]), np.array([v]))).sent
        positions.append(last.position)
    assert last.position == (side * 170.0,)
    assert last.stands
    x = np.array(positions)[:, 0] * side
    assert x.max() <= 170
    speed = np.diff(x) / span_s
    assert (speed >= 0).all()
    assert np.abs(np.diff(speed, prepend=abs(v))).max() <= 120 * span_s * (1 + 2e-6)


@settings(max_examples=30, deadline=None)
@given(rng=seeds())
def test_from_every_state_that_was_let_out_full_braking_ends_inside_travel(rng: np.random.Generator) -> None:
    """Rule 4 tried out rather than computed: brake as hard as rule 3 allows, in steps of any length, and look."""
    start = legal_start(rng)
    due_ns = np.cumsum(spans_ns(rng, 60))
    asked = driven(rng, start, due_ns) if rng.random() < 0.5 else hostile(rng, 60)
    sent = run(start, due_ns, *asked)[-1].sent
    x, v, span_s = np.array(sent.position), np.array(sent.speed), sent.span_s
    for next_s in rng.uniform(0.0005, LONGEST_STEP_S, 4000):
        v = np.sign(v) * np.maximum(np.abs(v) - ACCELERATION * (span_s + next_s) / 2, 0)
        x, span_s = x + v * next_s, next_s
        assert (x >= LOW - 1e-9 * SPEED).all()
        assert (x <= HIGH + 1e-9 * SPEED).all()
        if not v.any():
            break
    assert not v.any()


def glide(t_s: Floats, part: float, pace: float) -> tuple[Floats, Floats]:
    """A sway of all axes below HOME that needs `part` of each axis's acceleration. Shape: (T, A) each."""
    size = part * ACCELERATION / pace**2
    size = np.minimum(size, 0.499 * np.minimum(HIGH - HOME, HOME - LOW))
    size = np.minimum(size, 0.999 * SPEED / pace)
    return HOME - size + size * np.cos(pace * t_s)[:, None], -size * pace * np.sin(pace * t_s)[:, None]


@settings(max_examples=30, deadline=None)
@given(rng=seeds(), part=st.floats(0.05, 0.999), pace=st.floats(0.5, 12))
def test_what_the_axes_can_do_goes_out_untouched(rng: np.random.Generator, part: float, pace: float) -> None:
    due_ns = np.cumsum(rng.choice([TICK_NS, TICK_NS, 3 * TICK_NS, TICK_NS + 70_000], 300))
    position, velocity = glide(due_ns * 1e-9, part, pace)
    last = at_rest(0, glide(np.zeros(1), part, pace)[0][0])
    for due, x, v in zip(due_ns.tolist(), position, velocity, strict=True):
        wanted = Setpoint(due, x, v)
        guarded = guard(LIMITS, last, wanted)
        assert guarded.setpoint is wanted
        assert guarded.gap == ()
        last = guarded.sent


def test_moves_at_exactly_the_limits_pass() -> None:
    """Full acceleration, full speed, full braking into the very end of travel: legal, so not held back."""
    due_ns = np.arange(1, 1500, dtype=np.int64) * TICK_NS
    t_s = due_ns * 1e-9
    ramp_s = 60 / 120
    cruise_s = (170 - 60 * ramp_s) / 60
    up, down = np.minimum(t_s, ramp_s), np.clip(t_s - ramp_s - cruise_s, 0, ramp_s)
    x = 60 * up**2 + 60 * np.clip(t_s - ramp_s, 0, cruise_s) + 60 * down - 60 * down**2
    v = np.where(t_s < ramp_s, 120 * up, 60 - 120 * down)
    last = at_rest(0, np.zeros(1))
    for due, one, pace in zip(due_ns.tolist(), x, v, strict=True):
        guarded = guard(limits(ONE), last, Setpoint(due, np.array([one]), np.array([pace])))
        assert max(map(abs, guarded.gap), default=0.0) < 1e-9
        last = guarded.sent
    assert last.position == pytest.approx((170,), abs=1e-9)
    assert last.stands


def chase(rig: Rig, start: Sent, path: Callable[[float], tuple[float, float]], steps: int) -> Floats:
    """How far the one axis lags behind `path`, tick by tick. Shape: (steps,)."""
    gap = []
    last = start
    for step in range(1, steps + 1):
        x, v = path(step * TICK_NS * 1e-9)
        last = guard(limits(rig), last, Setpoint(step * TICK_NS, np.array([x]), np.array([v]))).sent
        gap.append(x - last.position[0])
    return np.array(gap)


def moving(x: float, v: float, claimed: float) -> Sent:
    span_s = TICK_NS * 1e-9
    return Sent(0, (x,), (v,), (v,), (claimed,), span_s, span_s)


@settings(max_examples=30, deadline=None)
@given(
    x=st.floats(-60, 60),
    v=st.floats(-60, 60),
    pace=st.floats(-50, 50),
    away=st.floats(-40, 40).filter(lambda a: abs(a) > 0.01),
)
def test_a_gap_to_a_steady_path_closes_without_swinging_past_it(x: float, v: float, pace: float, away: float) -> None:
    def path(t_s: float) -> tuple[float, float]:
        return x + away + pace * t_s, pace

    # from 60 against a path of -50 that is 40 away: a second to turn, then 90 at 10 a second
    gap = chase(ENDLESS, moving(x, v, pace), path, 3000)
    assert abs(gap[-1]) < 1e-9
    # what it must swing past for being on its way already, it swings past once
    side = np.sign(np.where(np.abs(gap) < 1e-7, 0, gap))
    side = side[side != 0]
    assert np.count_nonzero(np.diff(side)) <= 1


@pytest.mark.parametrize("pace", [1.0, 2.0, 5.0, 10.0])
@pytest.mark.parametrize("part", [0.3, 0.5, 0.7])
@pytest.mark.parametrize("turn", np.linspace(0, 2 * np.pi, 9)[:-1])
def test_a_gap_to_a_path_that_accelerates_closes_within_half_a_second(pace: float, part: float, turn: float) -> None:
    size = min(part * 120 / pace**2, 59 / pace)

    def path(t_s: float) -> tuple[float, float]:
        return size * np.sin(pace * t_s + turn) + 0.5, size * pace * np.cos(pace * t_s + turn)

    x, v = path(0.0)
    gap = chase(ONE, moving(x - 0.5, v, v), path, 1000)
    assert np.abs(gap[125:]).max() < 1e-3
    assert -gap.min() < 0.5 / 3


def test_a_ripple_of_the_clock_is_smoothed_not_stopped() -> None:
    """A follower that corrects its speed by one per cent at once asks a fast pan for more than its acceleration."""
    rng = np.random.default_rng(5)
    last = moving(-100.0, 50.0, 50.0)
    x, held = -100.0, 0
    for step in range(1, 800):
        pace = 50 * (1 + 0.01 * rng.choice([-1, 0, 0, 1]))
        x += pace * TICK_NS * 1e-9
        guarded = guard(limits(ONE), last, Setpoint(step * TICK_NS, np.array([x]), np.array([pace])))
        held += bool(guarded.gap)
        assert strays(limits(ONE), guarded.gap) is None
        assert max(map(abs, guarded.gap), default=0.0) < 0.03
        last = guarded.sent
    assert held > 100


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_an_axis_asked_for_no_number_brakes_and_the_others_go_on(bad: float) -> None:
    due_ns = np.arange(1, 200, dtype=np.int64) * TICK_NS
    position, velocity = glide(np.asarray(due_ns * 1e-9, np.float64), 0.5, 2.0)
    good = position.copy()
    position[100:, 0] = bad
    out = run(at_rest(0, glide(np.zeros(1), 0.5, 2.0)[0][0]), due_ns, position, velocity)
    speeds = np.array([one.sent.speed[0] for one in out])
    assert abs(speeds[99]) > 1
    assert speeds[-1] == 0
    assert (np.diff(np.abs(speeds[99:])) <= 0).all()
    assert all(one.gap[0] == np.inf for one in out[100:])
    stray = strays(LIMITS, out[100].gap)
    assert stray is not None
    assert stray.axis == "pan"
    np.testing.assert_array_equal(np.array([one.setpoint.position for one in out])[:, 1:], good[:, 1:])


def test_an_axis_outside_its_travel_moves_inward_only_and_gently() -> None:
    start = at_rest(0, np.array([0.0, 75.0, 400.0, 0.5]))
    due_ns = np.arange(1, 1200, dtype=np.int64) * TICK_NS

    def tilt(asked: float) -> Floats:
        way = run(start, due_ns, np.tile([0.0, asked, 400.0, 0.5], (1199, 1)), np.zeros((1199, 4)))
        return np.array([one.sent.position[1] for one in way])

    inward = tilt(50.0)
    assert inward.max() <= 75
    assert inward[-1] == pytest.approx(50)
    assert np.abs(np.diff(inward, 2)).max() <= 90 * (TICK_NS * 1e-9) ** 2 * (1 + 1e-6)
    # nobody expects it to move where it is asked to stand, or to go on outward
    for asked in (75.0, 90.0):
        assert set(tilt(asked)) == {75.0}


def test_after_a_long_silence_the_rig_is_asked_for_one_longest_step_at_most() -> None:
    last = moving(0.0, 50.0, 50.0)
    guarded = guard(limits(ONE), last, Setpoint(3_000_000_000, np.array([150.0]), np.array([50.0])))
    assert guarded.sent.position[0] <= 60 * LONGEST_STEP_S


def test_a_setpoint_that_is_not_later_or_of_another_rig_is_a_fault_of_ours() -> None:
    last = at_rest(5, HOME)
    with pytest.raises(ValueError, match="cannot follow"):
        guard(LIMITS, last, Setpoint(5, HOME, np.zeros(4)))
    with pytest.raises(ValueError, match="zip"):
        guard(LIMITS, last, Setpoint(6, HOME[:3], np.zeros(3)))


def test_the_worst_stray_is_named_with_its_unit() -> None:
    assert strays(LIMITS, ()) is None
    assert strays(LIMITS, (1.1, 0.7, 5.0, 0.02)) is None
    worst = strays(LIMITS, (1.3, 0.0, -20.0, 0.02))
    assert worst == Stray("slide", -20.0, "mm")
    assert str(worst) == "slide by 20 mm"
    assert str(Stray("focus", 0.25, "part")) == "focus by 0.25 of its range"
