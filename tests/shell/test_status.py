"""What a status says of where the rig was sent, and of the game controllers, in simulated time."""

from dataclasses import replace

import msgspec

from sequencer.live.handling import default_handlings
from sequencer.playback.events import Go
from sequencer.playback.state import Phase
from sequencer.score.marks import Mark
from sequencer.shell.hands import HandsOn
from sequencer.shell.messages import Status
from sequencer.shell.tour import Tour
from sequencer.wire.pad import packed
from tests.live.pad import row
from tests.scenarios.stage import Stage, stage

QUAY = Mark("quay", (("pan", 2.0),))
STEPS = Mark("steps", (("pan", 4.0),))


def statuses(one: Stage) -> list[Status]:
    """Return the statuses that are shown from now on, newest last."""
    shown: list[Status] = []
    wires = one.engine._wires
    one.engine._wires = replace(wires, show=lambda each: shown.append(msgspec.msgpack.decode(each, type=Status)))
    return shown


def test_where_a_trigger_sends_the_rig_is_in_its_status_and_counted_from() -> None:
    one = stage(own_clock=True, remote=True)
    one.get_ready()
    shown, tour = statuses(one), Tour()
    came: list[int] = []

    def say(at_ns: int, code: str, _: str) -> None:
        if code == "at mark":
            came.append(at_ns)

    one.engine._wires = replace(one.engine._wires, say=say)
    for mark in (QUAY, STEPS):
        one.engine.order(Go(mark, "OSC /mark/go"))
        one.run(5.0, lambda: bool(came))
        going = [each for each in shown if each.phase == Phase.GOING]
        assert going[-1].mark == mark.name
        for each in shown:
            tour.look(each)
        (came_ns,) = came
        tour.arrived(came_ns)
        tour.look(shown[-1])
        assert tour.at == mark.name
        shown.clear()
        came.clear()


def test_how_the_pads_are_set_is_in_every_status() -> None:
    one = stage(own_clock=True)
    pads = HandsOn(one.rig, default_handlings(one.rig))
    one.engine._wires.ears.pads = pads
    shown = statuses(one)
    one.run(0.1)
    assert not shown[-1].pads
    pads.feed(one.now_ns, packed(row()))
    one.run(0.1)
    assert [(each.name, each.manner, each.top, each.fine) for each in shown[-1].pads] == [("Pad", "rate", 0.5, False)]
