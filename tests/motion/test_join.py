"""Joining a moving reference: always, exactly, within the limits and the travel, and no later than can be proven."""

import numpy as np
import pytest

from sequencer.motion import join, profile
from sequencer.motion.peaks import peaks
from sequencer.motion.trajectory import Floats, Trajectory
from sequencer.rig.axis import Axis, Rig
from tests.bench.join import LIMITS, cases, is_impossible, merge_error, over, reference
from tests.motion.machines import rig


def planned(machine: Rig, way: Trajectory, aim: Trajectory, leave_s: Floats) -> join.Planner:
    planner = join.begin(machine, way, aim, leave_s)
    for _ in range(10_000):
        if planner.done:
            return planner
        planner = join.advance(planner)
    pytest.fail("planning does not end")


def moving(places: Floats, speed: float, begin_s: float, end_s: float) -> Trajectory:
    """Return a straight way of one axis at one speed, which starts and stops at once: nothing of a motor's."""
    lasts_s = end_s - begin_s
    pieces = (np.array([begin_s, end_s]), np.array([[speed], [places[0]]]), float(places[0] + speed * lasts_s))
    return Trajectory.joined(("pan0",), [pieces], np.zeros(1))


def test_random_states_join_exactly_and_within_the_limits() -> None:
    """The references of the study at 60 to 100 % of the limits; all thousand states are in the benchmark."""
    found = list(cases(20))
    assert len(found) == 80
    for case in found:
        assert case.in_s > case.at_s
        assert max(merge_error(case)) <= 1e-9
        assert max(over(case)) <= 1e-9
        # from there on it is the reference, and it begins with the state
        later_s = np.linspace(case.in_s, case.reference.end_s + 1, 50)
        for order in range(4):
            expected = case.reference.sample(later_s, order)
            np.testing.assert_allclose(case.joined.sample(later_s, order), expected, rtol=1e-9, atol=1e-7)
        begun = [float(case.joined.sample(np.array([case.at_s]), order)[0, 0]) for order in (0, 1, 2)]
        assert begun == pytest.approx(case.state, abs=1e-9)


@pytest.mark.parametrize("part", [0.8, 0.97])
def test_no_way_leads_there_earlier(part: float) -> None:
    """Source: linear programming (HiGHS) on a relaxation of the motors' limits: an answer of "none" is a proof."""
    for case in cases(2):
        lasts_s = part * (case.in_s - case.at_s)
        at_s = np.array([case.at_s + lasts_s])
        position, speed, acceleration = (float(case.reference.sample(at_s, order)[0, 0]) for order in (0, 1, 2))
        assert is_impossible(case.state, (position, speed, acceleration), lasts_s)


def test_the_proof_finds_a_way_where_there_is_one() -> None:
    """Else the test above could not fail."""
    for case in cases(1):
        lasts_s = case.in_s - case.at_s
        at_s = np.array([case.in_s])
        position, speed, acceleration = (float(case.reference.sample(at_s, order)[0, 0]) for order in (0, 1, 2))
        assert not is_impossible(case.state, (position, speed, acceleration), lasts_s)


def test_a_reference_that_cannot_be_caught_up_with_is_joined_where_it_rests() -> None:
    machine = rig()
    fleeing = moving(np.array([50.0]), LIMITS[0], 0.0, 40.0)
    planner = planned(machine, Trajectory.still(machine.names, np.zeros(1)), fleeing, np.zeros(1))
    # by hand, rest to rest: D/V + V/A + A/J, after the reference has long been at rest
    assert planner.in_s == pytest.approx((50 + 60 * 40) / 60 + 0.5 + 0.2, abs=1e-6)
    way = planner.trajectory()
    assert way.at(planner.in_s + 1)[0][0] == pytest.approx(50 + 60 * 40)


def test_after_the_end_the_rest_is_joined_by_the_soonest_way() -> None:
    machine, aim = rig(), reference(1, 0.9)
    rest = aim.at(aim.end_s)[0]
    leave_s = np.array([aim.end_s + 5.0])
    planner = planned(machine, Trajectory.still(machine.names, rest + 30.0), aim, leave_s)
    # by hand, rest to rest where acceleration is reached and speed is not: A/J + sqrt((A/J)^2 + 4D/A)
    assert planner.in_s - leave_s[0] == pytest.approx(0.2 + np.sqrt(0.04 + 1.0), abs=1e-9)


def test_who_is_on_the_reference_already_joins_at_once() -> None:
    aim = reference(2, 0.8)
    planner = planned(rig(), aim, aim, np.array([3.0]))
    assert planner.in_s == pytest.approx(3.0, abs=1e-4)


def test_no_way_leads_outside_the_travel() -> None:
    """A reference too fast to be joined but for a moment, beside the end of the travel: that takes a run-up beyond."""
    breaks_s = np.array([0.0, 1.4, 1.46, 1.8])
    coeffs = np.array([[70.0, 50.0, 70.0], [5 - 70 * 1.4, 5.0, 8.0]])
    passing = Trajectory.joined(("pan0",), [(breaks_s, coeffs, 8 + 70 * 0.34)], np.zeros(1))
    still = Trajectory.still(("pan0",), np.zeros(1))
    free, bounded = rig(), rig(travel=(0.0, 100.0))
    soon, later = (planned(machine, still, passing, np.zeros(1)) for machine in (free, bounded))
    assert 1.4 <= soon.in_s <= 1.46
    assert peaks(soon.trajectory(), free)[0].low.value < -5.0
    assert later.in_s >= 1.8 - 1e-6
    assert peaks(later.trajectory(), bounded)[0].low.value >= -1e-6


def test_a_state_beyond_the_limits_is_braked_until_it_is_within() -> None:
    machine, aim = rig(), reference(3, 0.7)
    way = profile.stop(machine, np.zeros(1), np.array([66.0]), np.array([0.0]))
    planner = planned(machine, way, aim, np.zeros(1))
    t_s = np.linspace(0, planner.in_s, 5000)
    speed = planner.trajectory().sample(t_s, 1)[:, 0]
    first = int(np.argmax(speed <= 60.0))
    np.testing.assert_allclose(speed[:first], way.sample(t_s[:first], 1)[:, 0])
    assert np.abs(speed[first:]).max() <= 60 * (1 + 1e-9)


def test_axes_of_any_unit_join_each_at_its_own_instant() -> None:
    turn = rig().axes[0]
    slider = Axis(name="slide", kind="slide", unit="mm", travel=(0, 3000), speed=400.0, acceleration=600.0, jerk=3000.0)
    focus = Axis(name="focus", kind="focus", unit="part", travel=(0, 1), speed=1.2, acceleration=4.0, jerk=30.0)
    machine = Rig(name="mixed", axes=(turn, slider, focus))
    one = reference(0, 0.8)
    shapes = [one.of(0), one.of(0), one.of(0)]
    scale, base = (1.0, 3.0, 0.002), (0.0, 1500.0, 0.5)
    pieces = []
    for (breaks_s, coeffs), factor, zero in zip(shapes, scale, base, strict=True):
        own = coeffs * factor
        own[-1] += zero
        pieces.append((breaks_s, own, float(one.coeffs[-1, -1]) * factor + zero))
    aim = Trajectory.joined(machine.names, pieces, np.zeros(3))
    still = Trajectory.still(machine.names, np.array([20.0, 200.0, 0.9]))
    planner = planned(machine, still, aim, np.array([2.0, 2.05, 2.1]))
    way = planner.trajectory()
    assert len({axis.at_s for axis in planner.joined}) == 3
    for number, (axis, found) in enumerate(zip(machine.axes, planner.joined, strict=True)):
        before_s, at_s = np.array([np.nextafter(found.at_s, -np.inf)]), np.array([found.at_s])
        for order in (0, 1, 2):
            gap = way.sample(before_s, order)[0, number] - aim.sample(at_s, order)[0, number]
            assert abs(gap) <= 1e-9 * axis.speed
    for peak, axis in zip(peaks(way, machine), machine.axes, strict=True):
        assert peak.speed.value <= axis.speed * (1 + 1e-9)


def test_planning_is_done_axis_by_axis_and_the_value_before_stays() -> None:
    machine, aim = rig(3), reference(0, 0.8)
    all_axes = Trajectory.joined(machine.names, [(*aim.of(0), float(aim.coeffs[-1, -1]))] * 3, np.zeros(3))
    begun = join.begin(machine, Trajectory.still(machine.names, np.zeros(3)), all_axes, np.full(3, 2.0))
    first = join.advance(begun)
    assert (len(begun.joined), len(first.joined), first.done) == (0, 1, False)
    with pytest.raises(ValueError, match="not made yet"):
        first.trajectory()
    whole = join.advance(join.advance(first))
    assert whole.done
    assert join.advance(whole) is whole
    assert whole.joined[0].at_s == whole.joined[1].at_s == whole.joined[2].at_s == whole.in_s


def test_trajectories_of_other_axes_are_refused() -> None:
    machine = rig()
    other = Trajectory.still(("tilt",), np.zeros(1))
    with pytest.raises(ValueError, match="the rig has pan0"):
        join.begin(machine, other, other, np.zeros(1))
    still = Trajectory.still(machine.names, np.zeros(1))
    with pytest.raises(ValueError, match="the rig has pan0"):
        join.begin(machine, still, still, np.zeros(2))
