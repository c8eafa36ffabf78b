"""The leg to a mark: as fast as a textbook says, within every limit, as long as asked, or refused in words."""

import re
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.motion.peaks import combined_peaks, over
from sequencer.motion.profile import stop
from sequencer.motion.to_mark import Takes, takes, to_mark
from sequencer.motion.trajectory import Floats, Trajectory
from sequencer.project.store import load
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.limits import SumLimit, WhileLimit
from sequencer.score.marks import AtSpeed, Fastest, Lasting, Mark, Pace
from sequencer.shell.kinds import laws
from tests.bench.marks import NAMES, PROJECTS, ruckigs
from tests.bench.marks import legs as random_legs
from tests.bench.marks import over as exceeds

PAN = Axis(name="pan", kind="pan", unit="deg", travel=None, speed=60.0, acceleration=120.0, jerk=600.0)
SLIDE = Axis(name="slide", kind="slide", unit="mm", travel=(0.0, 1200.0), speed=400.0, acceleration=600.0, jerk=3000.0)
FOCUS = Axis(name="focus", kind="focus", unit="part", travel=(0.0, 1.0), speed=1.2, acceleration=4.0, jerk=30.0)
RIG = Rig(name="quay", axes=(PAN, SLIDE, FOCUS))
STILL = np.zeros(3)

pans, slides, focuses = st.floats(-400, 400), st.floats(0, 1200), st.floats(0, 1)
places = st.tuples(pans, slides, focuses).map(np.array)
motions = st.tuples(st.floats(-50, 50), st.floats(-300, 300), st.floats(-1, 1)).map(np.array)
pushes = st.tuples(st.floats(-60, 60), st.floats(-300, 300), st.floats(-2, 2)).map(np.array)
legs: st.SearchStrategy[Pace] = st.one_of(
    st.just(Fastest()), st.sampled_from([Fraction(1), Fraction(1, 2), Fraction(1, 7)]).map(AtSpeed)
)


def mark(*position: tuple[str, float], leg: Pace = Fastest()) -> Mark:  # noqa: B008 - it is frozen
    return Mark("door", position, leg)


def everywhere(target: Floats, leg: Pace = Fastest()) -> Mark:  # noqa: B008 - it is frozen
    return Mark("door", tuple(zip(RIG.names, target.tolist(), strict=True)), leg)


def rest_to_rest_s(way: float, speed: float, acceleration: float, jerk: float) -> float:
    """Return the least time from rest to rest.

    Source: Biagiotti & Melchiorri 2008, "Trajectory Planning for Automatic Machines and Robots", section 3.4, the
    double-S profile with zero end speeds (from memory).
    """
    way = abs(way)
    if way == 0:
        return 0.0
    # does the acceleration reach its limit before the speed does?
    ramp_s = (
        speed / acceleration + acceleration / jerk if speed * jerk >= acceleration**2 else 2 * np.sqrt(speed / jerk)
    )
    if way >= speed * ramp_s:
        return float(way / speed + ramp_s)
    if way >= 2 * acceleration**3 / jerk**2:
        return float(acceleration / jerk + np.sqrt((acceleration / jerk) ** 2 + 4 * way / acceleration))
    return float(4 * np.cbrt(way / (2 * jerk)))


def textbook_s(start: Floats, target: Floats, part: float = 1.0) -> float:
    return max(
        rest_to_rest_s(there - here, axis.speed * part, axis.acceleration, axis.jerk)
        for axis, here, there in zip(RIG.axes, start, target, strict=True)
    )


def arrives(way: Trajectory, start: Floats, there: Mark) -> None:
    """Assert that a way begins where the rig is, and rests at the mark."""
    assert way.at(0.0)[0] == pytest.approx(start, abs=1e-9)
    position, velocity = way.at(way.end_s)
    before_s = np.array([np.nextafter(way.end_s, -np.inf)])
    for axis, value in there.position:
        number = RIG.index(axis)
        assert position[number] == value
        assert velocity[number] == 0
        assert way.sample(before_s)[0, number] == pytest.approx(value, abs=1e-3 * RIG.axes[number].speed)
        # what changes its speed at once is no arrival
        assert way.sample(before_s, 1)[0, number] == pytest.approx(0, abs=1e-5 * RIG.axes[number].speed)


@given(places, places, legs)
def test_from_rest_it_takes_as_long_as_the_textbook_says(start: Floats, target: Floats, leg: Pace) -> None:
    there = everywhere(target, leg)
    way = to_mark(RIG, start, STILL, STILL, there)
    part = float(leg.part) if isinstance(leg, AtSpeed) else 1.0
    assert way.end_s == pytest.approx(textbook_s(start, target, part), rel=1e-6, abs=1e-6)
    arrives(way, start, there)
    assert over(way, RIG) == ()
    fastest = np.abs(way.sample(np.linspace(0, max(way.end_s, 1e-9), 300)[:-1], 1)).max(axis=0)
    assert (fastest <= part * np.array([axis.speed for axis in RIG.axes]) * (1 + 1e-6)).all()


@given(places, places, motions, pushes, legs)
def test_from_any_motion_it_arrives_within_the_limits(
    start: Floats, target: Floats, velocity: Floats, acceleration: Floats, leg: Pace
) -> None:
    there = everywhere(target, leg)
    way = to_mark(RIG, start, velocity, acceleration, there)
    arrives(way, start, there)
    assert way.at(0.0)[1] == pytest.approx(velocity, abs=1e-9)
    t_s = np.linspace(0, max(way.end_s, 1e-9), 1000)[:-1]
    for order, limits in ((1, [60.0, 400.0, 1.2]), (2, [120.0, 600.0, 4.0]), (3, [600.0, 3000.0, 30.0])):
        coming = velocity + acceleration * np.abs(acceleration) / 2 / np.array([600.0, 3000.0, 30.0])
        most = np.maximum(limits, np.abs(coming)) if order == 1 else np.array(limits)
        assert (np.abs(way.sample(t_s, order)).max(axis=0) <= most * (1 + 1e-6)).all()


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("moving", [False, True], ids=["rest", "motion"])
def test_random_legs_of_the_demo_rigs_take_as_long_as_ruckigs(name: str, moving: bool) -> None:
    """Source: ruckig 0.19 asked for all axes at once; it knows no travel, and here it needs none."""
    machine = load(PROJECTS / name, laws()).rig
    for leg in random_legs(machine, 100, moving, seed=5):
        there = Mark("there", tuple(zip(machine.names, leg.target.tolist(), strict=True)))
        way = to_mark(machine, leg.position, leg.velocity, leg.acceleration, there)
        least_s, stays = ruckigs(machine, leg)
        assert stays
        assert way.end_s == pytest.approx(least_s, rel=0.01)
        assert exceeds(machine, way) <= 1e-6


def test_all_axes_arrive_together() -> None:
    way = to_mark(RIG, np.array([0.0, 0.0, 0.5]), STILL, STILL, mark(("pan", 90.0), ("focus", 0.6), ("slide", 30.0)))
    ends_s = [way.of(number)[0][-1] for number in range(3)]
    assert ends_s == pytest.approx([way.end_s] * 3)


def test_axes_that_are_not_named_stay_or_stop_soonest() -> None:
    start, velocity = np.array([0.0, 600.0, 0.5]), np.array([30.0, 0.0, 0.5])
    way = to_mark(RIG, start, velocity, STILL, mark(("pan", 90.0)))
    alone = stop(RIG, start, velocity, STILL)
    assert way.at(99.0)[0].tolist() == [90.0, 600.0, alone.at(99.0)[0][2]]
    assert way.of(2)[0].tolist() == alone.of(2)[0].tolist()
    assert len(way.of(1)[0]) == 1  # it has not moved


def test_an_axis_without_end_goes_as_far_as_the_written_values_are_apart() -> None:
    way = to_mark(RIG, np.array([350.0, 0.0, 0.0]), STILL, STILL, mark(("pan", 10.0)))
    t_s = np.linspace(0, way.end_s, 500)
    assert way.sample(t_s)[:, 0].min() == 10.0
    assert np.diff(way.sample(t_s)[:, 0]).max() <= 1e-9  # back through 340 degrees, not on through 20


@given(places, places, st.fractions(Fraction(1), Fraction(300)))
def test_a_leg_lasts_exactly_what_it_is_told(start: Floats, target: Floats, times: Fraction) -> None:
    least_s = textbook_s(start, target)
    lasts_s = (Fraction(least_s) + Fraction(1, 100)) * times
    there = everywhere(target, Lasting(lasts_s))
    way = to_mark(RIG, start, STILL, STILL, there)
    assert way.end_s == pytest.approx(float(lasts_s), rel=1e-9)
    arrives(way, start, there)
    assert over(way, RIG) == ()
    # the same curve, run slower: it asks for less acceleration, too
    fastest = to_mark(RIG, start, STILL, STILL, everywhere(target))
    part = np.linspace(0, 1, 50)[:-1]
    if fastest.end_s > 0:
        assert way.sample(part * way.end_s) == pytest.approx(fastest.sample(part * fastest.end_s), abs=1e-6)


@given(places, places, motions, pushes, st.sampled_from([1.0, 1.01, 1.5, 10.0]))
def test_a_leg_from_motion_lasts_what_it_is_told_or_says_what_is_possible(
    start: Floats, target: Floats, velocity: Floats, acceleration: Floats, times: float
) -> None:
    fastest = to_mark(RIG, start, velocity, acceleration, everywhere(target))
    there = everywhere(target, Lasting(Fraction(fastest.end_s * times + 0.01)))
    try:
        way = to_mark(RIG, start, velocity, acceleration, there)
    except ValueError as refused:
        found = re.fullmatch(r"the leg to door cannot last \S+ s; from here it takes (\S+) s or longer", str(refused))
        assert found is not None
        least_s = Fraction(found[1])
        way = to_mark(RIG, start, velocity, acceleration, everywhere(target, Lasting(least_s)))
        assert way.end_s == pytest.approx(float(least_s), abs=1e-6)
        assert times < 10
    else:
        assert isinstance(there.leg, Lasting)
        assert way.end_s == pytest.approx(float(there.leg.lasts_s), rel=1e-9)
    arrives(way, start, there)


def test_a_leg_that_is_interrupted_is_taken_up_again() -> None:
    """The stick takes the rig off half-way; what is left of the way takes the leg's whole time."""
    start, there = np.array([0.0, 100.0, 0.2]), mark(("pan", 90.0), ("slide", 900.0), leg=Lasting(Fraction(5)))
    way = to_mark(RIG, start, STILL, STILL, there)
    half_s = np.array([2.5])
    state = [way.sample(half_s, order)[0] for order in range(3)]
    again = to_mark(RIG, state[0], state[1], state[2], there)
    assert again.end_s == pytest.approx(5.0)
    assert again.sample(np.array([0.0]), 2)[0] == pytest.approx(state[2])
    assert again.at(9.0)[0].tolist() == [90.0, 900.0, 0.2]


def test_too_short_is_told_with_the_least_that_is_possible() -> None:
    # by hand: 90 degrees at 60 a second take 1.5 s, the ramps 0.5 + 0.2 s
    with pytest.raises(ValueError, match=r"^the leg to door cannot last 1 s; from here it takes 2\.2 s or longer$"):
        to_mark(RIG, STILL, STILL, STILL, mark(("pan", 90.0), leg=Lasting(Fraction(1))))
    way = to_mark(RIG, STILL, STILL, STILL, mark(("pan", 90.0), leg=Lasting(Fraction(11, 5))))
    assert way.end_s == pytest.approx(2.2)


def test_from_motion_the_least_is_that_without_a_stop() -> None:
    velocity = np.array([50.0, 0.0, 0.0])
    fastest = to_mark(RIG, STILL, velocity, STILL, mark(("pan", 90.0)))
    halt = stop(RIG, STILL, velocity, STILL)
    assert fastest.end_s < halt.end_s + textbook_s(halt.at(9.0)[0], np.array([90.0, 0.0, 0.0]))
    least = np.ceil(fastest.end_s * 1000) / 1000
    with pytest.raises(ValueError, match=re.escape(f"cannot last 0.5 s; from here it takes {least:.9g} s or longer")):
        to_mark(RIG, STILL, velocity, STILL, mark(("pan", 90.0), leg=Lasting(Fraction(1, 2))))


def test_a_leg_of_no_way_stands_for_its_time() -> None:
    way = to_mark(RIG, STILL, STILL, STILL, mark(("pan", 0.0), leg=Lasting(Fraction(5, 2))))
    assert way.end_s == 2.5
    assert not way.sample(np.linspace(0, 3, 30)).any()
    assert to_mark(RIG, STILL, STILL, STILL, mark(("pan", 0.0))).end_s == 0
    # only an axis that is not named moves
    way = to_mark(RIG, STILL, np.array([0.0, 0.0, 0.1]), STILL, mark(("pan", 0.0), leg=Lasting(Fraction(5, 2))))
    assert way.end_s == 2.5


@pytest.mark.parametrize(
    ("position", "words"),
    [
        (("lift", 1.0), "the rig cannot go to door: the rig has no axis 'lift'"),
        (("slide", 1200.5), "the rig cannot go to door: 1200.5 mm is outside slide's travel"),
    ],
)
def test_where_the_rig_cannot_stand_it_does_not_go(position: tuple[str, float], words: str) -> None:
    with pytest.raises(ValueError, match=re.escape(words)):
        to_mark(RIG, STILL, STILL, STILL, mark(position))


SWING = SumLimit(name="supply", sum=(("pan", 1.0), ("slide", 0.2)), speed=50.0)
WALL = WhileLimit(name="wall", axis="pan", other="slide", between=(400.0, 600.0), travel=(-10.0, 10.0))


@pytest.mark.parametrize("leg", [Fastest(), Lasting(Fraction(9)), AtSpeed(Fraction(9, 10))])
@pytest.mark.parametrize("velocity", [STILL, np.array([20.0, 0.0, 0.0])], ids=["at rest", "moving"])
def test_what_ties_axes_together_makes_a_leg_slower(leg: Pace, velocity: Floats) -> None:
    tied = replace(RIG, combined=(SWING,))
    there = mark(("pan", 90.0), ("slide", 900.0), leg=leg)
    free, way = (to_mark(machine, STILL, velocity, STILL, there) for machine in (RIG, tied))
    rest_s = stop(RIG, STILL, velocity, STILL).end_s
    (peak,) = combined_peaks(way.between(rest_s, way.end_s) if rest_s else way, tied)
    assert peak is not None
    if isinstance(leg, Lasting):
        assert way.end_s == pytest.approx(9.0)
        assert peak.speed.value <= 50.0 * (1 + 1e-6)
    else:
        assert peak.speed.value == pytest.approx(50.0, rel=1e-5)
        assert way.end_s > free.end_s
    arrives(way, STILL, there)


def test_a_way_through_where_axes_may_not_be_together_is_refused() -> None:
    tied = replace(RIG, combined=(WALL,))
    here = np.array([60.0, 0.0, 0.0])
    # both ends are free, what lies between is not
    with pytest.raises(ValueError, match=r"on the way to door, wall \(while slide is between 400 and 600\) would come"):
        to_mark(tied, here, STILL, STILL, mark(("pan", 60.0), ("slide", 1000.0)))
    with pytest.raises(ValueError, match="the rig cannot go to door: wall"):
        to_mark(tied, here, STILL, STILL, mark(("slide", 500.0)))  # pan stands where it does
    assert to_mark(tied, here, STILL, STILL, mark(("pan", 0.0))).end_s > 0
    # a rig that stands there already may leave
    inside = np.array([60.0, 500.0, 0.0])
    assert to_mark(tied, inside, STILL, STILL, mark(("pan", 0.0))).at(9.0)[0].tolist() == [0.0, 500.0, 0.0]


def test_a_list_of_marks_says_how_long_each_leg_takes() -> None:
    marks = [
        Mark("lamp", (("pan", 0.0), ("slide", 100.0))),
        Mark("shed", (("pan", 90.0),)),
        Mark("pier", (("lift", 9.0),)),
        Mark("quay", (("pan", 0.0), ("slide", 100.0)), Lasting(Fraction(4))),
        Mark("boat", (("pan", 90.0),), Lasting(Fraction(1))),
    ]
    first, second, third, fourth, fifth = takes(RIG, marks)
    assert first == Takes(None)
    assert second.lasts_s == pytest.approx(2.2)
    assert third.lasts_s is None
    assert third.why.startswith("the rig cannot go to pier: the rig has no axis 'lift'")
    assert fourth.lasts_s == pytest.approx(4.0)  # from the last one to which the rig can go
    assert fifth.why == "the leg to boat cannot last 1 s; from here it takes 2.2 s or longer"
    assert takes(RIG, marks[2:3])[0].why.startswith("the rig cannot go to pier")
    assert takes(RIG, []) == ()
