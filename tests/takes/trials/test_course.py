"""The whole course of an axis against a simulated rig whose truth its file does not know, and against bad answers."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from sequencer.rig.axis import Axis, Rig, Simulated
from sequencer.rig.signals import Floats
from sequencer.takes.trials.course import Course, begin, shown
from sequencer.takes.trials.found import measured
from sequencer.takes.trials.steps import Most
from tests.takes.trials.simulated import Bench, Spoil, course_of

FILE = Axis(
    name="pan", kind="pan", unit="deg", travel=(-90.0, 90.0), speed=60.0, acceleration=240.0, jerk=2400.0, home=-20.0
)
TRUE = Simulated(lag_s=0.02, transport_s=0.012, noise=0.003, speed=40.0, acceleration=110.0, backlash=0.06)
QUICK = Most(speed=60.0, acceleration=240.0, begin=0.25)


def tried(
    *, truth: Simulated = TRUE, most: Most = QUICK, file: Axis = FILE, spoil: Spoil | None = None, **true: float
) -> Course:
    """Return the course of an axis that truly is `truth`."""
    pan = replace(file, simulated=truth, resolution=true.get("resolution", 0.004))
    other = replace(FILE, name="tilt", kind="tilt", home=3.0)
    bench = Bench(truth=Rig(name="r", axes=(pan, other)), seed=4, spoil=spoil)
    course = course_of(bench, Rig(name="r", axes=(file, other)), "pan", most)
    asked = np.array([setpoint.position[1] for setpoint in bench.sent])
    assert np.ptp(asked) < 0.001, "the other axis stands"
    return course


@pytest.fixture(scope="module")
def whole() -> Course:
    return tried()


@pytest.mark.parametrize(
    ("name", "truth"),
    [("speed", 40.0), ("acceleration", 110.0), ("latency_s", 0.012), ("backlash", 0.06), ("resolution", 0.004)],
)
def test_what_is_measured_is_the_truth(whole: Course, name: str, truth: float) -> None:
    figure = measured(whole, "2026-11-30").figures[name]
    assert figure.value == pytest.approx(truth, rel=0.05)
    assert not figure.at_least
    assert figure.spread < 0.1 * truth


def test_it_grows_from_careful_steps_and_ends_without_trouble(whole: Course) -> None:
    assert whole.trouble == ""
    assert whole.stage == "done"
    asked = [one.asked for one in whole.tried if one.step.startswith("acceleration") and one.held]
    assert asked[0] <= 60.0 * 1.001
    assert all(later <= 1.26 * before for before, later in pairwise(asked))
    assert whole.noise == pytest.approx(0.003, rel=0.5)


def test_what_is_never_too_much_is_known_from_below() -> None:
    course = tried(truth=replace(TRUE, speed=500.0, acceleration=2000.0), most=replace(QUICK, begin=0.6))
    found = measured(course, "2026-11-30")
    assert found.speed is not None
    assert found.acceleration is not None
    assert (found.speed.value, found.speed.at_least) == (60.0, True)
    assert (found.acceleration.value, found.acceleration.at_least) == (240.0, True)


def test_a_short_travel_is_no_reason_to_leave_it() -> None:
    """The travel has no room for the top speed: the fastest that it has room for is what is known."""
    course = tried(file=replace(FILE, travel=(-35.0, -5.0)), most=replace(QUICK, begin=0.5))
    found = measured(course, "2026-11-30")
    assert course.trouble == ""
    assert found.speed is not None
    assert found.speed.at_least
    assert found.speed.value < 40.0


def still(position: Floats) -> Floats:
    return np.array([-20.0, 3.0])


def backwards(position: Floats) -> Floats:
    return np.array([-40.0 - position[0], position[1]])


def dumb(position: Floats) -> Floats:
    return np.array([math.nan, position[1]])


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (still, "says it stands still: is the motor on, is the axis blocked, does the encoder report"),
        (backwards, "goes the other way than it is sent"),
    ],
)
def test_answers_that_cannot_be_end_it_at_the_first_step(spoil: Spoil, words: str) -> None:
    course = tried(spoil=spoil)
    assert words in course.trouble
    assert [one.step for one in course.tried] == ["a small move"]
    assert measured(course, "2026-11-30").figures == {}


def test_a_dead_motor_behind_a_noisy_encoder_is_seen() -> None:
    course = tried(truth=replace(TRUE, speed=1e-9, noise=0.05))
    assert "stands still" in course.trouble
    assert len(course.tried) == 1


def test_an_axis_weaker_than_its_first_step_is_not_tried_harder() -> None:
    course = tried(truth=replace(TRUE, acceleration=20.0))
    assert course.trouble
    assert not [one for one in course.tried if one.asked > 0 and one.held]


def test_much_play_is_measured_where_the_rig_file_warns_of_it() -> None:
    file = replace(FILE, backlash=0.8)
    found = measured(tried(truth=replace(TRUE, backlash=0.7), file=file, most=replace(QUICK, begin=0.6)), "2026-11-30")
    assert found.backlash is not None
    assert found.backlash.value == pytest.approx(0.7, rel=0.05)


def test_a_travel_without_room_for_the_first_speed_leaves_it_unknown() -> None:
    course = tried(file=replace(FILE, travel=(-24.0, -16.0)), most=replace(QUICK, begin=0.4))
    assert course.trouble == ""
    assert measured(course, "2026-11-30").speed is None
    assert "no room in the travel" in course.tried[-1].words


def test_play_longer_than_the_first_ramps_spoils_no_figure() -> None:
    """A gear with play of a third of a percent of its travel, which its file knows, from careful steps on."""
    file = replace(FILE, backlash=0.6)
    course = tried(truth=replace(TRUE, backlash=0.6), file=file, most=replace(QUICK, begin=0.1))
    found = measured(course, "2026-11-30").figures
    assert course.trouble == ""
    for name, truth in {"speed": 40.0, "acceleration": 110.0, "latency_s": 0.012, "backlash": 0.6}.items():
        assert found[name].value == pytest.approx(truth, rel=0.05), name


def test_play_too_large_for_the_steps_leaves_the_rest_unknown() -> None:
    file = replace(FILE, backlash=1.2)
    course = tried(truth=replace(TRUE, backlash=1.2), file=file, most=replace(QUICK, begin=0.1))
    assert "too much for its speed, acceleration and latency to be measured" in course.trouble
    found = measured(course, "2026-11-30").figures
    assert set(found) == {"backlash"}
    assert found["backlash"].value == pytest.approx(1.2, rel=0.05)


def test_an_axis_that_follows_badly_from_the_first_has_no_latency() -> None:
    file = replace(FILE, backlash=3.0)
    course = tried(truth=replace(TRUE, backlash=3.0), file=file, most=replace(QUICK, begin=0.1))
    assert "follows badly even at 6 a second" in course.trouble
    assert "a gear with much play" in course.trouble
    assert measured(course, "2026-11-30").figures == {}


@pytest.mark.parametrize(("stands", "way"), [(-90.0, 1.0), (-20.0, 1.0), (90.0, -1.0), (89.0, -1.0)])
def test_what_is_shown_of_an_axis_begins_where_it_stands(stands: float, way: float) -> None:
    """Whoever watches must not take the way to a first place for what is shown."""
    small = shown(begin(FILE, QUICK, stands), stands)
    assert small.legs[0].start == stands
    assert [leg.way for leg in small.legs] == [way, -way]
    assert FILE.travel is not None
    assert FILE.travel[0] <= small.reach[0] <= small.reach[1] <= FILE.travel[1]
