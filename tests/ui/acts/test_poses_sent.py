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


def test_a_hand_that_takes_over_interrupts_it_although_an_older_status_is_read_after_that_was_heard(rig: Rig) -> None:
    rig.connect()
    rig.bench.phase("going", mark="window")
    rig.says("driving", "taken over by hand")
    assert (rig.poses.bound, rig.poses.interrupted, rig.poses.on_way) == ("window", True, False)
    rig.bench.phase("driving", mark="window")
    assert (rig.poses.bound, rig.poses.interrupted, rig.poses.on_way) == ("window", True, False)


def test_no_mark_is_stored_from_a_count_that_means_nothing_yet(rig: Rig) -> None:
    rig.connect()
    before = rig.names()
    rig.bench.link.errand = "home"
    rig.poses.store()
    assert rig.names() == before
    assert "being homed" in rig.notes[-1].words
    rig.bench.link.errand = ""
    rig.poses.store()
    assert len(rig.names()) == len(before) + 1
