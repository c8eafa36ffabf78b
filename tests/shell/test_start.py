"""When our own clock starts where a rig wants its setpoints ahead, and what the camera does along what was armed."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any, cast

import pytest

from sequencer.playback.ahead import Timing
from sequencer.playback.state import Phase
from sequencer.project.store import load
from sequencer.score.camera import CameraCue
from sequencer.shell.duty import Duty
from sequencer.shell.ears import Ears
from sequencer.shell.engine import starts_ahead_ns
from sequencer.shell.kinds import laws
from sequencer.shell.messages import Arm, Quit, Setup, Start
from sequencer.sync.internal import InternalFollower
from sequencer.sync.orders import Due, StartClock
from tests.scenarios.stage import AS_DUE, HARBOUR, TICK_NS, Stage, stage
from tests.scenarios.test_ahead import MS, TIMING

CAMERA = (CameraCue(do="record", at="cue start", after_s=-0.5), CameraCue(do="cut", at="cue end", after_s=0.5))


class Running:
    """The engine process without its process, on a clock of our own that waits at the start of the cue."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, timing: Timing) -> None:
        self.stage: Stage = stage(own_clock=True, timing=timing)
        self.clock = cast(InternalFollower, self.stage.follower)
        monkeypatch.setattr("sequencer.shell.duty.time.monotonic_ns", lambda: self.stage.now_ns)
        setup = Setup(project="", run=None, output="", sync="internal")
        self.duty = Duty(
            child=cast(Any, SimpleNamespace(rig=self.stage.rig, setup=setup, control=None)),
            project=replace(load(HARBOUR, laws()), camera=CAMERA),
            timeline=self.stage.timeline,
            engine=self.stage.engine,
            output=cast(Any, self.stage.output),
            ears=Ears(follower=self.clock, starts_ahead_ns=starts_ahead_ns(timing, music=False)),
            desk=self.clock,
            page=cast(Any, SimpleNamespace(set_word=lambda *_: None)),
        )
        self.stage.run(0.5)
        cue = self.duty.project.move.cues[0].name
        self.duty.handle(Arm(cue=cue))
        self.run(20.0, Phase.READY)
        self.run(0.5)
        self.starts_s = self.clock.at(self.stage.now_ns).position_s

    def run(self, seconds: float, phase: Phase | None = None) -> None:
        def look() -> bool:
            for due in self.duty.ears.due(self.stage.now_ns):
                self.duty.obey(due)
            return self.stage.engine.state.phase is phase

        self.stage.run(seconds, look)


@pytest.mark.parametrize("timing", [AS_DUE, TIMING, replace(TIMING, ahead_ns=50 * MS, committed_ns=50 * MS)])
@pytest.mark.parametrize("off_ns", [0, 1, TICK_NS // 2, TICK_NS - 1])
def test_a_start_that_is_ordered_early_enough_is_exact(
    monkeypatch: pytest.MonkeyPatch, timing: Timing, off_ns: int
) -> None:
    one = Running(monkeypatch, timing)
    at_ns = one.stage.now_ns + 1_000 * MS + off_ns
    one.duty.ears.agenda.add(Due(at_ns, StartClock(), "OSC /run/start"), one.stage.now_ns)
    one.run(1.5)
    assert one.clock.at(at_ns).position_s == pytest.approx(one.starts_s, abs=1e-9)
    assert one.clock.at(at_ns + 100 * MS).position_s == pytest.approx(one.starts_s + 0.1, abs=1e-9)


def test_a_start_that_says_now_comes_always_as_much_later(monkeypatch: pytest.MonkeyPatch) -> None:
    for wait_ns in (0, 100 * MS, TIMING.ahead_ns - 1):
        one = Running(monkeypatch, TIMING)
        at_ns = one.stage.now_ns + wait_ns
        one.duty.ears.agenda.add(Due(at_ns, StartClock(), "OSC /run/start"), one.stage.now_ns)
        one.run(0.5)
        assert one.clock.at(at_ns + TIMING.ahead_ns).position_s == pytest.approx(one.starts_s, abs=1e-9)


def test_the_camera_goes_along_with_what_is_armed_and_has_its_time_before(monkeypatch: pytest.MonkeyPatch) -> None:
    one = Running(monkeypatch, TIMING)
    one.duty.handle(Start())
    starts_ns = one.stage.now_ns + TIMING.ahead_ns
    one.run(20.0)
    record, cut = one.stage.output.fired
    start_s, end_s = one.stage.cue_s
    at_s = [(trigger.due_ns - starts_ns) * 1e-9 + one.starts_s for trigger in (record, cut)]
    assert at_s == pytest.approx([start_s - 0.5, end_s + 0.5], abs=1e-6)
    assert (record.name, cut.name) == ("record", "cut")


@pytest.mark.parametrize("timing", [AS_DUE, TIMING])
@pytest.mark.parametrize(("phase", "camera"), [(Phase.FINISHED, ["record", "cut"]), (Phase.RUNNING, ["record"])])
def test_the_engine_ends_once_all_that_it_made_is_due_and_the_camera_was_told(
    monkeypatch: pytest.MonkeyPatch, timing: Timing, phase: Phase, camera: list[str]
) -> None:
    one = Running(monkeypatch, timing)
    one.duty.handle(Start())
    one.run(20.0, phase)
    one.run(1.0 if phase is Phase.RUNNING else 0.0)
    one.duty.handle(Quit())
    asked_ns = one.stage.now_ns
    while not one.duty.done:
        one.run(TICK_NS * 1e-9)
        assert one.stage.now_ns - asked_ns < 4e9
    last = one.stage.output.sent[-1]
    assert one.stage.output.played[-1].position.tolist() == last.position.tolist()
    assert not last.velocity.any()
    assert [trigger.name for trigger in one.stage.output.fired] == camera


def test_a_clock_that_stands_keeps_the_end_waiting_for_a_while_only(monkeypatch: pytest.MonkeyPatch) -> None:
    one = Running(monkeypatch, AS_DUE)
    one.duty.handle(Start())
    one.run(20.0, Phase.FINISHED)
    one.clock.halt()
    one.duty.handle(Quit())
    one.run(3.0)
    assert not one.duty.done
    one.run(1.0)
    assert one.duty.done
