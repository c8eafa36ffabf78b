"""The editor's end: it arms what is on the desk and nothing else, locks it, drops what nobody starts, and stops."""

from dataclasses import replace
from fractions import Fraction

import pytest

from sequencer.errors import LinkError
from sequencer.project.document import Project
from sequencer.score.edits.offset import offset
from sequencer.shell.crew import CrewFailed
from sequencer.shell.messages import Arm, Kept, Refused, Reset, Said, Start
from tests.ui.link.fakes import Bench
from ui.desk import Desk, Note


def shift(desk: Desk) -> Project:
    desk.edit("shift", offset(desk.project.move, {"tilt": {1}}, value=0.5))
    return desk.project


def armed(bench: Bench) -> list[Arm]:
    return [one for one in bench.crew.told if isinstance(one, Arm)]


def test_connecting_saves_the_document_and_moves_nothing(bench: Bench) -> None:
    bench.connect()
    assert bench.saves == 1
    assert bench.crew.told == []
    assert not bench.link.dangerous


def test_a_cause_of_ours_is_not_told_of_a_later_stop(bench: Bench) -> None:
    bench.ready()
    bench.go(30.1)
    bench.phase("stopped", cause="the operator pressed stop")
    assert "not started within 30 seconds" in bench.link.last_stop
    bench.link.reset()
    bench.phase("idle")
    bench.phase("stopped", cause="OSC /stop asked for it")
    assert bench.link.last_stop == "OSC /stop asked for it"


def test_a_cause_of_ours_that_no_engine_heard_is_not_told_of_a_later_stop(bench: Bench) -> None:
    bench.link.stop("another project was opened")
    bench.connect()
    bench.phase("stopped", cause="OSC /stop asked for it")
    assert bench.link.last_stop == "OSC /stop asked for it"


def test_a_fault_is_not_cleared_while_its_engine_may_still_brake(bench: Bench) -> None:
    bench.ready()
    bench.phase("running")
    work: list[tuple[object, ...]] = []
    bench.link._crews._aside.do = lambda *job: work.append(job)  # type: ignore[method-assign]  # the end takes its time
    bench.crew.fault = CrewFailed("the io process ended by itself (status 1)")
    bench.go()
    bench.link.reset()
    assert bench.link.now.state == "fault"
    assert bench.link.dangerous
    work[0][1](None)  # type: ignore[operator]  # and now it has ended
    assert not bench.link.dangerous
    bench.link.reset()
    assert bench.link.now.state == "offline"


def test_arming_locks_the_desk_until_the_rig_is_quiet(bench: Bench) -> None:
    bench.ready()
    refused: list[Note] = []
    bench.desk.noted.connect(refused.append)
    before = bench.desk.project
    shift(bench.desk)
    assert bench.desk.project is before
    assert "stop it to edit" in refused[-1].words
    bench.link.stop()
    assert bench.crew.stops == 1
    bench.phase("stopping")
    assert bench.desk.locked
    bench.phase("stopped", cause="the operator pressed stop")
    assert not bench.desk.locked
    assert bench.link.last_stop == "the operator pressed stop"
    shift(bench.desk)
    assert bench.desk.project is not before


def test_a_cue_that_is_gone_is_chosen_no_more(bench: Bench) -> None:
    project = bench.desk.project
    cue = replace(project.move.cues[0], name="renamed")
    bench.link.choose(replace(bench.link.choice, record=True, run=project.move.passes[1].name))
    bench.desk.edit("rename", replace(project.move, cues=(cue,), passes=project.move.passes[:1]))
    assert (bench.link.choice.cue, bench.link.choice.run, bench.link.choice.record) == ("renamed", None, True)
    bench.desk.edit("none", replace(project.move, cues=(), passes=()))
    assert (bench.link.choice.cue, bench.link.choice.record) == (None, False)


def test_a_gesture_that_goes_on_keeps_the_rig_from_being_armed(bench: Bench) -> None:
    bench.connect()
    bench.desk.draft(offset(bench.desk.project.move, {"tilt": {1}}, value=0.5))
    bench.link.arm()
    assert armed(bench) == []
    assert "end the edit" in bench.words()


def test_a_changed_document_is_loaded_anew_before_it_is_armed_and_the_rig_stays(bench: Bench) -> None:
    bench.connect()
    bench.link.arm()
    bench.phase("locating")
    bench.phase("finished")
    assert len(bench.crews) == 1
    shift(bench.desk)
    first = bench.crew
    bench.link.arm()
    assert first.ended == 1
    assert len(bench.crews) == 2
    assert bench.saves == 2
    assert bench.link.dangerous
    assert bench.desk.locked
    bench.go()
    assert len(armed(bench)) == 1
    assert bench.rigs_ended == 0


def test_another_setup_is_loaded_anew_and_another_speed_is_not(bench: Bench) -> None:
    bench.connect()
    bench.link.choose(replace(bench.link.choice, speed=Fraction(1, 4)))
    bench.link.arm()
    assert len(bench.crews) == 1
    assert armed(bench)[-1].speed == "1/4"
    bench.phase("locating")
    bench.phase("finished")
    bench.link.choose(replace(bench.link.choice, tick_hz=100))
    bench.link.arm()
    assert len(bench.crews) == 2


def test_a_changed_rig_is_simulated_anew(bench: Bench) -> None:
    bench.connect()
    project = bench.desk.project
    axis = replace(project.rig.axes[0], speed=project.rig.axes[0].speed * 1.5)
    bench.desk.edit("faster", replace(project, rig=replace(project.rig, axes=(axis, *project.rig.axes[1:]))))
    bench.link.arm()
    assert bench.rigs_ended == 1


def test_a_real_rig_is_armed_only_after_the_operator_has_said_that_people_are_clear(bench: Bench) -> None:
    bench.link.choose(replace(bench.link.choice, rig="osc://127.0.0.1:9000"))
    bench.connect()
    bench.link.arm()
    assert armed(bench) == []
    assert "people are clear" in bench.words()
    bench.link.clear(True)
    bench.link.arm()
    assert len(armed(bench)) == 1
    bench.phase("locating")
    bench.phase("finished")
    bench.link.leave()
    bench.link.clear(True)
    # another rig is another question, and so is another connection
    bench.link.choose(replace(bench.link.choice, rig="osc://127.0.0.1:9001"))
    assert not bench.link.cleared
    bench.connect()
    bench.link.clear(True)
    bench.link.leave()
    assert not bench.link.cleared


def test_our_own_clock_is_started_only_at_the_start(bench: Bench) -> None:
    bench.connect()
    bench.link.start()
    bench.phase("locating")
    bench.link.start()
    assert bench.crew.told == []
    bench.phase("ready")
    bench.link.start()
    assert [type(one) for one in bench.crew.told] == [Start]


def test_a_stop_that_is_latched_is_reset_by_the_operator_alone(bench: Bench) -> None:
    bench.ready()
    bench.link.stop()
    bench.phase("stopped", cause="the operator pressed stop")
    bench.link.arm()
    assert len(armed(bench)) == 1
    assert "reset first" in bench.words()
    bench.link.reset()
    assert isinstance(bench.crew.told[-1], Reset)
    bench.phase("idle")
    assert bench.link.now.can_arm
    assert bench.link.last_stop == "the operator pressed stop"


def test_a_dead_process_is_a_fault_that_is_said_and_is_cleared_by_hand(bench: Bench) -> None:
    bench.ready()
    bench.phase("running")
    dead = bench.crew
    dead.fault = CrewFailed("the engine process ended by itself (status -9)")
    bench.go()
    assert bench.link.now.state == "fault"
    assert "the engine process ended" in bench.link.now.cause
    assert dead.ended == 1
    assert not bench.desk.locked
    bench.link.arm()
    assert "connect a rig first" in bench.words()
    bench.link.reset()
    assert not bench.link.connected
    bench.connect()
    assert len(bench.crews) == 2


def test_a_rig_that_cannot_be_opened_is_said(bench: Bench) -> None:
    def refuse(*_: object) -> object:
        raise LinkError("write it as osc://HOST:PORT")

    bench.link._crews._gather = refuse  # type: ignore[assignment]  # the world refuses
    bench.link.open()
    assert bench.link.now.state == "fault"
    assert bench.link.now.cause == "write it as osc://HOST:PORT"


def test_an_order_that_is_refused_leaves_all_as_it_was(bench: Bench) -> None:
    bench.connect()
    bench.link.arm()
    assert bench.link.dangerous
    bench.crew.says = [Refused("not armed: pan asks 70 deg/s", 1)]
    bench.go()
    assert not bench.link.dangerous
    assert "pan asks" in bench.words()
    bench.link.arm()
    bench.crew.says = [Said(0, "refused", "not armed: the rig is silent")]
    bench.go()
    assert not bench.link.dangerous


def test_an_order_that_nobody_answers_lapses(bench: Bench) -> None:
    bench.connect()
    bench.link.arm()
    bench.go(15.1)
    assert bench.crew.stops == 1
    assert not bench.link.dangerous


def test_nothing_else_can_be_chosen_while_anything_is_armed(bench: Bench) -> None:
    bench.ready()
    before = bench.link.choice
    bench.link.choose(replace(before, speed=Fraction(1, 2)))
    assert bench.link.choice == before
    assert "stop the rig" in bench.words()


def test_leaving_ends_the_processes_and_the_simulated_rig(bench: Bench) -> None:
    bench.connect()
    bench.link.leave()
    assert bench.crew.ended == 1
    assert bench.rigs_ended == 1
    assert bench.link.now.state == "offline"


def test_another_project_on_the_desk_leaves_the_rig(bench: Bench) -> None:
    bench.ready()
    bench.desk.open(replace(bench.desk.project, name="other"), bench.desk.folder)
    assert bench.crew.stops == 1
    assert bench.crew.ended == 1
    assert bench.link.now.state == "offline"


def test_a_take_that_was_kept_is_said_and_one_that_is_not_whole_more_so(bench: Bench) -> None:
    kept: list[Kept] = []
    bench.link.kept.connect(kept.append)
    bench.connect()
    bench.crew.says = [Kept("takes/a_001.mcap"), Kept("takes/a_002.mcap", trouble="the disk is full")]
    bench.go()
    assert [one.path for one in kept] == ["takes/a_001.mcap", "takes/a_002.mcap"]
    assert "kept takes/a_001.mcap" in bench.words()
    assert "not whole: the disk is full" in bench.words()


@pytest.mark.parametrize("late", [True, False])
def test_who_leaves_while_the_processes_start_has_none_left(desk: Desk, late: bool) -> None:
    one = Bench(desk)
    work: list[object] = []
    one.link._crews._aside.do = lambda *job: work.append(job)  # type: ignore[method-assign]  # a thread that has not run yet
    one.link.open()
    if late:
        made = work[0][0]()  # type: ignore[index]  # what the thread does
        one.link.leave()
        work[0][1](made)  # type: ignore[index]  # a list of pairs by hand
        for job in work[1:]:
            job[0]()  # type: ignore[index]  # as above
    else:
        one.link.leave()
        work[0][0]()  # type: ignore[index]  # and the window has ended: nobody takes the outcome
    for job in work[1:]:
        job[0]()  # type: ignore[index]  # as above
    assert one.crew.ended
    assert one.rigs_ended


def test_a_project_that_is_opened_has_its_first_cue_chosen(bench: Bench) -> None:
    bench.link.choose(replace(bench.link.choice, cue=None))
    bench.desk.open(replace(bench.desk.project, name="other"), bench.desk.folder)
    assert bench.link.choice.cue == bench.desk.project.move.cues[0].name
