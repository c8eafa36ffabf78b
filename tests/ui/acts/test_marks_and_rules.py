"""Acts beside the keys themselves: markers, cues, passes, choosing, the playhead; and the rules that all acts share."""

from dataclasses import replace
from fractions import Fraction

import pytest

from sequencer.errors import ProjectError
from sequencer.project.build import check
from sequencer.project.document import Triggers
from sequencer.score.edits.keys import pinned
from sequencer.sync.orders import GoToMark, Mapped, TakeCue
from ui.acts import camera, choose, marks, playhead, retime
from ui.acts.carry import carry
from ui.acts.doing import plain_words
from ui.acts.grids import lines
from ui.acts.rest import together, without_jumps
from ui.desk import Desk, Note, Snapping


@pytest.fixture
def notes(desk: Desk) -> list[Note]:
    said: list[Note] = []
    desk.noted.connect(said.append)
    return said


def track(desk: Desk, axis: str) -> list[tuple[Fraction, float]]:
    found = desk.track(axis)
    return [] if found is None else [(key.at, key.value) for key in found.keys]


def test_markers_and_cues_come_are_named_move_and_go(desk: Desk, notes: list[Note]) -> None:
    first = desk.project
    desk.place(Fraction(30))
    assert marks.add_marker(desk)
    assert desk.project.move.markers[0].name == "marker 1"
    assert marks.rename_marker(desk, 0, "boats")
    assert marks.move_marker(desk, 0, Fraction(260))
    assert [one.name for one in desk.project.move.markers][:3] == ["verse", "first lamp", "boats"]
    assert marks.delete_marker(desk, 2)
    assert desk.project.move.markers == first.move.markers
    assert marks.add_cue(desk)
    cue = desk.project.move.cues[0]
    assert (cue.start, cue.end) == (Fraction(30), Fraction(155))
    assert not marks.rename_cue(desk, 0, "last light")
    assert "two of the name" in notes[-1].words
    assert marks.rename_cue(desk, 0, "boats")
    assert not marks.move_cue(desk, 0, end=Fraction(30))
    assert "before it begins" in notes[-1].words
    assert marks.move_cue(desk, 0, end=Fraction(40))
    desk.select({"tilt": {0, 1}})
    assert marks.add_cue(desk, "tilt only")
    cue = desk.project.cue("tilt only")
    assert (cue.start, cue.end) == (track(desk, "tilt")[0][0], track(desk, "tilt")[1][0])
    assert marks.delete_cue(desk, 0)
    assert not marks.delete_cue(desk, 50)
    assert not marks.rename_marker(desk, 0, " ")
    assert not marks.add_marker(desk, "\n")
    while desk.history.past:
        desk.undo()
    assert desk.project == first


def test_passes_come_change_and_go(desk: Desk, notes: list[Note]) -> None:
    assert marks.add_pass(desk, speed=Fraction(1, 2))
    assert desk.project.move.passes[-1].name == "pass 1"
    assert marks.change_pass(desk, 3, lambda one: replace(one, name="half speed"))
    assert not marks.change_pass(desk, 3, lambda one: replace(one, name="band"))
    assert not marks.change_pass(desk, 3, lambda one: replace(one, speed=Fraction(0)))
    assert "above zero" in notes[-1].words
    assert marks.change_pass(desk, 3, lambda one: replace(one, speed=Fraction(1, 4)))
    assert desk.project.run("half speed").speed == Fraction(1, 4)
    assert marks.delete_pass(desk, 3)
    assert len(desk.project.move.passes) == 3


def test_a_note_of_a_pass_is_one_line(desk: Desk, notes: list[Note]) -> None:
    first = desk.project
    assert not marks.change_pass(desk, 0, lambda one: replace(one, note="two\nlines"))
    assert notes[-1] == Note("that is no note; write one line of printable characters", "refused")
    assert desk.project == first


def test_two_points_have_two_names(desk: Desk, notes: list[Note]) -> None:
    assert camera.add_point(desk)
    assert camera.add_point(desk)
    first = desk.project
    one, other = (point.name for point in first.points[-2:])
    assert not camera.change_point(desk, len(first.points) - 1, lambda point: replace(point, name=one))
    assert notes[-1] == Note(f"there are two of the name {one}; give one another name", "refused")
    assert [point.name for point in desk.project.points[-2:]] == [one, other]


def test_keys_snap_onto_no_marker_where_there_is_none(desk: Desk, notes: list[Note]) -> None:
    desk.edit("no markers", replace(desk.project.move, markers=()))
    first = desk.project
    desk.select({"tilt": {0}})
    desk.snap_onto(Snapping("markers"))
    assert not retime.snap_keys(desk)
    assert notes[-1] == Note("there are no markers to snap onto; add one first", "refused")
    assert desk.project == first


def test_what_else_a_pass_says_stays_when_its_speed_or_its_cue_is_changed(desk: Desk) -> None:
    note = desk.project.move.passes[1].note
    assert note
    assert marks.change_pass(desk, 1, lambda one: replace(one, speed=Fraction(1, 2)))
    assert desk.project.move.passes[1].note == note
    passes = (replace(desk.project.move.passes[0], of="lantern turn", reversed=True),)
    desk.edit("one backward", replace(desk.project.move, passes=passes))
    assert marks.rename_cue(desk, 0, "lamps")
    assert (desk.project.move.passes[0].of, desk.project.move.passes[0].reversed) == ("lamps", True)


def test_choosing(desk: Desk, notes: list[Note]) -> None:
    choose.choose_in_cue(desk, "lantern turn")
    cue = desk.project.cue("lantern turn")
    assert all(cue.start <= key.at <= cue.end for _, _, key in desk.chosen_keys())
    chosen = desk.selection
    choose.choose_none(desk)
    desk.place(cue.start + 1)
    choose.choose_in_cue(desk)
    assert desk.selection == chosen
    choose.choose_in_cue(desk, "no such")
    assert "no cue no such" in notes[-1].words
    desk.place(Fraction(10**4))
    choose.choose_in_cue(desk)
    assert "in no cue" in notes[-1].words
    desk.select({"roll": {1}})
    choose.choose_axis(desk)
    assert desk.selection == {"roll": frozenset(range(len(track(desk, "roll"))))}
    choose.choose_key(desk, "tilt", 9)
    assert desk.selection == {"tilt": {9}}


def test_what_is_chosen_by_keyboard_is_brought_in_sight(desk: Desk) -> None:
    desk.look(0.0, 2.0)
    choose.choose_key(desk, "tilt", 9)
    begin_s, end_s = desk.span_s
    assert begin_s < float(desk.project.timebase.rate.seconds(track(desk, "tilt")[9][0])) < end_s
    choose.choose_key(desk, "tilt", 0)
    assert desk.span_s[0] < float(desk.project.timebase.rate.seconds(track(desk, "tilt")[0][0]))


def test_there_are_no_beats_without_a_tempo_and_no_further_key_after_the_last(desk: Desk, notes: list[Note]) -> None:
    desk.edit("no tempo", replace(desk.project, tempo=None))
    playhead.step_beats(desk, 1)
    assert "no beats" in notes[-1].words
    playhead.go_end(desk)
    playhead.step_key(desk, 1)
    assert "no key further on" in notes[-1].words
    playhead.step_marker(desk, 1)
    assert "no marker further on" in notes[-1].words


def test_keys_at_rest_belong_together(desk: Desk) -> None:
    pan = desk.track("pan")
    assert pan is not None
    assert together(pan, {4, 0, 3}, desk.laws) == [[0], [3, 4]]
    assert together(pan, {6}, desk.laws) == [[5, 6]]


def test_a_move_without_jumps_is_left_as_it_is(desk: Desk) -> None:
    move = desk.project.move
    assert without_jumps(replace(move, tracks=()), move, desk.laws) == (move, 0)


def test_what_is_carried_stays_inside_travel_to_the_last_digit(desk: Desk) -> None:
    travel = desk.project.rig.travels["tilt"]
    assert travel is not None
    carried = carry(desk.project, {"tilt": {0, 1, 8}}, desk.laws)
    for value in (1e9, -1e9):
        frames, inside = carried.within(Fraction(10**9), value)
        moved = carried.moved(frames, inside)
        check(moved, desk.project.rig, desk.laws)
        assert any(key.value in travel for key in moved.tracks[1].keys)


def test_faults_are_plain_words(desk: Desk) -> None:
    fault = ProjectError("tracks[0]", "the key at @187.5 is odd", "move it")
    assert plain_words(desk, fault) == "the key at 10:00:07:12.5 is odd; move it"


def test_keys_keep_a_frame_from_the_ones_that_stay_on_both_sides(desk: Desk) -> None:
    at = [at for at, _ in track(desk, "tilt")]
    carried = carry(desk.project, {"tilt": {1, 2}}, desk.laws)
    assert carried.frames == (at[0] + 1 - at[1], at[3] - 1 - at[2])


@pytest.mark.parametrize("value", [0.1 + 0.2, 1 / 3, 9.7, -0.7])
def test_rounding_puts_no_key_outside_of_its_travel(desk: Desk, value: float) -> None:
    rig, move = desk.project.rig, desk.project.move
    tilt = move.tracks[1]
    keys = (replace(tilt.keys[0], value=value), *tilt.keys[1:])
    desk.edit("odd", replace(move, tracks=(move.tracks[0], replace(tilt, keys=keys), *move.tracks[2:])))
    travel = rig.travels["tilt"]
    assert travel is not None
    for end in travel:
        moved = carry(desk.project, {"tilt": {0}}, desk.laws).moved(Fraction(0), (end - value) * (1 + 1e-15))
        assert travel[0] <= moved.tracks[1].keys[0].value <= travel[1]
        assert moved.tracks[1].keys[0].value == pytest.approx(end)


def test_a_key_that_rests_beside_a_pinned_one_moves_in_time_and_not_in_value(desk: Desk) -> None:
    desk.edit("pin", pinned(desk.project.move, {"pan": {4}}, True))
    carried = carry(desk.project, {"pan": {3}}, desk.laws)
    assert (dict(carried.timed), dict(carried.valued), carried.stays) == ({"pan": [3]}, {}, 1)


def test_keys_of_the_own_axis_and_chosen_ones_are_no_lines_to_snap_onto(desk: Desk) -> None:
    desk.select({"pan": {1}})
    desk.snap_onto(Snapping("keys"))
    grid = lines(desk, "tilt")
    assert grid is not None
    others = {at for axis in ("pan", "roll", "slide", "focus") for at, _ in track(desk, axis)}
    own = {at for at, _ in track(desk, "tilt")} - others
    chosen = track(desk, "pan")[1][0]
    others = {at for axis in ("roll", "slide", "focus") for at, _ in track(desk, axis)}
    others |= {at for number, (at, _) in enumerate(track(desk, "pan")) if number != 1}
    assert own
    for at in (*own, chosen):
        assert grid.nearest(at) in others
        assert grid.nearest(at) != at or at in others


def test_triggers_follow_the_names_of_cues_and_markers_and_keep_them(desk: Desk, notes: list[Note]) -> None:
    cue = Mapped(message="note", number=60, order=TakeCue("crowd sweep"))
    mark = Mapped(message="note", number=61, order=GoToMark("chorus"))
    desk.edit("triggers", replace(desk.project, triggers=Triggers((cue, mark))))
    first = desk.project
    assert marks.rename_cue(desk, 1, "quay")
    assert marks.rename_marker(desk, 4, "bells")
    assert [one.order for one in desk.project.triggers.mapped] == [TakeCue("quay"), GoToMark("bells")]
    assert not marks.delete_cue(desk, 1)
    assert notes[-1] == Note(
        "the trigger note 60 needs the cue quay, which would be gone; change or remove that trigger first", "refused"
    )
    assert not marks.delete_marker(desk, 4)
    assert not marks.add_marker(desk, "bells")
    assert "could not tell which marker" in notes[-1].words
    assert not marks.rename_marker(desk, 0, "bells")
    assert marks.delete_cue(desk, 0)
    assert marks.delete_marker(desk, 0)
    for _ in range(4):
        desk.undo()
    assert desk.project == first


def test_the_pass_that_is_judged_stays_so_under_a_new_name(desk: Desk) -> None:
    desk.choose_run(desk.project.move.passes[1].name)
    assert marks.change_pass(desk, 1, lambda one: replace(one, name="tide"))
    assert desk.run_name == "tide"
    assert marks.change_pass(desk, 0, lambda one: replace(one, name="band again"))
    assert desk.run_name == "tide"
