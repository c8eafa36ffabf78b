"""A rig that stands outside its travel when the program starts: it is not pulled in by itself."""

from dataclasses import replace

import numpy as np

from sequencer.playback.state import Phase
from sequencer.rig import servo
from sequencer.rig.signals import Floats
from sequencer.shell.ears import Ears
from sequencer.shell.loop import Engine, Wires
from tests.scenarios.stage import BEGIN_NS, stage


def test_an_axis_that_stands_outside_its_travel_stays_there_until_it_is_sent_somewhere() -> None:
    one = stage()
    pan, *others = one.output.motors.motors
    assert one.rig.axes[0].travel is not None
    out = one.rig.axes[0].travel[1] + 2.0
    drive, *drives = one.output.motors.drives  # with room beyond the soft limit, as where a switch sits there
    there_is_room = (replace(drive, high=out + 5.0), *drives)
    one.output.motors = servo.Motors(there_is_room, (replace(pan, position=out, load=out), *others))
    there: Floats = np.array([out, *(motor.load for motor in others)])
    wires = Wires(
        output=one.output,
        ears=Ears(follower=one.follower),
        keep=lambda _: True,
        say=lambda *_: None,
        show=lambda _: None,
    )
    one.engine = Engine(one.rig, wires, there, BEGIN_NS, answers=True)
    one.run(3.0)
    assert {tuple(setpoint.position.tolist()) for setpoint in one.output.sent} == {tuple(there.tolist())}
    assert one.engine.state.phase is Phase.IDLE
    assert servo.measure(one.output.motors, np.random.default_rng(1))[0] > one.rig.axes[0].travel[1]
    one.get_ready()
    assert abs(one.output.sent[-1].position[0] - one.timeline.at(one.cue_s[0])[0][0]) < 1e-6
