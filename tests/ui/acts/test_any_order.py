"""Any acts in any order leave a document that could be saved, and undo gives the first one back."""

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pytestqt.qtbot import QtBot

from sequencer.project.build import check, plain
from sequencer.project.build_sync import build_triggers, plain_triggers
from sequencer.project.document import Project, Triggers
from sequencer.project.store import load
from sequencer.shell.kinds import laws as kinds
from sequencer.sync.orders import GoToMark, Mapped, TakeCue
from ui.acts import choose, clipboard, keys, laws, marks, retime
from ui.desk import Desk, Snapping

Act = Callable[[Desk], object]
AXES = st.sampled_from(["pan", "tilt", "roll", "slide", "focus"])
FRAMES = st.integers(-400_000, 400_000).map(lambda number: Fraction(number, 250))
VALUES = st.integers(-700, 700).map(lambda number: number / 10)
FACTORS = st.integers(1, 40).map(lambda number: Fraction(number, 10))
NUMBERS = st.frozensets(st.integers(0, 11), max_size=5)
LAWS = st.sampled_from(sorted(kinds()))
NAMES = st.sampled_from(["", "refrain", "chorus", "last light", "boats"])


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
        st.builds(lambda at, name: lambda desk: marks.add_marker(desk, name, at), FRAMES, NAMES),
        st.builds(lambda number, name: lambda desk: marks.rename_marker(desk, number, name), st.integers(0, 7), NAMES),
        st.builds(lambda number, name: lambda desk: marks.rename_cue(desk, number, name), st.integers(0, 4), NAMES),
        st.builds(
            lambda number, start, end: lambda desk: marks.move_cue(desk, number, start=start, end=end),
            st.integers(0, 4),
            FRAMES,
            FRAMES,
        ),
        st.builds(lambda number: lambda desk: marks.delete_marker(desk, number), st.integers(0, 7)),
        st.builds(lambda number: lambda desk: marks.delete_cue(desk, number), st.integers(0, 4)),
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


TRIGGERS = Triggers(
    (
        Mapped(message="note", number=60, order=TakeCue("last light")),
        Mapped(message="note", number=61, order=GoToMark("refrain")),
    )
)
FIRST = replace(load(Path("projects/harbour-lanterns"), kinds()), triggers=TRIGGERS)


def refuse_what_no_file_could_hold(project: Project) -> None:
    check(project.move, project.rig, kinds())
    build_triggers(plain_triggers(project.triggers, project.timebase), project.move, project.timebase)
    assert all(cue.start < cue.end for cue in project.move.cues)
    plain(project)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(done=st.lists(acts(), min_size=3, max_size=14))
def test_any_acts_leave_a_document_that_can_be_saved_and_undone(qtbot: QtBot, done: list[Act]) -> None:
    desk = Desk(FIRST, kinds())
    for act in done:
        act(desk)
        refuse_what_no_file_could_hold(desk.project)
        assert not any(shape.fault for shape in desk.shapes.values())
        assert len(desk.chosen_keys()) == sum(map(len, desk.selection.values()))
    last = desk.project
    steps = len(desk.history.past)
    for _ in range(steps):
        desk.undo()
    assert desk.project == FIRST
    for _ in range(steps):
        desk.redo()
    assert desk.project == last
