"""A hand that drives: only where nothing is armed, people are clear, and the engine has the rig that is on the desk."""

from dataclasses import replace

from sequencer.shell.messages import Drive
from tests.ui.link.fakes import Bench
from tests.ui.link.test_link import armed


def test_a_rig_is_driven_only_while_nothing_is_armed(bench: Bench) -> None:
    bench.link.hands.drive((1.0,))
    bench.connect()
    bench.link.hands.drive((0.5,))
    bench.phase("driving")
    bench.link.hands.drive((0.6,))
    assert bench.link.now.state == "moving"
    assert bench.desk.locked
    assert bench.crew.told == [Drive((0.5,)), Drive((0.6,))]
    bench.phase("ready")
    bench.link.hands.drive((0.7,))
    assert len(bench.crew.told) == 2


def test_a_hand_that_was_just_passed_on_is_dangerous_before_the_engine_says_so(bench: Bench) -> None:
    bench.connect()
    bench.link.hands.drive((0.5,))
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
    assert not bench.link.hands.drive((0.5,))
    assert "connect again" in bench.link.why_not_drive()
    bench.desk.undo()
    assert bench.link.hands.drive((0.5,))


def test_a_real_rig_is_driven_only_with_people_clear(bench: Bench) -> None:
    bench.link.choose(replace(bench.link.choice, rig="osc://127.0.0.1:9000"))
    bench.connect()
    assert not bench.link.hands.drive((0.5,))
    assert bench.crew.told == []
    bench.link.clear(True)
    assert bench.link.hands.drive((0.5,))
    assert bench.crew.told == [Drive((0.5,))]
