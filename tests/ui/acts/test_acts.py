"""Acts on the desk: each one step or a refusal in plain words, and whatever is done can be undone."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
import pytest
from PyQt6.QtGui import QGuiApplication

from sequencer.project.build import check
from sequencer.score.easing import LawKind, UnitCurve
from sequencer.score.edits.keys import pinned
from ui.acts import choose, clipboard, keys, laws, marks, retime, view
from ui.desk import Desk, Note, Snapping


@pytest.fixture
def notes(desk: Desk) -> list[Note]:
    said: list[Note] = []
    desk.noted.connect(said.append)
    return said


def track(desk: Desk, axis: str) -> list[tuple[Fraction, float]]:
    found = desk.track(axis)
    return [] if found is None else [(key.at, key.value) for key in found.keys]


Act = Callable[[Desk], object]

NEED_KEYS: dict[str, Act] = {
    "delete": keys.delete_keys,
    "nudge in time": lambda desk: keys.nudge_time(desk, Fraction(1)),
    "nudge in value": lambda desk: keys.nudge_value(desk, 1.0),
    "offset": lambda desk: keys.offset_keys(desk, Fraction(1)),
    "first to": lambda desk: keys.move_first_to(desk, Fraction(1)),
    "values": lambda desk: keys.set_values(desk, 1.0),
    "stretch": lambda desk: retime.stretch_keys(desk, Fraction(2)),
    "reverse": retime.reverse_keys,
    "mirror": retime.mirror_keys,
    "scale": lambda desk: retime.scale_keys(desk, 2.0),
    "snap": retime.snap_keys,
    "join": retime.join_keys,
    "thin": lambda desk: retime.thin_keys(desk, 0.1),
    "law": lambda desk: laws.set_law(desk, "linear"),
    "passing": lambda desk: laws.set_passing(desk, "stop"),
    "turn": lambda desk: laws.set_turn(desk, "up"),
    "pin": lambda desk: laws.set_pin(desk, True),
    "copy": clipboard.copy_keys,
    "cut": clipboard.cut_keys,
    "zoom": view.zoom_chosen,
    "axis": choose.choose_axis,
}


@pytest.mark.parametrize("act", NEED_KEYS.values(), ids=NEED_KEYS.keys())
def test_an_act_for_keys_says_that_none_is_chosen(desk: Desk, notes: list[Note], act: Act) -> None:
    first = desk.project
    act(desk)
    assert desk.project is first
    assert [(note.words, note.weight) for note in notes] == [("no key is chosen; choose one first", "refused")]


def test_deleting_the_end_of_a_rest_gives_the_leg_a_law_that_moves(desk: Desk) -> None:
    before = desk.track("pan")
    assert before is not None
    desk.select({"pan": {4}})
    assert keys.delete_keys(desk)
    after = desk.track("pan")
    assert after is not None
    assert (before.keys[3].ease.law, after.keys[3].ease.law) == ("hold", "poly345")
    check(desk.project.move, desk.project.rig, desk.laws)


def test_deleting_all_keys_of_an_axis_takes_its_track_out(desk: Desk) -> None:
    first = desk.project
    desk.select({"roll": frozenset(range(50))})
    assert keys.delete_keys(desk)
    assert desk.track("roll") is None
    desk.undo()
    assert desk.project == first


def test_a_pinned_key_is_neither_deleted_nor_moved(desk: Desk, notes: list[Note]) -> None:
    desk.edit("pin", pinned(desk.project.move, {"tilt": {1}}, True))
    before = desk.project
    desk.select({"tilt": {0, 1}})
    for act in (
        keys.delete_keys,
        lambda desk: keys.offset_keys(desk, Fraction(1)),
        lambda desk: keys.set_values(desk, 3.0),
        retime.reverse_keys,
        retime.mirror_keys,
        lambda desk: retime.stretch_keys(desk, Fraction(3, 4)),
    ):
        notes.clear()
        assert not act(desk)
        assert "pinned; unpin it first" in notes[-1].words
        assert "10:00:12:12.5" in notes[-1].words
    assert desk.project is before
    assert keys.nudge_time(desk, Fraction(1))
    assert track(desk, "tilt")[0][0] == before.move.tracks[1].keys[0].at + 1
    assert track(desk, "tilt")[1] == (before.move.tracks[1].keys[1].at, before.move.tracks[1].keys[1].value)
    desk.select({"tilt": {1}})
    assert not keys.nudge_value(desk, 1.0)


def test_stretching_about_a_pinned_key_is_possible(desk: Desk) -> None:
    desk.edit("pin", pinned(desk.project.move, {"tilt": {0}}, True))
    at = track(desk, "tilt")
    desk.select({"tilt": {0, 1}})
    assert retime.stretch_keys(desk, Fraction(1, 2))
    assert track(desk, "tilt")[1][0] == (at[0][0] + at[1][0]) / 2


def test_refusals_have_times_as_they_are_counted_and_no_file(desk: Desk, notes: list[Note]) -> None:
    desk.select({"pan": {1}})
    desk.count("frames")
    assert not keys.offset_keys(desk, Fraction(100))
    assert "frame 250" in notes[-1].words
    assert "@" not in notes[-1].words
    assert "project.json" not in notes[-1].words
    assert not keys.offset_keys(desk, value=1000.0)
    assert "outside pan's travel" in notes[-1].words


def test_nothing_goes_half_a_day_away(desk: Desk, notes: list[Note]) -> None:
    choose.choose_all(desk)
    assert not keys.offset_keys(desk, Fraction(25 * 3600 * 12))
    assert "half a day" in notes[-1].words
    assert not marks.add_marker(desk, "far", Fraction(25 * 3600 * 12))
    assert not marks.add_cue(desk, "far", Fraction(0), Fraction(25 * 3600 * 12))


def test_an_edit_that_does_not_touch_a_fault_or_mends_it_is_not_refused(desk: Desk) -> None:
    rig = desk.project.rig
    narrow = replace(rig, axes=(replace(rig.axes[0], travel=(-20.0, 20.0), home=0.0), *rig.axes[1:]))
    desk.edit("narrow", replace(desk.project, rig=narrow))
    desk.select({"tilt": {1}})
    assert keys.nudge_value(desk, 1.0)
    desk.select({"pan": {0}})
    assert keys.set_values(desk, -10.0)


def test_nudging_axes_of_different_units_in_value_is_refused(desk: Desk, notes: list[Note]) -> None:
    desk.select({"pan": {0}, "focus": {0}})
    assert not keys.nudge_value(desk, 1.0)
    assert "different units" in notes[-1].words


def test_keys_are_added_on_the_curve_at_the_ends_and_at_home(desk: Desk, notes: list[Note]) -> None:
    begin, end = track(desk, "tilt")[0], track(desk, "tilt")[-1]
    assert keys.add_key(desk, "tilt", begin[0] - 10)
    assert track(desk, "tilt")[0] == (begin[0] - 10, begin[1])
    assert keys.add_key(desk, "tilt", end[0] + 10)
    assert track(desk, "tilt")[-1] == (end[0] + 10, end[1])
    before = desk.project
    assert not keys.add_key(desk, "tilt", end[0])
    assert "already" in notes[-1].words
    assert desk.project is before
    middle = (track(desk, "tilt")[1][0] + track(desk, "tilt")[2][0]) / 2
    stands = keys.stands(desk, "tilt", middle)
    assert keys.add_key(desk, "tilt", middle)
    assert dict(track(desk, "tilt"))[middle] == pytest.approx(stands, abs=1e-9)


def test_where_the_curve_cannot_be_kept_a_plain_key_is_added(desk: Desk) -> None:
    desk.select({"tilt": {0}})
    laws.set_law(desk, "trapezoid")
    begin, end = track(desk, "tilt")[:2]
    at = begin[0] + (end[0] - begin[0]) / 4
    stands = keys.stands(desk, "tilt", at)
    assert keys.add_key(desk, "tilt", at)
    new = desk.track("tilt")
    assert new is not None
    assert new.keys[1].at == at
    assert new.keys[1].value == pytest.approx(stands)
    assert new.keys[1].ease.law == "trapezoid"


def test_stretch_mirror_scale_reverse_and_snap(desk: Desk, notes: list[Note]) -> None:
    first, before = desk.project, track(desk, "tilt")
    desk.select({"tilt": {0, 1}})
    assert retime.mirror_keys(desk, 2.0)
    assert track(desk, "tilt")[0][1] == 4 - before[0][1]
    assert retime.scale_keys(desk, 0.5)
    assert track(desk, "tilt")[0][1] == (4 - before[0][1]) / 2
    assert retime.reverse_keys(desk)
    desk.snap_onto(Snapping("frames"))
    assert retime.snap_keys(desk)
    assert all(at.denominator == 1 for at, _ in track(desk, "tilt")[:2])
    desk.snap_onto(Snapping("beats"))
    assert retime.snap_keys(desk)
    desk.snap_onto(Snapping("nothing"))
    assert not retime.snap_keys(desk)
    assert "snap onto nothing" in notes[-1].words
    desk.snap_onto(Snapping("markers"))
    assert retime.snap_keys(desk)
    assert {at for at, _ in track(desk, "tilt")[:2]} <= {marker.at for marker in desk.project.move.markers}
    while desk.history.past:
        desk.undo()
    assert desk.project == first


def test_snapping_onto_keys_of_other_axes(desk: Desk) -> None:
    assert keys.set_key(desk, "roll", 0, at=track(desk, "roll")[0][0] + 1)
    desk.select({"roll": {0}})
    others = {at for axis in ("pan", "tilt", "slide", "focus") for at, _ in track(desk, axis)}
    nearest = min(others, key=lambda at: abs(at - track(desk, "roll")[0][0]))
    desk.snap_onto(Snapping("keys"))
    assert retime.snap_keys(desk)
    assert track(desk, "roll")[0][0] == nearest


def test_mirroring_one_end_of_a_rest_takes_the_other_along(desk: Desk) -> None:
    desk.select({"pan": {3}})
    assert retime.mirror_keys(desk, 50.0)
    assert track(desk, "pan")[3][1] == track(desk, "pan")[4][1] == 48.0


def test_join_and_thin_take_keys_out(desk: Desk, notes: list[Note]) -> None:
    desk.select({"pan": {1}})
    assert retime.join_keys(desk, "poly345")
    assert len(track(desk, "pan")) == 11
    desk.undo()
    choose.choose_axis(desk)
    desk.select({"pan": {0, 1, 2, 3}})
    assert retime.thin_keys(desk, 50.0)
    assert len(track(desk, "pan")) < 12
    assert "taken out" in notes[-1].words
    desk.select({"pan": {0}})
    assert not retime.join_keys(desk)
    assert "end of the track" in notes[-1].words


def test_splitting_puts_a_key_on_every_leg_at_the_playhead(desk: Desk, notes: list[Note]) -> None:
    first = desk.project
    desk.place(Fraction(300))
    stood = {axis: keys.stands(desk, axis, Fraction(300)) for axis in desk.project.rig.names}
    assert retime.split_legs(desk)
    for axis, numbers in desk.selection.items():
        assert len(numbers) == 1
        at, value = track(desk, axis)[min(numbers)]
        assert at == 300
        assert value == pytest.approx(stood[axis], abs=1e-9)
    assert len(desk.history.past) == 1
    desk.undo()
    assert desk.project == first
    desk.place(Fraction(-500))
    assert not retime.split_legs(desk)
    assert "between two keys" in notes[-1].words


def test_laws_passings_turns_and_pins(desk: Desk, notes: list[Note]) -> None:
    desk.select({"tilt": {0}})
    for law in laws.offered_laws(desk):
        done = laws.set_law(desk, law)
        assert done == (law != "hold")
    assert "same value" in next(note.words for note in notes if note.weight == "refused")
    assert laws.set_passing(desk, "stop")
    assert not laws.set_turn(desk, "up")
    assert "cannot go round" in notes[-1].words
    assert laws.toggle_pin(desk)
    assert laws.toggle_pin(desk)
    found = desk.track("tilt")
    assert found is not None
    assert not found.keys[0].pin
    assert found.keys[0].passing == "stop"


def test_a_strangers_law_that_cannot_do_without_settings_has_them_written(desk: Desk) -> None:
    @dataclass(frozen=True)
    class Spring:
        """Settings that nobody can guess."""

        stiffness: float

        def __post_init__(self) -> None:
            if not isinstance(self.stiffness, float):
                raise ValueError("stiffness is no number")

    glide = UnitCurve(np.array([0.0, 1.0]), np.array([[-2.0], [3.0], [0.0], [0.0]]))
    spring = LawKind("spring", Spring, lambda _: glide)
    theirs, notes = Desk(desk.project, {**desk.laws, "spring": spring}), list[Note]()
    theirs.noted.connect(notes.append)
    assert "spring" in laws.offered_laws(theirs)
    theirs.select({"tilt": {0}})
    assert not laws.set_law(theirs, "spring")
    assert notes[-1] == Note("the law spring needs its settings; write them", "refused")
    assert theirs.project == desk.project
    assert laws.set_law(theirs, "spring", Spring(2.0)), notes[-1].words


def test_copied_keys_are_pasted_at_the_playhead_and_on_another_axis(desk: Desk, notes: list[Note]) -> None:
    assert not clipboard.paste_keys(desk)
    assert "nothing was copied" in notes[-1].words
    desk.select({"tilt": {0, 1}})
    assert clipboard.copy_keys(desk)
    board = QGuiApplication.clipboard()
    assert board is not None
    assert board.text().splitlines()[0] == "tilt\t10:00:07:12.5\t9\tpoly345"
    desk.place(Fraction(1100))
    assert clipboard.paste_keys(desk)
    assert track(desk, "tilt")[-2:] == [(Fraction(1100), 9.0), (Fraction(1225), -12.0)]
    assert clipboard.paste_keys(desk, "roll")
    assert track(desk, "roll")[-2:] == [(Fraction(1100), 9.0), (Fraction(1225), -12.0)]
    assert desk.selection == {"roll": {len(track(desk, "roll")) - 2, len(track(desk, "roll")) - 1}}
    before = desk.project
    assert not clipboard.paste_keys(desk, "lift")
    assert "no axis 'lift'" in notes[-1].words
    assert not clipboard.paste_keys(desk, "slide")
    assert "keys of tilt are in deg, and slide is in mm" in notes[-1].words
    assert desk.project is before


def test_a_cut_that_is_refused_keeps_what_was_copied_before(desk: Desk) -> None:
    desk.select({"tilt": {0}})
    clipboard.copy_keys(desk)
    desk.edit("pin", pinned(desk.project.move, {"pan": {0}}, True))
    desk.select({"pan": {0}})
    assert not clipboard.cut_keys(desk)
    desk.place(Fraction(1100))
    assert clipboard.paste_keys(desk)
    assert track(desk, "tilt")[-1] == (Fraction(1100), 9.0)
