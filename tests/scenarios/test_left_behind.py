"""A rig behind two outputs, of which one may be lost in mid-move while the other goes on; in simulated time."""

from dataclasses import dataclass, replace

import numpy as np
import pytest

from sequencer.adapters.contract import Carries
from sequencer.playback.events import Go, Reset
from sequencer.playback.state import NO_ANSWER, Phase
from sequencer.rig.outlet import OnLoss, Outlet
from sequencer.score.marks import Mark
from sequencer.shell.ears import Ears
from sequencer.shell.loop import Engine
from sequencer.shell.outlets import Part
from sequencer.shell.relink import Relink
from sequencer.shell.several import Several
from tests.scenarios.stage import BEGIN_NS, TICK_NS, Cable, SimulatedRig, Stage, stage
from tests.scenarios.test_link import links, phase_of
from tests.shell.test_outlets import kind

SECOND_NS = 1_000_000_000


@dataclass
class Two:
    """A stage of which one axis is behind a link of its own."""

    stage: Stage
    other: SimulatedRig

    def run(self, seconds: float, phase: Phase | None = None) -> None:
        def look() -> bool:
            self.other.now_ns = self.stage.now_ns + TICK_NS
            return phase_of(self.stage) is phase

        self.stage.run(seconds, look)

    def sent_since(self, at_ns: int) -> int:
        return sum(setpoint.due_ns > at_ns for setpoint in self.other.sent)


def part(one: Stage, first: int, last: int, on_loss: OnLoss, answers: bool) -> Part:
    places = tuple(range(first, last))
    own = replace(one.rig, axes=one.rig.axes[first:last], combined=())
    return Part(
        outlet=Outlet(address=f"to:{first}"),
        kind=kind("to", Carries(), answers=answers),
        rig=own,
        places=places,
        carries=Carries(),
        on_loss=on_loss,
    )


def two(on_loss: OnLoss, answers: bool = True, first: bool = False) -> Two:
    """Return the stage whose last axis is behind a link of its own, or the first one."""
    one = stage(own_clock=True)
    count = len(one.rig.axes)
    alone, others = ((0, 1), (1, count)) if first else ((count - 1, count), (0, count - 1))
    most, last = part(one, *others, "stop", True), part(one, *alone, on_loss, answers)
    near = SimulatedRig(most.rig)
    other = SimulatedRig(last.rig, mute_from_ns=None if answers else 0)
    other.cable = Cable()
    links = [Relink(near.open), Relink(other.open)]
    for link in links:
        link.__enter__()
    one.output = near
    wires = replace(one.engine._wires, output=Several(list(zip((most, last), links, strict=True)), count))
    home = np.array([axis.home for axis in one.rig.axes])
    able = [answers if place in last.places else True for place in range(count)]
    one.engine = Engine(one.rig, replace(wires, ears=Ears(follower=one.follower)), home, BEGIN_NS, able)
    return Two(one, other)


def under_way(both: Two) -> None:
    one = both.stage
    both.run(0.5)
    one.arm()
    both.run(20.0, Phase.READY)
    one.follower.locate(one.cue_s[0])  # type: ignore[union-attr]  # own_clock has one that can be placed
    one.follower.start(one.now_ns)  # type: ignore[union-attr]  # as above
    both.run(1.5)
    assert phase_of(one) is Phase.RUNNING


@pytest.mark.parametrize("gone_in", ["", "send", "look"])
@pytest.mark.parametrize("lasts_s", [1.0, 60.0])
def test_the_others_go_on_to_the_end_and_then_the_rig_is_stopped_until_reset(gone_in: str, lasts_s: float) -> None:
    both = two("go on")
    one = both.stage
    under_way(both)
    lost_ns = one.now_ns
    both.other.cable = Cable(away_ns=(lost_ns, lost_ns + round(lasts_s * SECOND_NS)), gone_in=gone_in)
    both.run(1.8)
    sent_ns = one.now_ns
    both.run(20.0, Phase.FINISHED)
    assert phase_of(one) is Phase.FINISHED
    rest = one.timeline.at(one.cue_s[1])[0]
    np.testing.assert_allclose(one.output.sent[-1].position, rest[:-1], atol=1e-6)
    # whether or not it is back meanwhile: it would run to the timeline by itself
    assert both.sent_since(sent_ns) == 0
    both.run(1.0)
    assert phase_of(one) is Phase.STOPPED
    name = one.rig.names[-1]
    assert f"the link to {name} was lost" in one.engine.state.cause
    one.engine.order(Reset())
    both.run(0.5)
    if lasts_s > 20:
        assert phase_of(one) is Phase.STOPPED
        assert both.sent_since(sent_ns) == 0
        return
    assert "answers again" in links(one)[-2] + links(one)[-1]
    assert phase_of(one) is Phase.IDLE
    stands = both.other.motors.motors[0].load
    again = [setpoint for setpoint in both.other.sent if setpoint.due_ns > sent_ns]
    assert again
    assert np.ptp([setpoint.position[0] for setpoint in again]) == 0
    assert again[0].position[0] == pytest.approx(stands, abs=0.01)


def test_one_that_does_not_answer_is_left_behind_too() -> None:
    both = two("go on", answers=False)
    one = both.stage
    under_way(both)
    lost_ns = one.now_ns
    both.other.cable = Cable(away_ns=(lost_ns, lost_ns + SECOND_NS), gone_in="send")
    both.run(2.0)
    back_ns = one.now_ns
    assert both.other.opened == 2
    both.run(20.0, Phase.FINISHED)
    assert phase_of(one) is Phase.FINISHED
    assert both.sent_since(back_ns) == 0
    both.run(1.0)
    assert phase_of(one) is Phase.STOPPED
    one.engine.order(Reset())
    both.run(0.5)
    assert phase_of(one) is Phase.IDLE


@pytest.mark.parametrize("gone_in", ["", "send"])
def test_the_loss_of_one_that_matters_stops_all(gone_in: str) -> None:
    both = two("stop")
    under_way(both)
    lost_ns = both.stage.now_ns
    both.other.cable = Cable(away_ns=(lost_ns, lost_ns + 60 * SECOND_NS), gone_in=gone_in)
    both.run(1.5)
    assert phase_of(both.stage) is Phase.STOPPED


def test_an_axis_that_falls_silent_on_its_way_is_missed_for_that_and_not_for_where_it_is() -> None:
    both = two("stop", first=True)
    both.run(0.5)
    both.stage.engine.order(Go(Mark("far", ((both.stage.rig.names[0], 20.0),))))
    both.run(0.3)
    lost_ns = both.stage.now_ns
    both.other.cable = Cable(away_ns=(lost_ns, lost_ns + 60 * SECOND_NS))
    both.run(0.6)
    assert both.stage.engine.state.cause == NO_ANSWER


def test_one_that_others_may_leave_behind_still_stops_them_where_it_answers_and_is_astray() -> None:
    both = two("go on")
    under_way(both)
    motors = both.other.motors
    (drive,) = motors.drives
    both.other.motors = replace(motors, drives=(replace(drive, speed=0.0, acceleration=1e-9),))
    both.run(3.0)
    assert both.stage.rig.names[-1] in both.stage.engine.state.cause


def test_one_that_is_lost_while_nothing_moves_stops_what_is_armed() -> None:
    both = two("go on")
    both.run(0.5)
    both.stage.arm()
    both.run(20.0, Phase.READY)
    lost_ns = both.stage.now_ns
    both.other.cable = Cable(away_ns=(lost_ns, lost_ns + 60 * SECOND_NS))
    both.run(1.0)
    assert phase_of(both.stage) is Phase.STOPPED


def test_one_that_is_lost_on_the_way_to_a_mark_does_not_keep_the_others_waiting_for_ever() -> None:
    both = two("go on", first=True)
    both.run(0.5)
    both.stage.engine.order(Go(Mark("far", ((both.stage.rig.names[0], 20.0),))))
    both.run(0.3)
    lost_ns = both.stage.now_ns
    both.other.cable = Cable(away_ns=(lost_ns, lost_ns + 60 * SECOND_NS))
    both.run(20.0, Phase.STOPPED)
    assert both.stage.phases == [Phase.IDLE, Phase.GOING, Phase.IDLE, Phase.STOPPED]
    assert "was lost" in both.stage.engine.state.cause
