"""What is armed is what was saved: saving that takes long, fails, or ends after the operator thought otherwise."""

from dataclasses import replace

from sequencer.score.edits.offset import offset
from tests.ui.link.fakes import Bench
from tests.ui.link.test_link import armed, shift


def test_a_document_that_cannot_be_saved_is_not_loaded(bench: Bench) -> None:
    bench.slow = True
    bench.link.open()
    assert bench.crews == []
    assert bench.link.now.state == "offline"
    bench.held[0][1]()
    assert bench.crews == []
    assert bench.link.now.state == "offline"
    assert "could not be saved" in bench.words()


def test_saving_that_fails_ends_the_arming_at_once(bench: Bench) -> None:
    bench.connect()
    shift(bench.desk)
    bench.slow = True
    bench.link.arm()
    assert bench.link.dangerous
    bench.held[0][1]()
    assert not bench.link.dangerous
    assert not bench.desk.locked
    assert bench.crew.stops == 0
    assert "could not be saved" in bench.words()
    # a failure that comes when something else is on its way is not taken for its own
    bench.link.arm()
    bench.link.stop()
    bench.phase("idle")
    bench.slow = False
    bench.link.arm()
    bench.held[1][1]()
    assert bench.link.dangerous


def test_a_stop_while_it_is_saved_stays_latched_in_the_engine_that_got_it(bench: Bench) -> None:
    bench.connect()
    shift(bench.desk)
    bench.slow = True
    bench.link.arm()
    bench.link.stop()
    bench.held[0][0]()
    bench.phase("stopped", cause="the operator pressed stop")
    assert len(bench.crews) == 1
    assert bench.link.now.state == "stopped"


def test_another_project_while_it_is_saved_connects_nothing(bench: Bench) -> None:
    bench.slow = True
    bench.link.open()
    bench.desk.open(replace(bench.desk.project, name="other"), bench.desk.folder)
    bench.held[0][0]()
    assert bench.crews == []


def test_a_gesture_that_goes_on_is_not_taken_for_what_was_saved(bench: Bench) -> None:
    bench.desk.draft(offset(bench.desk.project.move, {"tilt": {1}}, value=0.5))
    bench.connect()
    bench.desk.settle("shift")
    bench.link.arm()
    assert len(bench.crews) == 2


def test_what_was_edited_while_the_engine_loaded_is_loaded_anew(bench: Bench) -> None:
    bench.link.open()
    assert bench.link.now.state == "opening"
    shift(bench.desk)
    bench.desk.undo()
    bench.go()
    bench.link.arm()
    assert len(bench.crews) == 2


def test_saving_that_takes_long_never_arms_what_was_loaded_before(bench: Bench) -> None:
    bench.connect()
    shift(bench.desk)
    bench.slow = True
    bench.link.arm()
    bench.go()
    bench.go()
    assert len(bench.crews) == 1
    assert armed(bench) == []
    assert bench.desk.locked
    bench.held[0][0]()
    bench.go()
    assert len(bench.crews) == 2
    assert len(armed(bench)) == 1


def test_saving_that_ends_after_the_operator_has_left_connects_nothing(bench: Bench) -> None:
    bench.slow = True
    bench.link.open()
    bench.link.open()
    bench.held[0][0]()
    assert bench.crews == []
    bench.held[1][0]()
    assert len(bench.crews) == 1


def test_a_stop_while_the_engine_is_loaded_anew_leaves_nothing_armed(bench: Bench) -> None:
    bench.connect()
    shift(bench.desk)
    bench.link.arm()
    bench.link.stop()
    bench.go()
    assert armed(bench) == []
    assert not bench.link.dangerous
