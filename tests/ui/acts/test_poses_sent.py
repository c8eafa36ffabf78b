"""Marks to which a trigger sends the rig: known on the way, and counted from when it is there."""

from sequencer.shell.messages import Said
from tests.ui.acts.test_poses import Rig, rig

__all__ = ["rig"]


def comes(rig: Rig, mark: str) -> None:
    """Have the engine say that the rig is at a mark."""
    rig.bench.crew.says.append(Said(rig.bench.clock.ns, "at mark", f"at {mark}"))
    rig.bench.phase("finished", mark=mark)


def test_where_a_trigger_sends_the_rig_is_known_and_counted_from(rig: Rig) -> None:
    rig.connect()
    rig.poses.go("doorway")
    rig.says("going", "going to doorway")
    rig.bench.phase("going", mark="doorway")
    comes(rig, "doorway")
    assert rig.poses.neighbour(1) == "window"
    rig.says("going", "chosen by /mark/go; going to window")
    rig.bench.phase("going", mark="window")
    assert (rig.poses.bound, rig.poses.on_way) == ("window", True)
    assert rig.poses.stands()[1] == "on the way"
    rig.poses.rename("window", "gate")
    rig.bench.phase("going", mark="window")
    assert rig.poses.bound == "gate"
    comes(rig, "window")
    assert (rig.poses.bound, rig.poses.on_way) == ("", False)
    assert rig.bench.link.hands.at == "gate"
    assert rig.poses.neighbour(1) == "harbour"


def test_a_stop_interrupts_a_way_on_which_a_trigger_sent_the_rig(rig: Rig) -> None:
    rig.connect()
    rig.bench.phase("going", mark="window")
    rig.bench.phase("stopping", mark="window")
    assert (rig.poses.bound, rig.poses.interrupted) == ("window", True)
    assert rig.poses.stands()[1] == "interrupted"
