"""The simulated rig's camera: what it was told by either protocol, when it did that, and how often."""

from sequencer.shell.simulated_rig import WAKE_NS
from sequencer.takes.conformance.speech import bundle, device_tag, message
from sequencer.wire.osc import command
from tests.shell.test_simulated_rig import MS_NS, Wire


def test_its_camera_does_what_it_is_told_and_says_when() -> None:
    wire = Wire()
    wire.wait(10 * MS_NS)
    wire.say(command("/camera/shutter"))
    wire.say(command("/camera/record"))
    assert wire.device.camera.taken() == []
    wire.wait(WAKE_NS)
    assert wire.device.camera.taken() == [(10 * MS_NS, "record"), (10 * MS_NS, "shutter")]
    assert wire.device.left_aside == 0
    wire.say(command("/camera/zoom"))
    wire.wait(WAKE_NS)
    assert (wire.device.camera.taken(), wire.device.left_aside) == ([], 1)


def test_an_order_to_its_camera_ahead_of_time_is_done_when_it_is_due_and_once() -> None:
    """As docs/device.md has it: done when due; one name at one instant once; only a stop takes it back."""
    wire = Wire()
    wire.say(message("/device/hello", "i", 1))
    for name, due_ns in (("cut", 50 * MS_NS), ("shutter", 80 * MS_NS), ("shutter", 500 * MS_NS)):
        for _ in range(3):
            wire.say(bundle([message(f"/camera/{name}")], device_tag(due_ns)))
    wire.device.answers(48 * MS_NS)
    assert wire.device.camera.taken() == []
    wire.device.answers(148 * MS_NS)
    assert [(name, round(at_ns / MS_NS)) for at_ns, name in wire.device.camera.taken()] == [
        ("cut", 50),
        ("shutter", 80),
    ]
    wire.say(command("/stop"))
    wire.device.answers(600 * MS_NS)
    assert wire.device.camera.taken() == []
