"""The camera along a take in simulated time: what it is told, when, and what the take's log says of it."""

from dataclasses import replace
from fractions import Fraction

import pytest

from sequencer.adapters.contract import Carries
from sequencer.errors import LinkError
from sequencer.playback.events import Reset, Stop
from sequencer.playback.firing import Firing, Order, planned
from sequencer.playback.state import Phase
from sequencer.rig.outlet import Outlet
from sequencer.rig.signals import Trigger
from sequencer.score.camera import CameraCue
from sequencer.shell.outlets import Part
from sequencer.shell.records import CloseTake, OpenTake
from sequencer.shell.several import Several
from sequencer.takes.rows import EventRow
from tests.scenarios.stage import TICK_NS, Stage, stage
from tests.scenarios.test_ahead import TIMING
from tests.scenarios.test_joining import master
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
    armed(one)
    return roll(one)


def armed(one: Stage) -> None:
    firing = planned(CUES, one.cue_s, one.cue_s[0], Fraction(1), one.timebase.rate.fraction)
    one.arm(OpenTake("there", HEADING, 500.0, 60.0), firing)
    one.run(20.0, one.in_phase(Phase.READY))


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
    # the take is kept open for what is behind its end
    assert [row.text for row in events] == ["record", "shutter", "cut"]
    assert [row.at_ns for row in events] == [trigger.due_ns for trigger in one.output.fired]
    assert any(isinstance(row, CloseTake) for row in one.kept)


@pytest.mark.parametrize("resets", [False, True])
def test_after_a_stop_nothing_is_fired_any_more(resets: bool) -> None:
    one = stage()
    begun(one)
    one.run(4.0)
    one.engine.order(Stop("the operator pressed stop"))
    one.run(4.0)
    if resets:
        one.engine.order(Reset())
    one.run(16.0)
    assert one.engine.state.phase is (Phase.IDLE if resets else Phase.STOPPED)
    assert [trigger.name for trigger in one.output.fired] == ["record"]


def test_what_is_not_armed_has_no_camera_either() -> None:
    one = stage()
    one.get_ready()
    roll(one)
    one.run(20.0, one.in_phase(Phase.FINISHED))
    one.cue_s = (one.cue_s[0] + 2.0, one.cue_s[1])  # in mid-move
    one.arm(firing=Firing((Order(one.cue_s[1] + 0.5, "record"),)))
    one.run(1.0)
    assert "already under way" in one.words("refused")
    assert one.status is not None
    assert one.status.timeline_s > one.cue_s[1] + 0.5
    assert one.output.fired == []


@pytest.mark.parametrize("ahead", [False, True])
def test_timecode_that_runs_past_the_start_is_waited_for_with_the_camera(ahead: bool) -> None:
    """The master rolls back then, and the camera does everything at its time."""
    one = stage(timing=TIMING) if ahead else stage()
    armed(one)
    one.arrivals = master(one, one.now_ns, one.cue_s[0] + 1.0, seconds=3.0)
    one.run(5.0)
    assert one.engine.state.phase is Phase.READY
    assert one.output.fired == []
    cue_ns = roll(one)
    one.run(25.0)
    assert [trigger.name for trigger in one.output.fired] == ["record", "shutter", "cut"]
    for trigger, due_ns in zip(one.output.fired, expected_ns(one, cue_ns), strict=True):
        assert abs(trigger.due_ns - due_ns) <= 2e6


def test_a_master_that_is_rolled_anew_behind_the_end_has_no_camera() -> None:
    one = stage()
    begun(one)
    one.run(25.0, one.in_phase(Phase.FINISHED))
    one.arrivals = master(one, one.now_ns, one.cue_s[0] - 2.0, seconds=15.0)
    one.run(15.0)
    assert [trigger.name for trigger in one.output.fired] == ["record", "shutter"]


@pytest.mark.parametrize("ahead", [False, True])
def test_what_people_order_goes_out_with_the_next_tick(ahead: bool) -> None:
    one = stage(timing=TIMING) if ahead else stage()
    one.run(1.0)
    one.engine.camera.ask("shutter")
    assert one.output.fired == []
    one.run(TICK_NS * 1e-9)
    assert [trigger.name for trigger in one.output.fired] == ["shutter"]
    assert one.output.fired[0].due_ns == one.output.fired_ns[0], "it does not wait any more"
    assert one.words("fired") == "shutter"
    one.run(1.0)
    assert len(one.output.fired) == 1


def test_how_long_the_camera_has_orders_behind_the_end_is_shown() -> None:
    one = stage()
    begun(one)
    one.run(25.0, one.in_phase(Phase.FINISHED))
    assert one.status is not None
    assert 0.4 < one.status.camera_s <= 0.5
    one.run(0.6)
    assert one.status.camera_s == 0.0
    assert [trigger.name for trigger in one.output.fired][-1] == "cut"


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
    assert one.words("not fired") == "record reached no camera: no output took it"
    assert one.output.fired == []


def test_a_camera_whose_link_goes_with_the_order_is_said_with_the_reason(monkeypatch: pytest.MonkeyPatch) -> None:
    def gone(_: Trigger) -> bool:
        raise LinkError("unplugged")

    one = stage()
    monkeypatch.setattr(one.output, "fire", gone)
    begun(one)
    one.run(3.0)
    assert one.words("perhaps fired") == "record may not have gone out: unplugged"
