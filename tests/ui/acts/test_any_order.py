"""Any acts in any order leave a document that could be saved, and undo gives the first one back."""

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pytestqt.qtbot import QtBot

from sequencer.project.build import check, plain
from sequencer.project.document import Project
from sequencer.project.store import load
from sequencer.shell.kinds import laws as kinds
from ui.acts import choose, clipboard, keys, laws, marks, retime
from ui.desk import Desk, Snapping

Act = Callable[[Desk], object]
AXES = st.sampled_from(["pan", "tilt", "roll", "slide", "focus"])
FRAMES = st.integers(-400_000, 400_000).map(lambda number: Fraction(number, 250))
VALUES = st.integers(-700, 700).map(lambda number: number / 10)
FACTORS = st.integers(1, 40).map(lambda number: Fraction(number, 10))
NUMBERS = st.frozensets(st.integers(0, 11), max_size=5)
LAWS = st.sampled_from(sorted(kinds()))


def acts() -> st.SearchStrategy[Act]:
    return st.one_of(
        st.builds(lambda axis, own, more: lambda desk: desk.select({axis: own, "pan": more}), AXES, NUMBERS, NUMBERS),
        st.builds(lambda axis, own: lambda desk: desk.select({axis: own}), AXES, NUMBERS),
        st.builds(lambda at: lambda desk: desk.place(at), FRAMES),
        st.builds(
            lambda onto: lambda desk: desk.snap_onto(Snapping(onto)), st.sampled_from(["frames", "beats", "keys"])
        ),
        st.builds(lambda axis, at: lambda desk: keys.add_key(desk, axis, at), AXES, FRAMES),
        st.builds(lambda frames: lambda desk: keys.nudge_time(desk, frames), FRAMES),
        st.builds(lambda steps: lambda desk: keys.nudge_value(desk, steps), VALUES),
        st.builds(lambda frames, value: lambda desk: keys.offset_keys(desk, frames, value), FRAMES, VALUES),
        st.builds(lambda value: lambda desk: keys.set_values(desk, value), VALUES),
        st.builds(lambda at: lambda desk: keys.move_first_to(desk, at), FRAMES),
        st.builds(lambda factor: lambda desk: retime.stretch_keys(desk, factor, "playhead"), FACTORS),
        st.builds(lambda about: lambda desk: retime.mirror_keys(desk, about), VALUES),
        st.builds(lambda law: lambda desk: laws.set_law(desk, law), LAWS),
        st.builds(lambda pin: lambda desk: laws.set_pin(desk, pin), st.booleans()),
        st.builds(lambda at: lambda desk: marks.add_marker(desk, at=at), FRAMES),
        st.sampled_from(
            [
                keys.delete_keys,
                clipboard.copy_keys,
                clipboard.cut_keys,
                clipboard.paste_keys,
                retime.reverse_keys,
                retime.snap_keys,
                retime.join_keys,
                retime.split_legs,
                marks.add_cue,
                choose.choose_all,
                choose.choose_axis,
                Desk.undo,
                Desk.redo,
            ]
        ),
    )


FIRST = load(Path("projects/harbour-lanterns"), kinds())


def refuse_what_no_file_could_hold(project: Project) -> None:
    check(project.move, project.rig, kinds())
    plain(project)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(done=st.lists(acts(), min_size=3, max_size=14))
def test_any_acts_leave_a_document_that_can_be_saved_and_undone(qtbot: QtBot, done: list[Act]) -> None:
    desk = Desk(FIRST, kinds())
    for act in done:
        act(desk)
        refuse_what_no_file_could_hold(desk.project)
        assert not any(shape.fault for shape in desk.shapes.values())
    last = desk.project
    steps = len(desk.history.past)
    for _ in range(steps):
        desk.undo()
    assert desk.project == FIRST
    for _ in range(steps):
        desk.redo()
    assert desk.project == last
