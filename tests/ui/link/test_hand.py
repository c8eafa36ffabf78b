"""A hand that drives: only where nothing is armed, people are clear, and the engine has the rig that is on the desk."""

from dataclasses import replace

import pytest

from sequencer.score.marks import Mark
from sequencer.shell.messages import Drive
from tests.ui.link.fakes import Bench
from tests.ui.link.test_link import armed


def test_a_rig_is_driven_only_while_nothing_is_armed(bench: Bench) -> None:
    bench.link.hands.drive(Drive((1.0,)))
    bench.connect()
    bench.link.hands.drive(Drive((0.5,)))
    bench.phase("driving")
    bench.link.hands.drive(Drive((0.6,)))
    assert bench.link.now.state == "moving"
    assert bench.desk.locked
    assert bench.crew.told == [Drive((0.5,)), Drive((0.6,))]
    bench.phase("ready")
    bench.link.hands.drive(Drive((0.7,)))
    assert len(bench.crew.told) == 2


def test_a_hand_that_was_just_passed_on_is_dangerous_before_the_engine_says_so(bench: Bench) -> None:
    bench.connect()
    bench.link.hands.drive(Drive((0.5,)))
    assert bench.link.dangerous
    assert bench.desk.locked
    bench.link.arm()
    assert armed(bench) == []
    bench.go(0.3)
    assert not bench.link.dangerous


def test_a_rig_that_was_changed_since_is_not_driven(bench: Bench) -> None:
    bench.connect()
    project = bench.desk.project
    last = project.rig.axes[-1]
    axes = (*project.rig.axes[:-1], replace(last, speed=last.speed * 2))
    bench.desk.edit("faster", replace(project, rig=replace(project.rig, axes=axes)))
    assert not bench.link.hands.drive(Drive((0.5,)))
    assert "connect again" in bench.link.why_not_drive()
    bench.desk.undo()
    assert bench.link.hands.drive(Drive((0.5,)))


def test_a_real_rig_is_driven_only_with_people_clear(bench: Bench) -> None:
    bench.link.choose(replace(bench.link.choice, rig="osc://127.0.0.1:9000"))
    bench.connect()
    assert not bench.link.hands.drive(Drive((0.5,)))
    assert bench.crew.told == []
    bench.link.clear(True)
    assert bench.link.hands.drive(Drive((0.5,)))
    assert bench.crew.told == [Drive((0.5,))]


def perform(bench: Bench, *axes: str, phase: str, **more: object) -> None:
    bench.link.choose(replace(bench.link.choice, by_hand=axes, record=False))
    bench.ready()
    bench.phase(phase, **more)


def driven(bench: Bench) -> list[Drive]:
    return [one for one in bench.crew.told if isinstance(one, Drive)]


@pytest.mark.parametrize("phase", ["running", "freewheeling"])
def test_a_hand_on_the_screen_performs_while_others_play_where_hands_have_their_axes(bench: Bench, phase: str) -> None:
    perform(bench, "pan", phase=phase, punched=True)
    hands = bench.link.hands
    assert hands.performed == ("pan",)
    assert hands.why_not_drive() == ""
    assert hands.drive(Drive((0.5,)))
    bench.phase(phase, punched=False)
    assert hands.waits
    assert not hands.drive(Drive((0.6,)))
    assert driven(bench) == [Drive((0.5,))]


@pytest.mark.parametrize(("phase", "waits"), [("ready", True), ("locating", True), ("running", False)])
def test_it_waits_until_the_move_runs(bench: Bench, phase: str, waits: bool) -> None:
    perform(bench, "pan", phase=phase, punched=True)
    assert bench.link.hands.waits == waits
    assert bench.link.hands.drive(Drive((0.5,))) != waits


def test_nothing_else_is_let_through_while_it_performs(bench: Bench) -> None:
    perform(bench, "pan", phase="running", punched=True)
    link, told = bench.link, len(bench.crew.told)
    assert link.why_not_drive()
    link.arm()
    assert not link.hands.go(Mark("quay", (("pan", 1.0),)))
    assert not link.hands.home(bench.desk.project.rig)
    assert not link.hands.take(True)
    assert len(bench.crew.told) == told


def test_where_no_axis_is_performed_nothing_is_pushed_while_it_plays(bench: Bench) -> None:
    perform(bench, phase="running", punched=True)
    assert bench.link.hands.performed == ()
    assert bench.link.hands.why_not_drive()
    assert not bench.link.hands.drive(Drive((0.5,)))


def test_late_reports_and_a_stop_end_a_performance_by_hand(bench: Bench) -> None:
    perform(bench, "pan", phase="running", punched=True)
    bench.crew.silent = True
    bench.go(0.3)
    assert not bench.link.hands.drive(Drive((0.5,)))
    bench.crew.silent = False
    bench.phase("stopping", punched=True)
    assert not bench.link.hands.drive(Drive((0.5,)))
    # to let go is passed on at any time
    assert bench.link.hands.drive(Drive((0.0,), held=False))
