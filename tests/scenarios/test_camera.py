"""The camera along a take in simulated time: what it is told, when, and what the take's log says of it."""

from dataclasses import replace
from fractions import Fraction

import pytest

from sequencer.adapters.contract import Carries
from sequencer.playback.events import Stop
from sequencer.playback.firing import planned
from sequencer.playback.state import Phase
from sequencer.rig.outlet import Outlet
from sequencer.score.camera import CameraCue
from sequencer.shell.outlets import Part
from sequencer.shell.records import OpenTake
from sequencer.shell.several import Several
from sequencer.takes.rows import EventRow
from tests.scenarios.stage import TICK_NS, Stage, stage
from tests.scenarios.test_ahead import TIMING
from tests.scenarios.test_takes import roll
from tests.shell.test_control import HEADING
from tests.shell.test_outlets import kind

CUES = (
    CameraCue(do="record", at="cue start", after_s=-1.0),
    CameraCue(do="shutter", at="cue start", after_s=2.0, lead_s=0.1),
    CameraCue(do="cut", at="cue end", after_s=0.5),
)


def begun(one: Stage) -> float:
    """Have the camera told along the first cue; return the instant at which that starts, in ns."""
    one.arm(OpenTake("there", HEADING, 500.0, 60.0))
    rate = one.timebase.rate.fraction
    one.engine.firing = planned(CUES, one.cue_s, one.cue_s[0], Fraction(1), rate)
    one.run(20.0, one.in_phase(Phase.READY))
    return roll(one)


def expected_ns(one: Stage, cue_ns: float) -> list[float]:
    lasts_s = one.cue_s[1] - one.cue_s[0]
    return [cue_ns - 1e9, cue_ns + 1.9e9, cue_ns + (lasts_s + 0.5) * 1e9]


@pytest.mark.parametrize("ahead", [False, True])
def test_the_camera_records_from_before_the_start_to_after_the_end(ahead: bool) -> None:
    one = stage(timing=TIMING) if ahead else stage()
    cue_ns = begun(one)
    one.run(25.0)
    assert [trigger.name for trigger in one.output.fired] == ["record", "shutter", "cut"]
    for trigger, due_ns in zip(one.output.fired, expected_ns(one, cue_ns), strict=True):
        # the follower knows the master's place to within a fraction of a millisecond
        assert abs(trigger.due_ns - due_ns) <= 2e6
    told_ns = one.output.fired_ns
    lead_ns = TIMING.ahead_ns if ahead else 0
    for at_ns, due_ns in zip(told_ns[:2], expected_ns(one, cue_ns)[:2], strict=True):
        assert -TICK_NS <= due_ns - lead_ns - at_ns + TICK_NS <= 2 * TICK_NS + 2e6
    events = [row for row in one.kept if isinstance(row, EventRow) and row.code == "fired"]
    assert [row.text for row in events][:2] == ["record", "shutter"]
    assert [row.at_ns for row in events][:2] == [trigger.due_ns for trigger in one.output.fired][:2]


def test_after_a_stop_nothing_is_fired_any_more() -> None:
    one = stage()
    begun(one)
    one.run(4.0)
    one.engine.order(Stop("the operator pressed stop"))
    one.run(20.0)
    assert [trigger.name for trigger in one.output.fired] == ["record"]


def test_a_camera_that_no_output_reaches_is_said_and_nothing_stops() -> None:
    one = stage()
    part = Part(
        outlet=Outlet(address="to:rig"),
        kind=kind("to", Carries()),
        rig=replace(one.rig),
        places=tuple(range(len(one.rig.axes))),
        carries=Carries(),
        on_loss="stop",
    )
    one.engine._wires = replace(one.engine._wires, output=Several([(part, one.output)], len(one.rig.axes)))
    begun(one)
    one.run(20.0, one.in_phase(Phase.FINISHED))
    assert one.words("not fired") == "record went nowhere: no output carries it to a camera"
    assert one.output.fired == []
