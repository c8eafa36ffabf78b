"""The form with the numbers of the chosen keys: typed, refused inline, done as one step each."""

from dataclasses import replace
from fractions import Fraction

import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QAbstractButton, QComboBox, QLineEdit
from pytestqt.qtbot import QtBot

from sequencer.score.edits.keys import placed
from ui.desk import Desk
from ui.panels.entry import Entry
from ui.panels.selected import Selected


@pytest.fixture
def form(desk: Desk, qtbot: QtBot) -> Selected:
    widget = Selected(desk)
    qtbot.addWidget(widget)
    widget.resize(340, 700)
    widget.show()
    qtbot.waitExposed(widget)
    widget.activateWindow()
    return widget


def enter(qtbot: QtBot, entry: Entry, text: str) -> None:
    """Type over what stands in a field, and end with enter."""
    entry.line.setFocus()
    entry.line.selectAll()
    qtbot.keyClick(entry.line, Qt.Key.Key_Backspace)
    qtbot.keyClicks(entry.line, text)
    qtbot.keyClick(entry.line, Qt.Key.Key_Return)


def keys(desk: Desk, axis: str) -> list[tuple[Fraction, float]]:
    track = desk.track(axis)
    assert track is not None
    return [(key.at, key.value) for key in track.keys]


def test_nothing_chosen_is_said_with_the_way_to_choose(desk: Desk, form: Selected) -> None:
    assert "No key is chosen" in form.head.text()
    assert not form.fields.isVisible()


def test_one_key_shows_its_numbers_and_takes_typed_ones(desk: Desk, form: Selected, qtbot: QtBot) -> None:
    first = desk.project
    desk.select({"tilt": {1}})
    assert form.head.text() == "tilt, key 2 of 10"
    assert (form.time.text, form.value.text) == ("10:00:12:12.5", "-12 °")
    enter(qtbot, form.value, "-7,25 deg")
    assert keys(desk, "tilt")[1][1] == -7.25
    assert form.value.text == "-7.25 °"
    enter(qtbot, form.time, "10:00:12:00")
    assert keys(desk, "tilt")[1][0] == 300
    enter(qtbot, form.time, "+1 s")
    assert keys(desk, "tilt")[1][0] == 325
    assert len(desk.history.past) == 3
    for _ in range(3):
        desk.undo()
    assert desk.project == first


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("12,5,1", "one decimal mark"),
        ("1.000,5", "none for thousands"),
        ("12 mm", "not in mm"),
        ("999", "outside tilt's travel"),
        ("nan", "is not a number"),
    ],
)
def test_a_value_that_cannot_be_is_refused_below_its_field(
    desk: Desk, form: Selected, qtbot: QtBot, text: str, says: str
) -> None:
    desk.select({"tilt": {1}})
    first = desk.project
    enter(qtbot, form.value, text)
    assert desk.project is first
    assert form.value.said.isVisible()
    assert says in form.value.said.text()
    assert form.value.text == text
    enter(qtbot, form.value, "1")
    assert not form.value.said.isVisible()


def test_several_keys_show_what_they_share_and_take_one_value(desk: Desk, form: Selected, qtbot: QtBot) -> None:
    desk.select({"tilt": {0, 1}})
    assert form.value.text == ""
    assert form.value.line.placeholderText() == "several values"
    enter(qtbot, form.value, "4")
    assert [value for _, value in keys(desk, "tilt")[:2]] == [4.0, 4.0]
    desk.select({"tilt": {0}, "slide": {0}})
    assert not form.value.isEnabled()
    before = keys(desk, "tilt")[0][0], keys(desk, "slide")[0][0]
    enter(qtbot, form.time, "+5")
    assert (keys(desk, "tilt")[0][0], keys(desk, "slide")[0][0]) == (before[0] + 5, before[1] + 5)


def test_leaving_a_field_takes_what_was_typed_and_leaving_it_alone_does_nothing(
    desk: Desk, form: Selected, qtbot: QtBot
) -> None:
    desk.edit("a third", placed(desk.project.move, "tilt", 1, at=Fraction(1000, 3), value=1 / 3))
    first = desk.project
    desk.select({"tilt": {1}})
    for entry in (form.time, form.value, form.time):
        entry.line.setFocus()
        qtbot.keyClick(entry.line, Qt.Key.Key_Return)
    form.value.line.setFocus()
    assert desk.project is first
    form.value.line.selectAll()
    qtbot.keyClicks(form.value.line, "3")
    form.time.line.setFocus()
    assert keys(desk, "tilt")[1][1] == 3.0
    assert len(desk.history.past) == 2


def test_a_law_and_its_settings_are_chosen_by_keyboard(desk: Desk, form: Selected, qtbot: QtBot) -> None:
    desk.select({"tilt": {0}})
    assert form.law.laws.currentText() == "poly345"
    form.law.laws.setCurrentText("s-curve")
    form.law.laws.activated.emit(form.law.laws.currentIndex())
    assert set(form.law.entries) == {"ramp", "rounding"}
    assert form.law.entries["ramp"].text == "limits"
    enter(qtbot, form.law.entries["ramp"], "0,4")
    ease = desk.project.move.tracks[1].keys[0].ease
    assert (ease.law, ease.how.ramp, ease.how.rounding) == ("s-curve", 0.4, "limits")  # type: ignore[attr-defined]  # its settings are of the law's own type
    enter(qtbot, form.law.entries["rounding"], "0.9")
    assert "must be" in form.law.entries["rounding"].said.text()
    enter(qtbot, form.law.entries["ramp"], "limits")
    assert desk.project.move.tracks[1].keys[0].ease.how.ramp == "limits"  # type: ignore[attr-defined]  # as above
    form.law.laws.setCurrentText("bezier")
    form.law.laws.activated.emit(form.law.laws.currentIndex())
    assert [entry.text for entry in form.law.entries.values()] == ["0.4", "0", "0.6", "1"]
    enter(qtbot, form.law.entries["x1"], "2")
    assert "x1 is 2" in form.law.entries["x1"].said.text()
    enter(qtbot, form.law.entries["x1"], "0,25")
    assert desk.project.move.tracks[1].keys[0].ease.how.points[0] == 0.25  # type: ignore[attr-defined]  # as above


def test_a_law_that_would_jump_is_refused_and_the_list_goes_back(desk: Desk, form: Selected) -> None:
    desk.select({"tilt": {0}})
    form.law.laws.setCurrentText("hold")
    form.law.laws.activated.emit(form.law.laws.currentIndex())
    assert form.law.laws.currentText() == "poly345"
    assert "same value" in form.law.said.text()


def test_passing_turn_and_pin(desk: Desk, form: Selected, qtbot: QtBot) -> None:
    rig = desk.project.rig
    desk.edit(
        "no ends", replace(desk.project, rig=replace(rig, axes=(replace(rig.axes[0], travel=None), *rig.axes[1:])))
    )
    desk.select({"tilt": {0}})
    assert not form.turn.isVisible()
    desk.select({"pan": {0, 1}})
    assert form.turn.isVisible()
    qtbot.keyClick(form.passing, Qt.Key.Key_Down)
    assert {key.passing for key in desk.project.move.tracks[0].keys[:2]} == {"stop"}
    qtbot.keyClick(form.turn, Qt.Key.Key_Down)
    assert {key.turn for key in desk.project.move.tracks[0].keys[:2]} == {"short"}
    form.pin.click()
    assert all(key.pin for key in desk.project.move.tracks[0].keys[:2])
    desk.select({"pan": {1, 2}})
    assert form.pin.checkState() == Qt.CheckState.PartiallyChecked
    assert form.turn.currentIndex() == -1


@pytest.mark.parametrize(
    ("entry", "button", "text", "at", "value"),
    [
        ("factor", "stretch", "50 %", [0, Fraction(125, 2)], [9.0, -12.0]),
        ("later", "later", "-10 f", [-10, 115], [9.0, -12.0]),
        ("later", "later", "1 s", [25, 150], [9.0, -12.0]),
        ("higher", "higher", "1,5°", [0, 125], [10.5, -10.5]),
        ("about", "mirror", "1", [0, 125], [-7.0, 14.0]),
        ("times", "scale", "50%", [0, 125], [4.5, -6.0]),
    ],
)
def test_each_change_does_what_its_number_says(
    desk: Desk, form: Selected, qtbot: QtBot, entry: str, button: str, text: str, at: list[Fraction], value: list[float]
) -> None:
    first, begin = desk.project, keys(desk, "tilt")[0][0]
    desk.select({"tilt": {0, 1}})
    field: Entry = getattr(form.change, entry)
    field.line.setText(text)
    qtbot.mouseClick(form.change.buttons[button], Qt.MouseButton.LeftButton)
    now = keys(desk, "tilt")[:2]
    assert [stands - begin for stands, _ in now] == at
    assert [stands for _, stands in now] == value
    assert len(desk.history.past) == 1
    desk.undo()
    assert desk.project == first


def test_changes_without_a_number_and_those_about_the_playhead(desk: Desk, form: Selected, qtbot: QtBot) -> None:
    desk.select({"tilt": {0, 1}})
    begin, end = (at for at, _ in keys(desk, "tilt")[:2])
    qtbot.mouseClick(form.change.buttons["reverse"], Qt.MouseButton.LeftButton)
    assert [value for _, value in keys(desk, "tilt")[:2]] == [-12.0, 9.0]
    qtbot.mouseClick(form.change.buttons["snap"], Qt.MouseButton.LeftButton)
    assert all(at.denominator == 1 for at, _ in keys(desk, "tilt")[:2])
    desk.undo()
    desk.place(end)
    form.change.about_playhead.click()
    form.change.factor.line.setText("1/2")
    qtbot.keyClick(form.change.factor.line, Qt.Key.Key_Return)
    assert [at for at, _ in keys(desk, "tilt")[:2]] == [(begin + end) / 2, end]
    desk.select({"tilt": {1}})
    qtbot.mouseClick(form.change.buttons["join"], Qt.MouseButton.LeftButton)
    assert len(keys(desk, "tilt")) == 9


@pytest.mark.parametrize(
    ("entry", "button", "text", "says"),
    [
        ("factor", "stretch", "0", "above zero"),
        ("factor", "stretch", "2 s", "no unit"),
        ("factor", "stretch", "1000 %", "would come"),
        ("later", "later", "3 mm", "no unit of time"),
        ("higher", "higher", "3 mm", "not in mm"),
        ("higher", "higher", "500", "outside tilt's travel"),
        ("within", "thin", "0", "above zero"),
    ],
)
def test_a_change_that_cannot_be_is_refused_below_its_field(
    desk: Desk, form: Selected, qtbot: QtBot, entry: str, button: str, text: str, says: str
) -> None:
    desk.select({"tilt": {0, 1}})
    first = desk.project
    field: Entry = getattr(form.change, entry)
    field.line.setText(text)
    qtbot.mouseClick(form.change.buttons[button], Qt.MouseButton.LeftButton)
    assert desk.project is first
    assert says in field.said.text()


def test_values_of_axes_with_different_units_are_not_changed_together(desk: Desk, form: Selected, qtbot: QtBot) -> None:
    desk.select({"tilt": {0}, "slide": {0}})
    qtbot.mouseClick(form.change.buttons["mirror"], Qt.MouseButton.LeftButton)
    assert not desk.history.past
    assert "different units" in form.change.about.said.text()


def test_a_locked_desk_shows_numbers_and_takes_none(desk: Desk, form: Selected) -> None:
    desk.select({"tilt": {1}})
    desk.lock("the rig is armed; disarm it to edit")
    assert not form.time.line.isEnabled()
    assert "disarm" in form.head.text()
    assert form.value.text == "-12 °"


def test_the_keyboard_comes_to_the_first_number_and_all_have_names(desk: Desk, form: Selected, qtbot: QtBot) -> None:
    desk.select({"tilt": {1}})
    form.ask()
    assert form.time.line.hasFocus()
    assert form.time.line.selectedText() == form.time.text
    reached: list[str] = []
    for _ in range(40):
        focus = form.focusWidget()
        assert focus is not None
        reached.append(focus.accessibleName())
        qtbot.keyClick(focus, Qt.Key.Key_Tab)
    assert all(reached)
    assert {"Time", "Value", "Law of the leg", "At the key", "Pinned", "Reverse"} <= set(reached)
    for widget in form.findChildren(QAbstractButton) + form.findChildren(QLineEdit) + form.findChildren(QComboBox):
        if widget.focusPolicy() != Qt.FocusPolicy.NoFocus:
            assert widget.accessibleName()


def test_a_joined_leg_gets_the_law_that_is_chosen_for_it(desk: Desk, form: Selected, qtbot: QtBot) -> None:
    track = desk.track("pan")
    assert track is not None
    resting = next(number for number, key in enumerate(track.keys) if key.ease.law == "hold")
    desk.select({"pan": {resting + 1}})
    qtbot.mouseClick(form.change.buttons["join"], Qt.MouseButton.LeftButton)
    assert not desk.history.past  # it would hold, and go elsewhere
    form.change.joined.setCurrentText("bezier")  # which cannot do without settings
    qtbot.mouseClick(form.change.buttons["join"], Qt.MouseButton.LeftButton)
    after = desk.track("pan")
    assert after is not None
    assert len(after.keys) == len(track.keys) - 1
    assert after.keys[resting].ease.law == "bezier"
    assert not desk.shapes["pan"].fault


def test_what_is_typed_for_one_key_is_never_for_another(desk: Desk, form: Selected, qtbot: QtBot) -> None:
    desk.select({"tilt": {2}})
    enter(qtbot, form.time, "10:00:00:00")  # refused: before the key that stays
    assert form.time.said.text()
    desk.select({"pan": {1}})
    assert form.time.text == "10:00:10:00"
    assert not form.time.said.text()
    form.value.line.setFocus()
    qtbot.keyClicks(form.value.line, "5")
    desk.select({"pan": {2}})
    form.time.line.setFocus()
    assert not desk.history.past
    assert form.value.text == "34 °"
