"""Steps keep to what is allowed, and the setpoints that they become are what they say."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from sequencer.motion.compile import compile_move
from sequencer.motion.peaks import over
from sequencer.rig.axis import Axis, Rig
from sequencer.shell.kinds import laws
from sequencer.takes.trials import steps, written
from sequencer.takes.trials.course import Course, Stage, batch, begin
from sequencer.takes.trials.steps import Most
from tests.takes.trials.simulated import RATE


def axis(name: str = "pan", low: float | None = -170.0, high: float = 170.0) -> Axis:
    return Axis(
        name=name,
        kind="pan",
        unit="deg",
        travel=None if low is None else (low, high),
        speed=90.0,
        acceleration=160.0,
        jerk=800.0,
        home=0.0 if low is None else low,
    )


@given(st.floats(1.0, 2000.0), st.floats(0.1, 500.0), st.floats(0.05, 20.0), st.floats(0.0, 1.0), st.floats(0.02, 1.0))
@example(1.0, 162.125, 4.0, 0.0, 1.0)  # so short that the rounding of instants counts
def test_no_step_leaves_the_travel_or_asks_for_more_than_is_allowed(
    travel: float, speed: float, per_speed: float, at: float, part: float
) -> None:
    acceleration = speed * per_speed
    most = Most(speed=speed, acceleration=acceleration, begin=part)
    course = begin(axis(low=-travel / 3, high=travel * 2 / 3), most, -travel / 3 + at * travel)
    margin = 0.05 * travel * (1 - 1e-6)
    for step in batch(course) + batch(_in(course, "acceleration")):
        low, high = step.reach
        assert low >= -travel / 3 + margin
        assert high <= travel * 2 / 3 - margin
        assert step.speed <= speed * (1 + 1e-6)
        assert step.acceleration <= acceleration * 1.05, "instants of a tenth of a millisecond sharpen short ramps"


def _in(course: Course, stage: Stage) -> Course:
    return replace(course, stage=stage)


def test_the_first_steps_are_careful() -> None:
    most = Most(speed=90.0, acceleration=160.0)
    for step in batch(begin(axis(), most, 0.0)):
        assert step.speed <= 9.0 * (1 + 1e-6)
        assert step.acceleration <= 16.0 * 1.001


def test_setpoints_are_what_the_step_says() -> None:
    """Source: the exact peaks of motion.peaks, which solves for them."""
    most = Most(speed=90.0, acceleration=160.0)
    course = _in(begin(axis(), most, 0.0), "acceleration")
    chosen = (batch(course)[0], batch(course)[12])
    rig = written.limited(Rig(name="r", axes=(axis(), axis("tilt"))), "pan", chosen)
    timeline = compile_move(rig, written.move("pan", chosen, {"pan": 0.0, "tilt": 3.5}, RATE), RATE, laws())
    assert over(timeline, rig) == (), "the rig of the trial can do its steps"
    starts_s = written.starts_s(chosen)
    for step in chosen:
        at_s = starts_s[step.name] + np.arange(0.0, step.lasts_s, 1e-3)
        position, speed, pull = (timeline.sample(at_s, order)[:, 0] for order in range(3))
        assert np.abs(speed).max() == pytest.approx(step.speed, rel=1e-3)
        assert np.abs(pull).max() == pytest.approx(step.acceleration, rel=1e-3)
        assert (position.min(), position.max()) == pytest.approx(step.reach, abs=1e-6)
    assert np.all(timeline.sample(np.linspace(0.0, 30.0, 50))[:, 1] == 3.5), "the other axis stands where it stood"


def test_an_axis_outside_its_travel_is_refused_with_the_mend() -> None:
    with pytest.raises(ValueError, match=r"stands at -175, outside its travel .* bring it inside by hand"):
        begin(axis(), Most(speed=90.0, acceleration=160.0), -175.0)
    # noise at an end of the travel is not that
    assert steps.placed(axis(), -170.01) == -170.0


def test_an_axis_without_end_stays_near_where_it_stands() -> None:
    course = begin(axis(low=None), Most(speed=90.0, acceleration=160.0), 1000.0)
    for step in batch(_in(course, "acceleration")):
        assert step.reach[0] > 910.0
        assert step.reach[1] < 1090.0


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"speed": 0.0}, "the most speed to try is 0"),
        ({"acceleration": float("nan")}, "the most acceleration to try is nan"),
        ({"begin": 0.0}, "from 0.01 to 1"),
        ({"begin": 1.5}, "from 0.01 to 1"),
    ],
)
def test_what_may_be_tried_is_a_number_above_zero(fields: dict[str, float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        Most(**{"speed": 1.0, "acceleration": 1.0} | fields)


@pytest.mark.parametrize("resolution", [0.0055, 0.02])
def test_stairs_stand_at_all_parts_of_an_encoders_step(resolution: float) -> None:
    one = steps.stairs(1.0, 100.0, Most(speed=90.0, acceleration=160.0), 0.3, resolution, 0.2)
    places = sorted({round(leg.end, 9) for leg in one.legs if leg.way > 0})[:6]
    parts = sorted((place - places[0]) / resolution % 1 for place in places)
    assert np.diff(parts) == pytest.approx([1 / 6] * 5, abs=1e-6)
