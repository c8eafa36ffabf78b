"""The rig answers and is not where it was sent, in simulated time: once it is stopped, it does not come after that."""

from dataclasses import replace

import numpy as np
import pytest

from sequencer.playback.events import Reset, Stop
from sequencer.playback.state import Phase
from sequencer.rig import servo
from tests.scenarios.stage import Cable, stage
from tests.scenarios.test_link import SECOND_NS, driven, link_of, links, loads, phase_of, since, to_phase


def test_a_stop_that_was_not_a_drop_resets_to_where_an_axis_that_was_held_stands() -> None:
    one = stage(cable=Cable())
    to_phase(one, Phase.IDLE)
    driven(one, 1.0)
    one.run(2.0, one.in_phase(Phase.IDLE))
    one.engine.order(Stop("the operator pressed stop"))
    one.run(0.1)
    told = one.output.sent[-1].position
    # something holds the pan, five degrees from where it was sent
    pan, *others = one.output.motors.motors
    held = replace(pan, position=pan.position - 5.0, load=pan.load - 5.0)
    drive, *free = one.output.motors.drives
    jammed = replace(drive, speed=0.0, acceleration=1e-9)
    one.output.motors = servo.Motors((jammed, *free), (held, *others))
    one.run(0.5)
    # it is sent nothing more, for it would move by itself when it comes free
    assert one.output.stops == 1
    assert since(one, one.now_ns - round(0.3 * SECOND_NS)) == []
    assert "pan stands at" in links(one)[-1]
    reset_ns = one.now_ns
    one.engine.order(Reset())
    one.run(1.0)
    first = since(one, reset_ns)[0].position
    assert first[0] == pytest.approx(held.load, abs=0.1)
    np.testing.assert_allclose(first[1:], told[1:], atol=0.1)
    assert one.output.asks == 5
    assert one.output.stops == 1


@pytest.mark.parametrize("phase", [Phase.LOCATING, Phase.DRIVING, Phase.GOING, Phase.RUNNING, Phase.STOPPING])
def test_a_rig_that_answers_and_does_not_hear_moves_by_itself_no_more_once_it_is_stopped(phase: Phase) -> None:
    one = stage(cable=Cable())
    to_phase(one, phase)
    one.output.cable.deaf_to_ns = one.now_ns + round(1.9 * SECOND_NS)
    one.run(1.85)
    assert phase_of(one) is Phase.STOPPED
    assert link_of(one) == "up"
    assert "Nothing moves before Reset" in links(one)[-1]
    stood = loads(one)
    one.run(3.0)
    np.testing.assert_array_equal(loads(one), stood)
    one.engine.order(Reset())
    one.run(1.0)
    assert phase_of(one) is Phase.IDLE
    slack = np.array([axis.backlash + 2 * axis.resolution + 6 * axis.simulated.noise for axis in one.rig.axes])
    assert (np.abs(loads(one) - stood) <= 2 * slack).all()
    driven(one, 1.0, wanted=-0.25)
    assert phase_of(one) is Phase.DRIVING
    assert (np.abs(loads(one) - stood) > 2 * slack).any()


@pytest.mark.parametrize("phase", [Phase.IDLE, Phase.FINISHED])
def test_an_axis_that_is_moved_while_nothing_is_armed_does_not_go_back_by_itself(phase: Phase) -> None:
    one = stage(cable=Cable())
    to_phase(one, phase)
    pan, *others = one.output.motors.motors
    drive, *free = one.output.motors.drives
    held = replace(pan, position=pan.position - 5.0, load=pan.load - 5.0)
    one.output.motors = servo.Motors((replace(drive, speed=0.0, acceleration=1e-9), *free), (held, *others))
    one.run(0.5)
    assert phase_of(one) is Phase.STOPPED
    assert "pan by" in one.engine.state.cause
    # and let go of
    one.output.motors = replace(one.output.motors, drives=(drive, *free))
    one.run(2.0)
    assert loads(one)[0] == pytest.approx(held.load, abs=0.1)
    one.engine.order(Reset())
    one.run(1.0)
    assert phase_of(one) is Phase.IDLE
    assert loads(one)[0] == pytest.approx(held.load, abs=0.1)
