"""The desk: edits become steps, gestures become one, refusals leave all as it was."""

from dataclasses import replace
from fractions import Fraction

from pytestqt.qtbot import QtBot

from sequencer.project.begin import empty
from sequencer.score.edits.keys import put, removed
from sequencer.score.edits.offset import offset
from sequencer.score.marks import Mark
from sequencer.score.move import Ease, Key
from ui.desk import Desk, Note


def steps(desk: Desk) -> list[str]:
    return [step.words for step in desk.history.past]


def test_an_edit_is_one_step_and_undo_gives_the_first_document(desk: Desk, qtbot: QtBot) -> None:
    first = desk.project
    with qtbot.waitSignal(desk.changed):
        desk.edit("shift a key", offset(first.move, {"tilt": {1}}, value=2.0))
    assert desk.project != first
    assert desk.dirty
    desk.undo()
    assert desk.project == first
    assert not desk.dirty
    desk.redo()
    assert desk.project.move.tracks[1].keys[1].value == first.move.tracks[1].keys[1].value + 2.0


def test_steps_that_merge_are_one_until_another_key_is_chosen(desk: Desk) -> None:
    first = desk.project
    desk.select({"tilt": {1}})
    for _ in range(3):
        desk.edit("nudge", offset(desk.project.move, desk.selection, value=0.5), merge="nudge")
    assert len(desk.history.past) == 1
    desk.select({"tilt": {2}})
    desk.edit("nudge", offset(desk.project.move, desk.selection, value=0.5), merge="nudge")
    assert len(desk.history.past) == 2
    desk.undo()
    desk.undo()
    assert desk.project == first


def test_a_gesture_is_judged_while_it_goes_on_and_is_one_step_when_it_ends(desk: Desk) -> None:
    first, before = desk.project, float(desk.shapes["pan"].excess.max())
    for times in range(1, 5):
        desk.draft(offset(first.move, {"pan": {1}}, value=20.0 * times))
    assert desk.shapes["pan"].excess.max() > max(0.0, before)
    assert steps(desk) == []
    desk.settle("drag a key")
    assert steps(desk) == ["drag a key"]
    desk.draft(offset(desk.project.move, {"pan": {1}}, value=5.0))
    desk.abandon()
    assert len(desk.history.past) == 1


def test_what_is_refused_is_said_and_changes_nothing(desk: Desk) -> None:
    notes: list[Note] = []
    desk.noted.connect(notes.append)
    first = desk.project
    assert not desk.attempt("shift", lambda project: offset(project.move, {"pan": {1}}, frames=Fraction(10**4)))
    assert desk.project is first
    assert notes[-1].weight == "refused"
    assert "pan" in notes[-1].words
    desk.lock("the rig is armed; disarm it to edit")
    desk.edit("shift", offset(first.move, {"tilt": {1}}, value=1.0))
    assert desk.project is first
    assert "disarm" in notes[-1].words
    assert not desk.attempt("shift", lambda project: offset(project.move, {"tilt": {1}}, value=1.0))


def test_a_proposal_is_beside_the_document_until_it_is_taken(desk: Desk) -> None:
    first = desk.project
    desk.propose(offset(first.move, {"tilt": {1}}, value=1.0), "mend")
    assert desk.project is first
    assert desk.proposal is not None
    desk.leave_proposal()
    assert desk.proposal is None
    assert desk.project is first
    desk.propose(offset(first.move, {"tilt": {1}}, value=1.0), "mend")
    desk.take_proposal()
    assert desk.proposal is None
    assert desk.project != first
    assert desk.history.past[-1].words == "mend"


def test_the_motion_is_judged_at_the_speed_of_the_chosen_pass(desk: Desk) -> None:
    move = desk.project.move
    slow = replace(move.passes[1], speed=Fraction(1, 2))
    desk.edit("slower", replace(move, passes=(move.passes[0], slow)))
    at_full = desk.shapes["pan"].peak[0].max()
    desk.choose_run(slow.name)
    assert desk.shapes["pan"].peak[0].max() == at_full / 2


def test_while_views_follow_what_is_chosen_is_there(desk: Desk) -> None:
    seen: list[list[tuple[str, int, Key]]] = []
    desk.select({"pan": {10, 11}, "focus": {1}})
    desk.changed.connect(lambda: seen.append(desk.chosen_keys()))
    desk.edit("delete", removed(desk.project.move, {"pan": {5, 11}, "focus": set(range(8))}))
    desk.undo()
    desk.redo()
    assert [[(axis, number) for axis, number, _ in one] for one in seen] == [
        [("pan", 9)],
        [("pan", 5), ("pan", 11), *(("focus", number) for number in range(8))],
        [],
    ]


def test_a_key_that_comes_before_the_chosen_one_does_not_take_its_place(desk: Desk) -> None:
    desk.select({"pan": {0}})
    chosen = desk.chosen_keys()[0][2]
    desk.edit("add", put(desk.project.move, "pan", Key(Fraction(5), 0.0, Ease("linear"))))
    assert desk.chosen_keys() == [("pan", 1, chosen)]
    desk.select({"pan": {0}})
    desk.undo()  # the key that was added is gone, and no other one is chosen in its place
    assert desk.selection == {}


def test_undo_chooses_what_it_brings_back(desk: Desk) -> None:
    desk.select({"tilt": {1, 2}})
    desk.edit("delete", removed(desk.project.move, desk.selection))
    assert desk.selection == {}
    desk.select({"pan": {3}})
    desk.undo()
    assert desk.selection == {"tilt": {1, 2}}


def test_another_project_takes_the_proposal_away_and_says_so(desk: Desk, qtbot: QtBot) -> None:
    desk.propose(offset(desk.project.move, {"tilt": {1}}, value=2.0), "shift a key")
    with qtbot.waitSignal(desk.proposed):
        desk.open(empty(), None)
    assert desk.proposal is None


def test_a_lock_lets_marks_through_and_nothing_else(desk: Desk) -> None:
    first = desk.project
    marks = (*first.marks, Mark("kerb", (("pan", 3.0),)))
    desk.draft(offset(first.move, {"tilt": {1}}, value=5.0))
    desk.lock("the rig is armed; stop it to edit")
    desk.edit_marks("store kerb", marks)
    assert desk.project == replace(first, marks=marks)
    assert steps(desk) == ["store kerb"]
    desk.edit("shift", offset(first.move, {"tilt": {1}}, value=1.0))
    desk.undo()
    assert desk.project == replace(first, marks=marks)
    desk.lock("")
    desk.undo()
    assert desk.project == first
