"""What the operator is offered of what was measured."""

from dataclasses import replace

import pytest

from sequencer.rig.axis import Axis
from sequencer.rig.measured import Figure, Measured
from sequencer.takes.trials.course import begin
from sequencer.takes.trials.following import Following
from sequencer.takes.trials.found import measured, offers, taken_over
from sequencer.takes.trials.ladder import climbed
from sequencer.takes.trials.steps import Most

PAN = Axis(
    name="pan", kind="pan", unit="deg", travel=(-90.0, 90.0), speed=60.0, acceleration=240.0, jerk=900.0, home=5.0
)
FOUND = Measured(
    on="2026-11-30",
    speed=Figure(value=40.06, spread=0.1, trials=4),
    acceleration=Figure(value=240.0, spread=0.0, trials=1, at_least=True),
    latency_s=Figure(value=0.01234567, spread=0.0001, trials=3),
    backlash=Figure(value=0.0302468, spread=0.001, trials=6),
    resolution=Figure(value=0.0, spread=0.0, trials=1),
)


def test_a_limit_has_a_margin_below_what_was_reached_and_none_below_what_was_held() -> None:
    """Ninety percent: common practice, no source."""
    offered = {one.field: one for one in offers(PAN, FOUND)}
    assert offered["speed"].new == 36.0
    assert "90%" in offered["speed"].why
    assert "acceleration" not in offered, "it held what its limit says: nothing to change"
    assert offered["latency_s"].new == 0.0123
    assert offered["backlash"].new == 0.0302
    assert "resolution" not in offered


def test_a_limit_is_never_rounded_up() -> None:
    for value in (0.123456, 9.999, 35.99, 1234.9):
        found = replace(FOUND, speed=Figure(value=value, spread=0.0, trials=2))
        new = next(one.new for one in offers(PAN, found) if one.field == "speed")
        assert 0.99 * 0.9 * value < new <= 0.9 * value


def test_only_what_was_accepted_is_taken_over() -> None:
    accepted = [one for one in offers(PAN, FOUND) if one.field == "latency_s"]
    axis = taken_over(PAN, FOUND, accepted)
    assert axis == replace(PAN, latency_s=0.0123, measured=FOUND)


def test_the_weaker_way_counts() -> None:
    """A lift that is hauled up has less to give than one that is let down."""
    course = begin(PAN, Most(speed=60.0, acceleration=240.0), 0.0)
    pulls = ((1.0, 100.0), (-1.0, 140.0), (1.0, 102.0), (-1.0, 138.0))
    found = measured(replace(course, pulls=pulls), "2026-11-30")
    assert found.acceleration is not None
    assert found.acceleration.value == pytest.approx(101.0)
    assert found.acceleration.trials == 2
    assert found.acceleration.spread == pytest.approx(2**0.5), "the standard deviation of 100 and 102"


def test_what_was_held_is_known_from_below() -> None:
    course = begin(PAN, Most(speed=60.0, acceleration=240.0), 0.0)
    course = replace(course, run=climbed(climbed(course.run, 0, True), 4, True))
    found = measured(course, "2026-11-30")
    assert found.speed == Figure(value=course.run.rungs[4], spread=0.0, trials=1, at_least=True)
    assert found.latency_s is None


def test_a_delay_below_zero_is_none() -> None:
    """A rig whose clock is a little ahead of ours says so; no axis may be led by less than nothing."""
    course = begin(PAN, Most(speed=60.0, acceleration=240.0), 0.0)
    follows = tuple(Following(delay_s=-0.0002, lag_s=0.0, offset=0.0, peak=0.0) for _ in range(3))
    found = measured(replace(course, follows=follows), "2026-11-30")
    assert found.latency_s == Figure(value=0.0, spread=0.0, trials=3)


def test_play_below_what_the_encoder_shows_is_none() -> None:
    found = replace(FOUND, backlash=Figure(value=0.001, spread=0.001, trials=6))
    step = Figure(value=0.01, spread=0.0, trials=1)
    offered = {one.field: one.new for one in offers(replace(PAN, backlash=0.03), replace(found, resolution=step))}
    assert offered["backlash"] == 0.0
    assert "backlash" not in {one.field for one in offers(replace(PAN, backlash=0.0), replace(found, resolution=step))}
