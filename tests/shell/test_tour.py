"""From mark to mark: which one the rig is at, so that next and previous mean something."""

from dataclasses import replace
from pathlib import Path

import msgspec

from sequencer.project.store import load_rig
from sequencer.score.marks import Mark
from sequencer.shell.messages import Status
from sequencer.shell.tour import ORIGIN, Tour, told
from tests.shell.acted import QUIET

MARKS = tuple(Mark(name, (("pan", place),)) for name, place in (("door", 0.0), ("window", 10.0), ("quay", 20.0)))


def test_a_leg_that_was_interrupted_is_gone_on_with() -> None:
    tour = Tour()
    assert tour.step(MARKS, 1).name == "door"
    assert tour.step(MARKS, 1).name == "door"
    tour.arrived(0)
    assert tour.step(MARKS, 1).name == "window"


def test_a_mark_that_is_stored_is_where_the_rig_is() -> None:
    tour = Tour()
    tour.stored("window")
    assert tour.step(MARKS, 1).name == "quay"


def test_a_mark_that_is_stored_on_the_way_does_not_hide_where_the_way_led() -> None:
    tour = Tour()
    tour.to(MARKS[1])
    tour.stored("quay")
    tour.arrived(0)
    assert tour.at == "window"


def status(at_ns: int, phase: str, mark: str) -> Status:
    return msgspec.structs.replace(QUIET, at_ns=at_ns, phase=phase, mark=mark)


def test_a_trigger_that_sends_the_rig_on_is_counted_from() -> None:
    tour = Tour()
    tour.to(MARKS[0])
    tour.look(status(1, "going", "door"))
    tour.arrived(2)
    tour.look(status(2, "idle", "door"))
    tour.look(status(3, "going", "window"))
    assert (tour.at, tour.bound_for, tour.under_way) == ("door", "window", True)
    tour.arrived(9)
    assert tour.at == "window"
    assert tour.step(MARKS, 1).name == "quay"


def test_a_leg_too_short_to_be_seen_is_counted_from_too() -> None:
    tour = Tour()
    tour.to(MARKS[0])
    tour.arrived(2)
    tour.look(status(2, "idle", "door"))
    tour.arrived(5)
    tour.look(status(5, "idle", "window"))
    assert tour.at == "window"


def test_what_the_engine_said_before_it_came_there_is_old() -> None:
    tour = Tour()
    tour.look(status(1, "going", "window"))
    tour.arrived(5)
    tour.look(status(4, "going", "window"))
    assert not tour.under_way
    tour.look(status(6, "going", "quay"))
    assert (tour.at, tour.bound_for) == ("window", "quay")


def test_a_mark_that_was_renamed_on_the_way_is_known_by_its_new_name() -> None:
    tour = Tour()
    tour.look(status(1, "going", "window"))
    tour.renamed("window", "gate")
    tour.renamed("gate", "arch")
    tour.look(status(2, "going", "window"))
    tour.arrived(3)
    tour.look(status(3, "idle", "window"))
    assert tour.at == "arch"
    # a new mark may have the old name
    tour.to(MARKS[1])
    tour.look(status(4, "going", "window"))
    tour.arrived(5)
    assert tour.at == "window"


def test_the_origin_is_no_mark() -> None:
    rig = load_rig(Path("projects/harbour-lanterns"))
    tour = Tour(at="door")
    assert tour.home(rig).name == ORIGIN
    tour.look(status(1, "going", ORIGIN))
    tour.arrived(2)
    assert tour.at is None


def test_a_name_that_a_status_has_no_room_for_is_left_out() -> None:
    assert told(None) == ""
    assert told(MARKS[0]) == "door"
    long = replace(MARKS[0], name="x" * 500)
    assert told(long) == ""
    tour = Tour()
    tour.to(long)
    tour.look(msgspec.structs.replace(status(1, "going", ""), mark=told(long)))
    tour.arrived(2)
    assert tour.at == long.name
    tour.to(long)
    tour.look(status(3, "going", ""))
    assert tour.under_way
    tour.look(status(4, "stopping", ""))
    assert not tour.under_way
    assert tour.at == long.name


def test_what_the_engine_said_before_a_hand_took_over_is_old() -> None:
    tour = Tour()
    tour.look(status(1, "going", "window"))
    tour.interrupted(5)
    tour.look(status(4, "going", "window"))
    assert not tour.under_way
    tour.look(status(6, "going", "quay"))
    assert (tour.at, tour.bound_for, tour.under_way) == (None, "quay", True)
