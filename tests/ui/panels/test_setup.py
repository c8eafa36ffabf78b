"""Setup forms: what is typed becomes the document, one step each; what cannot be is said at the field."""

import shutil
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import pytest
from PyQt6.QtCore import QPoint, Qt
from PyQt6.QtWidgets import QApplication, QPushButton, QScrollArea, QWidget
from pytestqt.qtbot import QtBot

from sequencer.project.store import load
from sequencer.rig.limits import SumLimit, WhileLimit
from sequencer.shell.kinds import laws
from sequencer.shell.listen import Group, Port
from ui.acts.files import Files
from ui.desk import Desk
from ui.panels.fields import Field
from ui.panels.limits_form import typed_range, typed_sum
from ui.panels.ports import listed
from ui.panels.setup import SetupPanel
from ui.theme import SUN

LEFT = Qt.MouseButton.LeftButton


@pytest.fixture
def panel(qtbot: QtBot, tmp_path: Path) -> Iterator[SetupPanel]:
    folder = Path(shutil.copytree("projects/harbour-lanterns", tmp_path / "lanterns"))
    desk = Desk(load(folder, laws()), laws(), folder)
    files = Files(desk, tmp_path / "state")
    panel = SetupPanel(desk, files)
    panel.files = files  # type: ignore[attr-defined]  # kept alive with the panel
    qtbot.addWidget(panel)
    panel.resize(1000, 600)
    with qtbot.waitActive(panel):
        panel.show()
        panel.activateWindow()
    yield panel
    panel.ports._worker.wait()
    files.end()


def write(field: Field, text: str) -> None:
    """Type into the field and leave it with return."""
    field.line.setFocus()
    QtBot.keyClick(field.line, Qt.Key.Key_A, Qt.KeyboardModifier.ControlModifier)
    QtBot.keyClick(field.line, Qt.Key.Key_Delete)
    QtBot.keyClicks(field.line, text)
    QtBot.keyClick(field.line, Qt.Key.Key_Return)


def press(button: QPushButton) -> None:
    QtBot.mouseClick(button, LEFT)


def test_a_name_is_one_step_and_an_empty_one_is_refused(panel: SetupPanel) -> None:
    desk = panel.project.desk
    first = desk.project
    write(panel.project.name, "Quay at dusk")
    assert desk.project.name == "Quay at dusk"
    assert len(desk.history.past) == 1
    write(panel.project.name, "")
    assert "no name" in panel.project.name.fault.text()
    assert panel.project.name.fault.isVisible()
    assert len(desk.history.past) == 1
    desk.undo()
    assert desk.project == first


def test_typing_and_leaving_with_escape_changes_nothing(panel: SetupPanel) -> None:
    line = panel.project.name.line
    line.setFocus()
    QtBot.keyClicks(line, "xyz")
    QtBot.keyClick(line, Qt.Key.Key_Escape)
    panel.list.setFocus()
    assert line.text() == "Harbour lanterns"
    assert not panel.project.desk.history.past


def test_leaving_a_field_counts_as_meaning_it(panel: SetupPanel) -> None:
    line = panel.project.name.line
    line.setFocus()
    line.selectAll()
    QtBot.keyClicks(line, "Other")
    QtBot.keyClick(line, Qt.Key.Key_Tab)
    assert panel.project.desk.project.name == "Other"


def test_another_start_says_what_it_keeps_and_keeps_it(panel: SetupPanel) -> None:
    desk = panel.project.desk
    key = desk.project.move.tracks[0].keys[0]
    assert "stay at their timecode" in panel.project.keeping.means.text()
    write(panel.project.start, "09:59:50:00")
    assert desk.project.move.tracks[0].keys[0].at == key.at + 250
    write(panel.project.start, "9 o'clock")
    assert "write a label" in panel.project.start.fault.text()
    assert panel.project.start.line.text() == "9 o'clock"  # there to be corrected


def test_another_rate_keeps_seconds_or_frames_as_it_says(panel: SetupPanel) -> None:
    desk = panel.project.desk
    key = desk.project.move.tracks[0].keys[0]
    box = panel.project.rate.box
    box.setFocus()
    QtBot.keyClicks(box, "50")
    box.activated.emit(box.findText("50"))
    assert desk.project.move.tracks[0].keys[0].at == key.at * 2
    desk.undo()
    assert box.currentText() == "25"
    panel.project.scaling.box.setCurrentIndex(1)
    panel.project.scaling.box.activated.emit(1)
    assert "keeps its frame" in panel.project.scaling.means.text()
    box.activated.emit(box.findText("50"))
    assert desk.project.move.tracks[0].keys[0].at == key.at


def test_the_playback_is_placed_by_what_is_typed(panel: SetupPanel) -> None:
    panel.turn_to("Playback")
    desk = panel.project.desk
    write(panel.playback.at, "2,5 s")
    assert desk.project.playback is not None
    assert desk.project.playback.at == Fraction(125, 2)
    write(panel.playback.at, "soon")
    assert panel.playback.at.fault.text()
    press(panel.playback.remove)
    assert desk.project.playback is None
    assert not panel.playback.remove.isEnabled()


def test_offsets_take_a_comma_and_a_unit_and_refuse_too_much(panel: SetupPanel) -> None:
    panel.turn_to("Sync offsets")
    frames, late = panel.sync.fields["ltc"]
    write(frames, "-1,5")
    write(late, "12,5 ms")
    offset = panel.project.desk.project.sync[0]
    assert (offset.source, offset.frames, offset.delay_ms) == ("ltc", Fraction(-3, 2), 12.5)
    write(late, "5000")
    assert "more than a second" in late.fault.text()


def test_triggers_are_added_replaced_and_removed(panel: SetupPanel) -> None:
    panel.turn_to("Triggers")
    form, desk = panel.triggers, panel.project.desk
    write(form.number, "60")
    form.order.show_place(4)
    write(form.name, "last light")
    press(form.add)
    assert form.list.texts() == ["note 60: cue last light"]
    press(form.add)
    assert "an order already" in form.fault.text()
    form.list.setCurrentRow(0)
    write(form.channel, "3")
    press(form.replace)
    assert desk.project.triggers.mapped[0].channel == 3
    write(form.channel, "3.5")
    press(form.replace)
    assert form.fault.text() == "“3.5” is no whole number; write one like 60"
    assert desk.project.triggers.mapped[0].channel == 3
    write(form.channel, "17")
    press(form.replace)
    assert "1 to 16" in form.fault.text()
    press(form.remove)
    assert not desk.project.triggers.mapped
    write(form.device, "4")
    assert desk.project.triggers.mmc_device == 4
    write(form.device, "4,5")
    assert form.device.fault.text() == "“4,5” is no whole number; write one like 60"
    assert desk.project.triggers.mmc_device == 4
    write(form.device, "")
    assert desk.project.triggers.mmc_device is None


def test_the_camera_is_typed_and_refuses_nothing_at_all(panel: SetupPanel) -> None:
    panel.turn_to("Camera")
    desk, fields = panel.project.desk, panel.camera.fields
    write(fields["focal_mm"], "50 mm")
    write(fields["width_mm"], "3,6 cm")
    camera = desk.project.rig.camera
    assert camera is not None
    assert (camera.focal_mm, camera.sensor_mm) == (50.0, (36.0, 14.0))
    write(fields["focal_mm"], "0")
    assert "above zero" in fields["focal_mm"].fault.text()
    write(fields["wide_px"], "1920.5")
    assert "whole" in fields["wide_px"].fault.text()
    box = panel.camera.there.box
    QtBot.mouseClick(box, LEFT, pos=QPoint(8, box.height() // 2))
    assert desk.project.rig.camera is None


def test_the_height_of_the_camera_is_typed(panel: SetupPanel) -> None:
    panel.turn_to("Rig and axes")
    desk, field = panel.project.desk, panel.rig_name.lens_height
    write(field, "1,25 m")
    assert desk.project.rig.geometry.height_m == 1.25
    write(field, "10000")
    assert "from -100 to 100" in field.fault.text()
    assert desk.project.rig.geometry.height_m == 1.25
    desk.undo()
    assert not desk.dirty


def test_combined_limits_are_added_typed_and_removed(panel: SetupPanel) -> None:
    panel.turn_to("Combined limits")
    form, desk = panel.limits, panel.project.desk
    press(form.add_sum)
    write(form.cards[0].fields["sum"], "pan - 0,5 tilt")
    limit = desk.project.rig.combined[0]
    assert isinstance(limit, SumLimit)
    assert limit.sum == (("pan", 1.0), ("tilt", -0.5))
    write(form.cards[0].fields["sum"], "pan + wing")
    assert "no axis 'wing'" in form.cards[0].fields["sum"].fault.text()
    write(form.cards[0].fields["speed"], "")
    assert "nothing is limited" in form.cards[0].fields["speed"].fault.text()
    press(form.add_while)
    write(form.cards[1].fields["between"], "10 to 40")
    write(form.cards[1].fields["travel"], "-20..20")
    other = desk.project.rig.combined[1]
    assert isinstance(other, WhileLimit)
    assert (other.between, other.travel) == ((10.0, 40.0), (-20.0, 20.0))
    press(form.cards[0].remove)
    assert desk.project.rig.combined == (other,)
    while desk.history.past:
        desk.undo()
    assert not desk.project.rig.combined
    assert not form.cards


@pytest.mark.parametrize("text", ["", "45", "45 90", "a to b"])
def test_a_range_that_is_none(text: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        typed_range(text)


def test_a_sum_is_read() -> None:
    assert typed_sum("pan + 0.05 slide - tilt") == (("pan", 1.0), ("slide", 0.05), ("tilt", -1.0))
    with pytest.raises(ValueError, match="weights"):
        typed_sum("pan + 2 3 slide")


def test_ports_are_listed_with_what_is_missing() -> None:
    groups = (Group("MIDI in", (Port("stage box", "follow MTC", ()),)), Group("audio in", missing="none now"))
    assert listed(groups) == "MIDI in\n    stage box: follow MTC\n\naudio in\n    none now"


def test_while_the_rig_is_armed_nothing_changes_and_it_is_said(panel: SetupPanel) -> None:
    desk = panel.project.desk
    desk.lock("the rig is armed; disarm it to edit")
    write(panel.project.name, "Other")
    assert "disarm" in panel.project.name.fault.text()
    assert not desk.history.past


def test_every_field_has_a_name_and_is_reached_in_both_themes(panel: SetupPanel) -> None:
    reached = [one for one in panel.findChildren(QWidget) if one.focusPolicy() & Qt.FocusPolicy.TabFocus]
    assert len(reached) > 50
    assert [one for one in reached if not one.accessibleName()] == []
    panel.project.desk.dress(SUN)
    assert SUN.weak in panel.project.name.means.styleSheet()


def test_it_fits_into_a_narrow_column(panel: SetupPanel) -> None:
    panel.resize(620, 500)
    QApplication.processEvents()
    for place in range(panel.list.count()):
        panel.list.setCurrentRow(place)
        QApplication.processEvents()
        page = panel.pages.currentWidget()
        assert isinstance(page, QScrollArea)
        sideways = page.horizontalScrollBar()
        assert sideways is not None
        assert sideways.maximum() == 0, panel.list.texts()[place]
