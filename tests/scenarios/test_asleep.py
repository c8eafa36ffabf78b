"""A machine that sleeps in mid-motion: the rig braked by itself long ago, so nothing goes on when it wakes."""

import numpy as np
import pytest

from sequencer.playback.events import Reset, Stop
from sequencer.playback.state import Phase
from tests.scenarios.stage import stage


@pytest.mark.parametrize("stopped", [False, True])
def test_a_machine_that_slept_in_mid_motion_does_not_go_on_with_it(stopped: bool) -> None:
    one = stage(cue="crowd sweep")
    one.run(0.5)
    one.arm()
    one.run(0.3)
    assert one.in_phase(Phase.LOCATING)()
    if stopped:
        one.engine.order(Stop("the operator pressed stop"))
        one.run(0.02)
        assert one.in_phase(Phase.STOPPING)()
    sent = len(one.output.sent)
    # not so long that the rig would have fallen silent, by which it would be noticed anyway
    one.now_ns += 1_500_000_000
    one.run(1.0)
    assert one.in_phase(Phase.STOPPED)()
    assert len(one.output.sent) == sent, "nothing went out that the rig could come after"
    assert one.output.stops > 0
    # after the reset it begins from where the rig stands
    one.engine.order(Reset())
    one.run(0.5)
    assert one.in_phase(Phase.IDLE)()
    stands = np.array([motor.load for motor in one.output.motors.motors])
    assert one.output.sent[-1].position == pytest.approx(stands, abs=0.5)
    assert np.ptp([setpoint.position for setpoint in one.output.sent[sent:]], axis=0).max() == 0


def test_a_pause_shorter_than_that_in_which_a_rig_brakes_is_braked_from_as_ever() -> None:
    one = stage(cue="crowd sweep")
    one.run(0.5)
    one.arm()
    one.run(0.3)
    sent = len(one.output.sent)
    one.now_ns += 150_000_000
    one.run(0.1)
    assert len(one.output.sent) > sent
