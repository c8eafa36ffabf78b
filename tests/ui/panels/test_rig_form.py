"""The forms of axes: each limit by name, refused where no motor or no key allows it."""

from pathlib import Path

import pytest
from PyQt6.QtCore import QPoint, Qt
from PyQt6.QtWidgets import QPushButton
from pytestqt.qtbot import QtBot

from sequencer.project.store import load, save
from sequencer.rig.axis import Homing
from sequencer.shell.kinds import laws
from ui.acts.asking import Ask
from ui.desk import Desk
from ui.panels.fields import Field
from ui.panels.rig_form import AxesForm


@pytest.fixture
def asks() -> list[Ask]:
    return []


@pytest.fixture
def form(desk: Desk, asks: list[Ask], qtbot: QtBot) -> AxesForm:
    form = AxesForm(desk, asks.append)
    qtbot.addWidget(form)
    form.resize(800, 900)
    with qtbot.waitActive(form):
        form.show()
        form.activateWindow()
    return form


def write(field: Field, text: str) -> None:
    field.line.setFocus()
    field.line.selectAll()
    QtBot.keyClicks(field.line, text)
    QtBot.keyClick(field.line, Qt.Key.Key_Return)


def press(button: QPushButton) -> None:
    QtBot.mouseClick(button, Qt.MouseButton.LeftButton)


@pytest.mark.parametrize(
    ("name", "text", "value"),
    [
        ("speed", "80", 80.0),
        ("speed", "72,5 deg/s", 72.5),
        ("acceleration", "150 deg/s²", 150.0),
        ("jerk", "600", 600.0),
        ("latency_s", "0,012 s", 0.012),
        ("backlash", "0.05 °", 0.05),
        ("resolution", "0", 0.0),
        ("home", "-10", -10.0),
    ],
)
def test_a_number_is_typed_with_comma_and_unit(name: str, text: str, value: float, form: AxesForm, desk: Desk) -> None:
    write(form.form.fields[name], text)
    assert form.form.fields[name].fault.text() == ""
    assert getattr(desk.project.rig.axes[0], name) == value
    assert len(desk.history.past) == 1
    desk.undo()
    assert not desk.dirty


def test_travel_and_the_simulated_motor_are_typed(form: AxesForm, desk: Desk) -> None:
    write(form.form.fields["low"], "-100")
    write(form.form.fields["high"], "100 deg")
    write(form.form.fields["lag_s"], "0.05")
    axis = desk.project.rig.axes[0]
    assert axis.travel == (-100.0, 100.0)
    assert axis.simulated.lag_s == 0.05


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("speed", "0", "above zero"),
        ("speed", "fast", "not a number"),
        ("speed", "30 mm", "counted in deg"),
        ("high", "40", "outside the travel"),
        ("low", "200", "low end must be below"),
        ("home", "400", "outside travel"),
        ("latency_s", "-1", "zero or more"),
        ("name", "two words", "without spaces"),
        ("name", "tilt", "two axes"),
        ("backlash", "1,5.2", "comma and a point"),
    ],
)
def test_what_cannot_be_is_said_at_its_field(name: str, text: str, words: str, form: AxesForm, desk: Desk) -> None:
    first = desk.project
    write(form.form.fields[name], text)
    assert words in form.form.fields[name].fault.text()
    assert desk.project is first
    assert form.form.fields[name].line.text() == text
    form.list.setCurrentRow(1)
    assert form.form.fields[name].fault.text() == ""


def test_kind_unit_and_endless(form: AxesForm, desk: Desk) -> None:
    tick = form.form.endless.box
    QtBot.mouseClick(tick, Qt.MouseButton.LeftButton, pos=QPoint(8, tick.height() // 2))
    assert desk.project.rig.axes[0].travel is None
    assert not form.form.fields["low"].editor.isEnabled()
    QtBot.mouseClick(tick, Qt.MouseButton.LeftButton, pos=QPoint(8, tick.height() // 2))
    assert desk.project.rig.axes[0].travel == (-90.0, 90.0)
    form.list.setCurrentRow(3)
    form.form.kind.box.activated.emit(4)
    assert desk.project.rig.axes[3].kind == "lift"


def test_what_an_axis_does_to_the_camera_is_chosen_and_typed(form: AxesForm, desk: Desk, tmp_path: Path) -> None:
    first, way, heading = desk.project, form.form.way, form.form.heading
    before = first.rig.geometry.sign("pan", "pan")
    assert way.isVisible()
    assert not heading.isVisible()
    way.box.setFocus()
    QtBot.keyClick(way.box, Qt.Key.Key_Up if before < 0 else Qt.Key.Key_Down)
    assert desk.project.rig.geometry.sign("pan", "pan") == -before
    assert desk.history.past[-1].words == "way of pan"
    form.list.setCurrentRow(3)
    assert desk.project.rig.axes[3].kind == "slide"
    assert not way.isVisible()
    write(heading, "-75,5 deg")
    assert desk.project.rig.geometry.heading("slide") == -75.5
    write(heading, "400")
    assert "from -360 to 360" in heading.fault.text()
    save(tmp_path / "placed", desk.project, laws())
    assert load(tmp_path / "placed", laws()).rig.geometry == desk.project.rig.geometry
    form.list.setCurrentRow(4)
    assert not way.isVisible()
    assert not heading.isVisible()
    desk.undo()
    desk.undo()
    assert desk.project == first
    form.list.setCurrentRow(0)
    assert way.box.currentIndex() == (before < 0)


def test_a_new_axis_says_that_its_limits_are_guesses_until_they_are_changed(form: AxesForm, desk: Desk) -> None:
    assert not form.form.guessed.isVisible()
    press(form.buttons["add"])
    assert desk.project.rig.names[-1] == "lift"
    assert form.list.currentRow() == 5
    assert "guesses" in form.form.guessed.text()
    assert form.form.guessed.isVisible()
    write(form.form.fields["speed"], "40")
    assert not form.form.guessed.isVisible()


def test_axes_are_ordered_by_buttons(form: AxesForm, desk: Desk) -> None:
    form.list.setCurrentRow(1)
    press(form.buttons["up"])
    assert desk.project.rig.names[:2] == ("tilt", "pan")
    press(form.buttons["up"])
    assert desk.project.rig.names[:2] == ("tilt", "pan")
    press(form.buttons["down"])
    assert desk.project.rig.names[:2] == ("pan", "tilt")
    assert form.list.currentRow() == 1


def test_an_axis_that_a_track_uses_goes_only_with_the_track(form: AxesForm, desk: Desk, asks: list[Ask]) -> None:
    form.list.setCurrentRow(1)
    press(form.buttons["remove"])
    assert "its track with 10 keys" in asks[0].words
    assert asks[0].harmless.label == "Keep tilt"
    asks[0].harmless.do()
    assert "tilt" in desk.project.rig.names
    asks[0].choices[0].do()
    assert "tilt" not in desk.project.rig.names
    assert "tilt" not in [track.axis for track in desk.project.move.tracks]
    desk.undo()
    assert not desk.dirty


def test_a_changed_name_goes_to_the_track_and_the_project_saves(form: AxesForm, desk: Desk, tmp_path: Path) -> None:
    write(form.form.fields["name"], "head")
    assert desk.project.move.tracks[0].axis == "head"
    assert form.list.texts()[0] == "head"
    save(tmp_path / "renamed", desk.project, laws())


def test_what_setpoints_are_taken_against_is_chosen(form: AxesForm, desk: Desk, tmp_path: Path) -> None:
    first, pull = desk.project, form.form.homing.reference
    assert pull.isVisible()
    assert pull.box.currentText() == "not said"
    pull.box.setFocus()
    QtBot.keyClick(pull.box, Qt.Key.Key_Down)
    assert [axis.reference for axis in desk.project.rig.axes[:2]] == ["world", None]
    QtBot.keyClick(pull.box, Qt.Key.Key_Down)
    assert [axis.reference for axis in desk.project.rig.axes[:2]] == ["base", None]
    assert desk.history.past[-1].words == "setpoints against of pan"
    save(tmp_path / "said", desk.project, laws())
    assert load(tmp_path / "said", laws()).rig.axes[0].reference == "base"
    desk.undo()
    desk.undo()
    assert desk.project == first
    assert pull.box.currentText() == "not said"
    form.list.setCurrentRow(3)
    assert not pull.isVisible(), "a slide does not turn the camera"


def test_a_switch_is_chosen_and_its_numbers_are_typed(form: AxesForm, desk: Desk, tmp_path: Path) -> None:
    first, rows = desk.project, form.form.homing
    form.list.setCurrentRow(3)
    axis = desk.project.rig.axes[3]
    assert axis.travel is not None
    assert not rows.speed.isVisible()
    rows.switch.box.setFocus()
    QtBot.keyClick(rows.switch.box, Qt.Key.Key_Down)
    assert desk.project.rig.axes[3].homing == Homing(towards="low", speed=axis.speed / 20, at=axis.travel[0])
    assert rows.speed.isVisible()
    write(rows.speed, "15,5 mm/s")
    write(rows.at, "-4 mm")
    write(rows.simulated, "-3")
    changed = desk.project.rig.axes[3]
    assert changed.homing == Homing(towards="low", speed=15.5, at=-4.0)
    assert changed.simulated.switch_at == -3.0
    save(tmp_path / "switched", desk.project, laws())
    assert load(tmp_path / "switched", laws()).rig.axes[3] == changed
    rows.simulated.line.selectAll()
    QtBot.keyClick(rows.simulated.line, Qt.Key.Key_Backspace)
    QtBot.keyClick(rows.simulated.line, Qt.Key.Key_Return)
    assert desk.project.rig.axes[3].simulated.switch_at is None
    rows.switch.box.setFocus()
    QtBot.keyClick(rows.switch.box, Qt.Key.Key_Down)
    assert desk.project.rig.axes[3].homing == Homing(towards="high", speed=15.5, at=axis.travel[1])
    QtBot.keyClick(rows.switch.box, Qt.Key.Key_Up)
    QtBot.keyClick(rows.switch.box, Qt.Key.Key_Up)
    assert desk.project.rig.axes[3].homing is None
    assert not rows.speed.isVisible()
    while desk.history.past:
        desk.undo()
    assert desk.project == first


def test_a_switch_that_cannot_be_is_refused_at_its_row(form: AxesForm, desk: Desk) -> None:
    rows = form.form.homing
    form.list.setCurrentRow(3)
    rows.switch.box.activated.emit(1)
    before = desk.project
    write(rows.speed, "5000")
    assert "no faster than its own speed" in rows.speed.fault.text()
    write(rows.at, "-900")
    assert "further than a tenth outside travel" in rows.at.fault.text()
    tick = form.form.endless.box
    QtBot.mouseClick(tick, Qt.MouseButton.LeftButton, pos=QPoint(8, tick.height() // 2))
    assert "homing goes towards an end of the travel" in form.form.endless.fault.text()
    assert desk.project is before
    rows.switch.box.activated.emit(0)
    QtBot.mouseClick(tick, Qt.MouseButton.LeftButton, pos=QPoint(8, tick.height() // 2))
    before = desk.project
    assert before.rig.axes[3].travel is None
    rows.switch.box.setCurrentIndex(2)
    rows.switch.box.activated.emit(2)
    assert "give it a travel first" in rows.switch.fault.text()
    assert rows.switch.box.currentText() == "none"
    assert desk.project is before


@pytest.mark.parametrize("place", [0, 2])
def test_where_a_simulated_switch_closes_goes_with_the_end_that_it_was_at(
    form: AxesForm, desk: Desk, place: int
) -> None:
    rows = form.form.homing
    form.list.setCurrentRow(3)
    rows.switch.box.activated.emit(1)
    write(rows.simulated, "-3")
    rows.switch.box.activated.emit(place)
    changed = desk.project.rig.axes[3]
    assert changed.simulated.switch_at is None
    assert (None if changed.homing is None else changed.homing.towards) == {0: None, 2: "high"}[place]
