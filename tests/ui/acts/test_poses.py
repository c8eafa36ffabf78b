"""Marks in the operator's hands: what is stored from where, what the engine is told, and where the rig is to them."""

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

import msgspec
import pytest

from sequencer.score.edits.offset import offset
from sequencer.score.marks import AtSpeed, Lasting, Mark
from sequencer.shell.messages import Go, Pressed, Said
from tests.ui.link.fakes import Bench
from ui.acts.asking import Ask
from ui.acts.poses import Poses
from ui.desk import Desk, Note

DOORWAY = Mark("doorway", (("pan", -20.0), ("slide", 300.0)))
WINDOW = Mark("window", (("pan", 35.0),), Lasting(Fraction(5, 2)))
HARBOUR = Mark("harbour", (("pan", 50.0), ("tilt", 4.0)))
GONE = Mark("gone", (("pan", 900.0), ("crane", 1.0)))
AT_ZERO = (0.0,) * 5


class Rig:
    """The marks of the harbour desk with a fake engine, and what was noted and asked."""

    def __init__(self, desk: Desk) -> None:
        desk.open(replace(desk.project, marks=(DOORWAY, WINDOW, HARBOUR)), desk.folder)
        self.desk, self.bench = desk, Bench(desk)
        self.poses = Poses(desk, self.bench.link)
        self.notes: list[Note] = []
        self.asks: list[Ask] = []
        desk.noted.connect(self.notes.append)
        self.poses.asked.connect(self.asks.append)

    def connect(self, asked: tuple[float, ...] = AT_ZERO) -> None:
        self.bench.connect()
        self.stand(asked)

    def stand(self, asked: tuple[float, ...], phase: str = "idle") -> None:
        self.bench.phase(phase, asked=asked, actual=asked)

    def says(self, code: str, words: str = "") -> None:
        self.bench.crew.says.append(Said(self.bench.clock.ns + 60_000_000, code, words))  # its status is read next
        self.bench.go()

    def names(self) -> list[str]:
        return [mark.name for mark in self.desk.project.marks]

    def told(self) -> list[str]:
        return [one.name for one in self.bench.crew.told if isinstance(one, Go)]

    def press(self, deed: str) -> None:
        self.bench.crew.says.append(Pressed(deed, 0))
        self.bench.go()


@pytest.fixture
def rig(desk: Desk) -> Iterator[Rig]:
    one = Rig(desk)
    yield one
    one.bench.link.end()


def test_offline_a_mark_is_where_the_move_is_at_the_playhead(rig: Rig) -> None:
    key = rig.desk.project.move.tracks[0].keys[1]
    rig.desk.place(key.at)
    assert rig.poses.store()
    mark = rig.desk.project.marks[-1]
    assert mark.name == "mark 1"
    assert dict(mark.position)[rig.desk.project.move.tracks[0].axis] == pytest.approx(key.value, abs=1e-4)
    assert mark.axes == rig.desk.project.rig.names
    assert rig.poses.current == "mark 1"
    rig.desk.undo()
    assert rig.names() == ["doorway", "window", "harbour"]


def test_with_a_rig_a_mark_is_where_the_engine_sent_it_last(rig: Rig) -> None:
    rig.connect((1.25, -2.5, 0.0, 400.123456, 0.5))
    assert rig.poses.store()
    assert [value for _, value in rig.desk.project.marks[-1].position] == [1.25, -2.5, 0.0, 400.1235, 0.5]
    assert rig.bench.link.hands.at == "mark 1"
    assert rig.poses.stands() == ("", "", "", "here")
    assert rig.bench.crew.told == []


def test_a_mark_is_stored_and_changed_while_the_rig_is_armed_but_keys_are_not(rig: Rig) -> None:
    rig.bench.ready()
    rig.stand((5.0, 0.0, 0.0, 0.0, 0.0), "ready")
    assert rig.desk.locked
    move = rig.desk.project.move
    assert rig.poses.store()
    assert rig.poses.rename("mark 1", "kerb")
    assert rig.names()[-1] == "kerb"
    rig.desk.edit("shift", offset(move, {"tilt": {1}}, value=1.0))
    assert rig.desk.project.move == move
    assert rig.bench.link.now.state == "armed"
    rig.stand((5.0, 0.0, 0.0, 0.0, 0.0), "idle")
    assert not rig.desk.locked
    rig.desk.undo()
    rig.desk.undo()
    assert rig.names() == ["doorway", "window", "harbour"]


def test_nothing_is_changed_between_the_order_to_arm_and_the_motion(rig: Rig) -> None:
    """What the engine is loading then would no longer be what is on the desk, and the order would never be sent."""
    rig.connect()
    rig.bench.slow = True
    rig.desk.edit("raise", offset(rig.desk.project.move, {"tilt": {1}}, value=1.0))
    rig.bench.link.arm()
    assert rig.bench.link.now.how == "about to move to the start"
    assert not rig.poses.store()
    assert rig.names() == ["doorway", "window", "harbour"]
    assert "wait until the rig has begun to move" in rig.notes[-1].words


@pytest.mark.parametrize("why", ["opening", "stale", "another rig"])
def test_a_place_that_is_not_known_is_not_stored(rig: Rig, why: str) -> None:
    rig.connect()
    words = "not known now"
    if why == "opening":
        rig.bench.link.leave()
        rig.bench.link.open()
        rig.bench.crew.ready = False
    elif why == "stale":
        rig.bench.crew.silent = True
        rig.bench.go(1.0)
    else:
        project = rig.desk.project
        axes = tuple(replace(axis, name="swing" if axis.name == "roll" else axis.name) for axis in project.rig.axes)
        move = replace(project.move, tracks=tuple(t for t in project.move.tracks if t.axis != "roll"))
        rig.desk.edit("roll is swing", replace(project, rig=replace(project.rig, axes=axes), move=move))
        words = "the rig was changed"
    assert not rig.poses.store()
    assert not rig.poses.overwrite("doorway")
    assert rig.desk.project.marks == (DOORWAY, WINDOW, HARBOUR)
    assert words in rig.notes[-1].words
    assert rig.notes[-1].weight == "refused"


def test_overwriting_keeps_name_place_leg_and_which_axes_it_leaves_alone(rig: Rig) -> None:
    rig.connect((7.0, 1.0, 0.0, 250.0, 0.25))
    assert rig.poses.overwrite("doorway")
    assert rig.desk.project.marks[0] == replace(DOORWAY, position=(("pan", 7.0), ("slide", 250.0)))
    assert rig.poses.overwrite("window")
    assert rig.desk.project.marks[1] == replace(WINDOW, position=(("pan", 7.0),))
    rig.desk.undo()
    assert rig.desk.project.marks[1] == WINDOW


def test_overwriting_mends_a_mark_of_axes_that_are_gone(rig: Rig) -> None:
    rig.connect((7.0, 1.0, 0.0, 250.0, 0.25))
    crane = Mark("crane", (("crane", 1.0),))
    rig.desk.edit_marks("as from another rig", (*rig.desk.project.marks, GONE, crane))
    assert rig.poses.overwrite("gone")
    assert rig.desk.project.marks[3].position == (("pan", 7.0),)
    assert rig.poses.overwrite("crane")
    assert rig.desk.project.marks[4].axes == rig.desk.project.rig.names
    assert rig.poses.stands()[3:] == ("here", "here")


def test_names_order_legs_and_numbers_are_edits_that_undo(rig: Rig) -> None:
    first = rig.desk.project
    poses = rig.poses
    poses.choose(("window",), "window")
    assert poses.rename("window", "porch")
    assert (poses.chosen, poses.current) == (("porch",), "porch")
    assert poses.move("porch", -1)
    assert poses.put_before(("doorway",), None)
    assert rig.names() == ["porch", "harbour", "doorway"]
    assert poses.pace(("harbour", "porch"), AtSpeed(Fraction(1, 2)))
    assert [mark.leg for mark in rig.desk.project.marks[:2]] == [AtSpeed(Fraction(1, 2))] * 2
    assert poses.put("porch", "tilt", -3.0)
    assert poses.put("harbour", "tilt", None)
    assert [mark.axes for mark in rig.desk.project.marks] == [("pan", "tilt"), ("pan",), ("pan", "slide")]
    assert poses.delete(("harbour", "doorway"))
    assert rig.names() == ["porch"]
    assert poses.current == "porch"
    while rig.desk.history.past:
        rig.desk.undo()
    assert rig.desk.project == first


@pytest.mark.parametrize(
    ("names", "other", "order"),
    [
        (("doorway", "window"), None, ["harbour", "doorway", "window"]),
        (("window", "harbour"), "doorway", ["window", "harbour", "doorway"]),
        (("doorway", "harbour"), "window", ["doorway", "harbour", "window"]),
        (("doorway", "window"), "doorway", ["doorway", "window", "harbour"]),
        (("harbour",), "harbour", ["doorway", "window", "harbour"]),
    ],
)
def test_several_marks_keep_their_order_among_themselves(
    rig: Rig, names: tuple[str, ...], other: str | None, order: list[str]
) -> None:
    assert rig.poses.put_before(names, other)
    assert rig.names() == order
    assert len(rig.desk.history.past) == (order != ["doorway", "window", "harbour"])


@pytest.mark.parametrize(
    ("act", "says"),
    [
        (lambda poses: poses.rename("window", "doorway"), "there is a mark 'doorway' already"),
        (lambda poses: poses.rename("window", " "), "printable"),
        (lambda poses: poses.put("window", "pan", None), "names none"),
        (lambda poses: poses.move("nowhere", 1), "there is no mark 'nowhere'"),
        (lambda poses: poses.delete(("nowhere",)), "there is no mark 'nowhere'"),
        (lambda poses: poses.go(""), "no mark is chosen"),
    ],
)
def test_what_is_refused_is_said_and_changes_nothing(rig: Rig, act: object, says: str) -> None:
    assert callable(act)
    first = rig.desk.project
    assert not act(rig.poses)
    assert rig.desk.project is first
    assert says in rig.notes[-1].words


def test_all_marks_are_deleted_only_when_that_is_said_twice(rig: Rig) -> None:
    rig.poses.clear()
    assert "Delete all 3 marks" in rig.asks[-1].words
    rig.asks[-1].harmless.do()
    assert len(rig.asks) == 1
    rig.asks[-1].choices[0].do()
    assert len(rig.asks) == 2
    assert len(rig.desk.project.marks) == 3
    rig.asks[-1].harmless.do()
    assert len(rig.desk.project.marks) == 3
    rig.asks[-1].choices[0].do()
    assert rig.names() == []
    rig.poses.clear()
    assert "no marks to clear" in rig.notes[-1].words
    rig.desk.undo()
    assert rig.desk.project.marks == (DOORWAY, WINDOW, HARBOUR)


def test_marks_that_changed_since_the_question_are_kept(rig: Rig) -> None:
    rig.poses.clear()
    rig.asks[-1].choices[0].do()
    rig.poses.store()
    rig.asks[-1].choices[0].do()
    assert len(rig.desk.project.marks) == 4
    assert "changed meanwhile" in rig.notes[-1].words


def test_the_rig_goes_where_it_is_sent_and_stands_there(rig: Rig) -> None:
    rig.connect()
    assert rig.poses.go("window")
    assert rig.told() == ["window"]
    assert rig.poses.stands() == ("", "", "")
    rig.says("going", "going to window")
    rig.stand(AT_ZERO, "going")
    assert rig.poses.stands() == ("", "on the way", "")
    rig.stand((35.0, 0.0, 0.0, 0.0, 0.0), "going")
    rig.says("at mark", "at window")
    rig.stand((35.0, 0.0, 0.0, 0.0, 0.0))
    assert rig.poses.stands() == ("", "here", "")
    assert not rig.poses.bound
    rig.stand((35.1, 0.0, 0.0, 0.0, 0.0))
    assert rig.poses.stands() == ("", "last", "")


@pytest.mark.parametrize("how", ["by hand", "by a stop"])
def test_a_leg_that_was_interrupted_is_gone_on_with(rig: Rig, how: str) -> None:
    rig.connect()
    assert rig.poses.step(1)
    rig.says("going", "going to doorway")
    rig.stand(AT_ZERO, "going")
    if how == "by hand":
        rig.says("driving", "taken over by hand")
    else:
        rig.stand(AT_ZERO, "stopping")
    assert rig.poses.interrupted
    assert rig.poses.stands()[0] == "interrupted"
    assert rig.poses.neighbour(1) == "doorway"
    rig.stand((-3.0, 0.0, 0.0, 0.0, 0.0))
    assert rig.poses.interrupted
    assert rig.poses.step(1)
    assert rig.told() == ["doorway", "doorway"]
    assert not rig.poses.interrupted


def test_a_refused_step_leaves_the_interrupted_leg_as_it_is(rig: Rig) -> None:
    rig.connect()
    rig.poses.step(1)
    rig.says("going", "going to doorway")
    rig.stand(AT_ZERO, "stopped")
    assert not rig.poses.step(1)
    assert "reset first" in rig.notes[-1].words
    assert (rig.poses.bound, rig.poses.interrupted) == ("doorway", True)


def test_what_the_engine_refuses_is_noted(rig: Rig) -> None:
    rig.connect()
    assert rig.poses.go("harbour")
    rig.says("refused", "not sent to harbour: there is no way")
    assert rig.notes[-1].words == "not sent to harbour: there is no way"
    assert rig.poses.bound == ""


def test_a_trigger_that_sends_the_rig_elsewhere_is_not_taken_for_the_own_order(rig: Rig) -> None:
    rig.connect()
    rig.poses.go("window")
    rig.says("going", "going to window")
    rig.says("driving", "taken over by hand")
    rig.says("going", "chosen by a trigger; going to harbour")
    assert not rig.poses.on_way
    assert rig.poses.stands() == ("", "", "")


def test_buttons_of_a_pad_do_what_those_on_the_screen_do(rig: Rig) -> None:
    rig.connect((2.0, 0.0, 0.0, 0.0, 0.0))
    rig.press("store mark")
    assert rig.names()[-1] == "mark 1"
    rig.press("previous mark")
    rig.press("next mark")
    assert "mark 1 is the last mark" in rig.notes[-1].words
    rig.press("return to origin")
    assert rig.told() == ["harbour", "the origin"]
    rig.press("punch in or out")
    assert rig.told() == ["harbour", "the origin"]


def test_without_a_rig_nothing_is_sent_and_why_is_said(rig: Rig) -> None:
    for act in (lambda: rig.poses.step(1), lambda: rig.poses.go("window"), rig.poses.home):
        assert not act()
        assert "connect a rig first" in rig.notes.pop().words


def test_a_mark_of_an_axis_that_is_gone_or_beyond_the_travel_says_so_with_the_mend(rig: Rig) -> None:
    rig.connect()
    rig.desk.edit_marks("as from another rig", (*rig.desk.project.marks, GONE))
    assert rig.poses.stands()[-1] == "cannot"
    assert "outside pan's travel" in rig.poses.why_not("gone")
    assert "no axis 'crane'" in rig.poses.why_not("gone")
    assert "store the mark anew" in rig.poses.why_not("gone")
    assert rig.poses.takes()[-1].lasts_s is None
    assert rig.poses.why_not("window") == ""
    assert rig.poses.takes()[1].lasts_s == pytest.approx(2.5)


def test_a_renamed_mark_is_still_the_one_where_the_rig_was_last(rig: Rig) -> None:
    rig.connect()
    rig.poses.go("doorway")
    rig.says("at mark")
    assert rig.poses.rename("doorway", "porch")
    assert rig.bench.link.hands.at == "porch"
    assert rig.poses.neighbour(1) == "window"
    rig.poses.choose(("porch",), "porch")
    rig.desk.undo()
    assert rig.bench.link.hands.at == "doorway"
    assert rig.poses.neighbour(1) == "window"
    assert (rig.poses.chosen, rig.poses.current) == (("doorway",), "doorway")
    rig.desk.redo()
    assert rig.bench.link.hands.at == "porch"


def test_an_interrupted_leg_is_gone_on_with_when_marks_are_renamed(rig: Rig) -> None:
    rig.connect()
    rig.poses.go("doorway")
    rig.says("at mark")
    rig.poses.step(1)
    rig.says("going", "going to window")
    rig.says("driving", "taken over by hand")
    assert rig.poses.rename("doorway", "porch")
    assert (rig.poses.bound, rig.poses.interrupted) == ("window", True)
    assert rig.poses.rename("window", "bay")
    assert (rig.poses.bound, rig.poses.neighbour(1)) == ("bay", "bay")
    assert rig.poses.stands()[1] == "interrupted"


def test_a_mark_that_is_stored_on_the_way_is_not_where_the_rig_is_going(rig: Rig) -> None:
    rig.connect()
    rig.poses.step(1)
    rig.says("going", "going to doorway")
    rig.stand((-5.0, 0.0, 0.0, 0.0, 0.0), "going")
    assert rig.poses.store()
    assert rig.poses.rename("doorway", "porch")
    assert rig.poses.stands()[0] == "on the way"
    rig.stand((-20.0, 0.0, 0.0, 300.0, 0.0), "going")
    rig.says("at mark", "at doorway")
    assert rig.bench.link.hands.at == "porch"
    assert rig.poses.neighbour(1) == "window"


def test_another_project_has_its_own_marks(rig: Rig) -> None:
    rig.poses.choose(("window", "harbour"), "harbour")
    rig.desk.open(replace(rig.desk.project, marks=(HARBOUR,)), rig.desk.folder)
    assert (rig.poses.chosen, rig.poses.current) == ((), "")
    assert len(rig.poses.stands()) == 1


def test_a_report_of_other_axes_than_the_desk_has_is_compared_with_no_mark(rig: Rig) -> None:
    rig.connect((-20.0, 9.0, 0.0, 300.0, 0.0))
    rig.bench.crew.now = msgspec.structs.replace(rig.bench.crew.now, asked=(-20.0,))
    rig.bench.go()
    assert rig.poses.stands() == ("", "", "")
