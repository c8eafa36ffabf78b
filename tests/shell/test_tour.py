"""From mark to mark: which one the rig is at, so that next and previous mean something."""

from sequencer.score.marks import Mark
from sequencer.shell.tour import Tour

MARKS = tuple(Mark(name, (("pan", place),)) for name, place in (("door", 0.0), ("window", 10.0), ("quay", 20.0)))


def test_a_leg_that_was_interrupted_is_gone_on_with() -> None:
    tour = Tour()
    assert tour.step(MARKS, 1).name == "door"
    assert tour.step(MARKS, 1).name == "door"
    tour.arrived()
    assert tour.step(MARKS, 1).name == "window"


def test_a_mark_that_is_stored_is_where_the_rig_is() -> None:
    tour = Tour()
    tour.stored("window")
    assert tour.step(MARKS, 1).name == "quay"


def test_a_mark_that_is_stored_on_the_way_does_not_hide_where_the_way_led() -> None:
    tour = Tour()
    tour.to(MARKS[1])
    tour.stored("quay")
    tour.arrived()
    assert tour.at == "window"
