"""Ways to a rest: against ruckig's other interface, by hand, and never beyond a limit."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.motion import profile
from sequencer.motion.peaks import peaks
from sequencer.motion.profile import braking, go_to, later, reach, span, stop
from sequencer.motion.trajectory import Floats, Trajectory
from sequencer.rig.axis import Axis, Rig
from tests.bench.join import ruckigs_stop_s, stop_error_s
from tests.motion.machines import rig

speeds = st.floats(-60, 60)
accelerations = st.floats(-120, 120)
places = st.floats(-90, 90)
ZERO = np.zeros(1)


def test_thousands_of_stops_take_as_long_as_ruckigs() -> None:
    """Source: ruckig 0.19's velocity interface, another algorithm for the same optimum."""
    assert stop_error_s(5000) <= 1e-9


@given(speeds, accelerations)
def test_a_stop_takes_as_long_as_ruckigs_velocity_interface(velocity: float, acceleration: float) -> None:
    """Source: ruckig 0.19's velocity interface, another algorithm for the same optimum."""
    way = stop(rig(), ZERO, np.array([velocity]), np.array([acceleration]))
    assert way.end_s == pytest.approx(ruckigs_stop_s(velocity, acceleration), abs=1e-9)


@given(st.floats(-80, 80), st.floats(-200, 200))
def test_a_stop_ends_at_rest_and_keeps_the_limits(velocity: float, acceleration: float) -> None:
    way = stop(rig(), np.array([5.0]), np.array([velocity]), np.array([acceleration]))
    before_s = np.array([np.nextafter(way.end_s, -np.inf)])
    assert way.at(0.0)[0][0] == 5.0
    if way.end_s > 0:
        assert way.at(0.0)[1][0] == pytest.approx(velocity)
        assert way.sample(before_s, 1)[0, 0] == pytest.approx(0, abs=1e-9)
        assert way.sample(before_s, 2)[0, 0] == pytest.approx(0, abs=1e-6)
        assert way.sample(before_s)[0, 0] == pytest.approx(way.at(way.end_s)[0][0], abs=1e-9)
    t_s = np.linspace(0, max(way.end_s, 1e-9), 500)[:-1]
    assert np.abs(way.sample(t_s, 2)).max() <= max(120.0, abs(acceleration)) * (1 + 1e-9)
    assert np.abs(way.sample(t_s, 3)).max() <= 600 * (1 + 1e-9)


def test_axes_stop_one_by_one() -> None:
    way = stop(rig(3), np.array([1.0, 2.0, 3.0]), np.array([60.0, 6.0, 0.0]), np.zeros(3))
    # by hand: ramps of 0.2 s to 120 and back take 24 deg/s, the other 36 take 0.3 s; the small one sqrt(6/600) twice
    assert way.end_s == pytest.approx(0.2 + 0.3 + 0.2)
    assert way.of(1)[0][-1] == pytest.approx(0.2)
    assert way.at(9.0)[0][2] == 3.0
    assert way.at(9.0)[0][1] == pytest.approx(2.0 + 6.0 * 0.2 / 2)


@pytest.mark.parametrize(
    ("way", "cap", "expected_s"),
    [
        # far: cruise at V; T = D/V + V/A + A/J
        (300.0, 1.0, 300 / 60 + 60 / 120 + 120 / 600),
        (-300.0, 0.5, 300 / 30 + 30 / 120 + 120 / 600),
        # near: jerk alone; T = 4 cbrt(D / 2J)
        (1.0, 1.0, 4 * np.cbrt(1.0 / 1200)),
        # between: acceleration reaches A, speed not V; T = A/J + sqrt((A/J)^2 + 4D/A)
        (30.0, 1.0, 0.2 + np.sqrt(0.04 + 1.0)),
    ],
)
def test_go_to_takes_the_time_of_the_hand_formula(way: float, cap: float, expected_s: float) -> None:
    """Source: textbook, the rest-to-rest double-S profile."""
    assert go_to(rig(), ZERO, ZERO, ZERO, np.array([way]), cap).end_s == pytest.approx(expected_s, rel=1e-9)


@given(
    st.tuples(places, places),
    st.tuples(st.floats(-66, 66), st.floats(-66, 66)),
    st.tuples(st.floats(-130, 130), st.floats(-130, 130)),
    st.tuples(places, places),
    st.sampled_from([1.0, 0.25]),
)
def test_go_to_arrives_and_keeps_the_limits_it_can(
    position: tuple[float, float],
    velocity: tuple[float, float],
    acceleration: tuple[float, float],
    target: tuple[float, float],
    cap: float,
) -> None:
    machine = rig(2, travel=(-90.0, 90.0))
    start, goal = np.array(position), np.array(target)
    v, a = np.array(velocity), np.array(acceleration)
    way = go_to(machine, start, v, a, goal, cap)
    assert way.at(0.0)[0] == pytest.approx(start, abs=1e-12)
    assert way.at(way.end_s)[0].tolist() == goal.tolist()
    before_s = np.array([np.nextafter(way.end_s, -np.inf)])
    assert way.sample(before_s)[0] == pytest.approx(goal, abs=1e-6)
    assert way.sample(before_s, 1)[0] == pytest.approx([0, 0], abs=1e-5)
    t_s = np.linspace(0, max(way.end_s, 1e-9), 2000)[:-1]
    # what the start's acceleration still adds is spent before anything can hold it
    coming = np.abs(v + a * np.abs(a) / 1200)
    fastest = np.maximum.reduce([np.abs(v), coming, np.full(2, 60.0 * cap)])
    assert (np.abs(way.sample(t_s, 1)).max(axis=0) <= fastest * (1 + 1e-6)).all()
    assert (np.abs(way.sample(t_s, 2)).max(axis=0) <= np.maximum(np.abs(a), 120) * (1 + 1e-6)).all()
    assert np.abs(way.sample(t_s, 3)).max() <= 600 * (1 + 1e-6)
    halting = peaks(stop(machine, start, v, a), machine)
    for peak, halt in zip(peaks(way, machine), halting, strict=True):
        assert peak.high.value <= max(90.0, halt.high.value) + 1e-6
        assert peak.low.value >= min(-90.0, halt.low.value) - 1e-6


def test_all_axes_arrive_together() -> None:
    way = go_to(rig(3), np.zeros(3), np.zeros(3), np.zeros(3), np.array([100.0, 3.0, 0.0]))
    assert way.of(0)[0][-1] == pytest.approx(way.of(1)[0][-1], abs=1e-9)
    assert abs(way.at(way.end_s - 0.1)[1][1]) > 0


def test_a_way_that_would_leave_the_travel_stops_first() -> None:
    """Running at the end of the travel with the target behind: no way may go further than the soonest stop."""
    machine = rig(2, travel=(-90.0, 90.0))
    start, v = np.array([75.0, 0.0]), np.array([40.0, 0.0])
    way = go_to(machine, start, v, np.zeros(2), np.array([80.0, -85.0]))
    assert peaks(way, machine)[0].high.value <= 90.0
    assert way.at(way.end_s)[0].tolist() == [80.0, -85.0]


@given(
    *(st.tuples(each, each) for each in (places, speeds.map(lambda v: v * 0.9), accelerations.map(lambda a: a * 0.2))),
    st.tuples(places, places),
)
def test_how_far_a_way_reaches_is_what_its_extremes_are(
    position: tuple[float, float],
    velocity: tuple[float, float],
    acceleration: tuple[float, float],
    target: tuple[float, float],
) -> None:
    """Against the extremes of polynomials of any degree; what ruckig says of its own is now and then too small."""
    machine = rig(2)
    way = go_to(machine, np.array(position), np.array(velocity), np.array(acceleration), np.array(target))
    for low, high, peak in zip(*reach(way), peaks(way, machine), strict=True):
        assert (low, high) == pytest.approx((peak.low.value, peak.high.value), abs=1e-9)


@given(places, st.floats(-80, 80), st.floats(-200, 200))
def test_how_far_one_axis_goes_in_its_phases_is_what_its_extremes_are(p: float, v: float, a: float) -> None:
    machine = rig()
    (peak,) = peaks(stop(machine, np.array([p]), np.array([v]), np.array([a])), machine)
    reached = span((p, v, a), braking(machine.axes[0], v, a))
    assert reached == pytest.approx((peak.low.value, peak.high.value), abs=1e-9)


def test_a_later_way_is_the_same_way_each_axis_by_its_own_time() -> None:
    way = stop(rig(2), np.zeros(2), np.array([60.0, -30.0]), np.zeros(2))
    moved = later(way, np.array([2.0, 3.0]))
    for t_s in (0.0, 0.1, 0.3, 5.0):
        assert moved.at(2 + t_s)[0][0] == pytest.approx(way.at(t_s)[0][0])
        assert moved.at(3 + t_s)[0][1] == pytest.approx(way.at(t_s)[0][1])


@pytest.mark.parametrize("strayed", [-141.0, 91.0])
def test_a_way_that_is_outside_the_travel_is_not_taken(strayed: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ruckig was not seen to make one where a stop stays inside; should it, the rig stops and begins anew."""
    machine, goal = rig(travel=(-90.0, 90.0)), np.array([50.0])
    state = ZERO, np.array([40.0]), ZERO
    found = profile._straight

    def straying(
        rig: Rig, state: tuple[Floats, Floats, Floats], target: Floats, cap: float, least_s: float
    ) -> Trajectory:
        way = found(rig, state, target, cap, least_s)
        if state[1].any():
            way.coeffs[-1, 2] = strayed
        return way

    assert go_to(machine, *state, goal).at(1.0)[1][0] > 1
    monkeypatch.setattr(profile, "_straight", straying)
    halt, way = stop(machine, *state), go_to(machine, *state, goal)
    assert way.at(halt.end_s)[0] == pytest.approx(halt.at(halt.end_s)[0])
    assert way.at(halt.end_s)[1] == pytest.approx(ZERO)
    assert way.at(way.end_s)[0].tolist() == goal.tolist()


def test_long_ways_in_small_units_with_hardly_a_limit_of_jerk_are_found() -> None:
    """Told in millimetres, ruckig 0.19 finds none for one in a thousand of these: its tolerances are absolute."""
    rng = np.random.default_rng(9)
    for _ in range(3000):
        speed = 400 * 10 ** rng.uniform(-1.5, 0.5)
        slider = Axis(
            name="slide",
            kind="slide",
            unit="mm",
            travel=(-3000.0, 3000.0),
            speed=speed,
            acceleration=speed * 10 ** rng.uniform(-0.3, 1.5),
            jerk=10 ** rng.uniform(5, 10),
        )
        start, goal = rng.uniform(-3000, 3000, (2, 1))
        way = go_to(Rig(name="slider", axes=(slider,)), start, ZERO, ZERO, goal)
        before_s = np.array([np.nextafter(way.end_s, -np.inf)])
        assert way.sample(before_s)[0] == pytest.approx(goal, abs=1e-4)


def test_being_there_already_is_no_way() -> None:
    way = go_to(rig(), np.array([7.0]), ZERO, ZERO, np.array([7.0]))
    assert way.end_s == 0.0
    assert way.at(0.0)[0].tolist() == [7.0]


def test_what_cannot_be_asked_is_refused() -> None:
    machine = rig(travel=(-90.0, 90.0))
    with pytest.raises(ValueError, match="cannot go to 91"):
        go_to(machine, ZERO, ZERO, ZERO, np.array([91.0]))
    with pytest.raises(ValueError, match="cannot go to nan"):
        go_to(machine, ZERO, ZERO, ZERO, np.array([np.nan]))
    for cap in (0.0, 1.5):
        with pytest.raises(ValueError, match="cap is"):
            go_to(machine, ZERO, ZERO, ZERO, ZERO, cap)
